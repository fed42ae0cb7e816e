"""Entries that are no decisions are found by their kind."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Make the index."""
    rare = sa.text("kind <> 'decision'")
    op.create_index(
        "entries_of_kind", "entries", ["kind", "position"], sqlite_where=rare, postgresql_where=rare
    )
