"""What Alembic runs: migrations on the connection and in the transaction it was given."""

from alembic import context

context.configure(connection=context.config.attributes["connection"], transactional_ddl=False)
context.run_migrations()
