"""The log: entries, the hashes of its tree, checkpoints, what decisions are found by, retries, local keys."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

WHOLE = sa.BigInteger().with_variant(sa.Integer, "sqlite")


def upgrade() -> None:
    """Make the tables, and the empty log."""
    op.create_table(
        "entries",
        sa.Column("position", WHOLE, primary_key=True, autoincrement=False),
        sa.Column("id", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("organisation", sa.Text),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("data", sa.LargeBinary, nullable=False),
    )
    _keep_as_it_is("entries", "data")
    op.create_index("entries_by_id", "entries", ["id"], unique=True)
    op.create_table(
        "hashes",
        sa.Column("number", WHOLE, primary_key=True, autoincrement=False),
        sa.Column("hash", sa.LargeBinary, nullable=False),
    )
    head = op.create_table(
        "log_head",
        sa.Column("row", WHOLE, primary_key=True, autoincrement=False),
        sa.Column("size", sa.BigInteger, nullable=False),
        sa.Column("peaks", sa.LargeBinary, nullable=False),
    )
    op.bulk_insert(head, [{"row": 1, "size": 0, "peaks": b""}])
    op.create_table(
        "checkpoints",
        sa.Column("size", WHOLE, primary_key=True, autoincrement=False),
        sa.Column("root", sa.LargeBinary, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
        sa.Column("signed_at", sa.BigInteger, nullable=False),
    )
    op.create_table(
        "decisions",
        sa.Column("position", WHOLE, primary_key=True, autoincrement=False),
        sa.Column("id", sa.Text, nullable=False),
        sa.Column("organisation", sa.Text, nullable=False),
        sa.Column("edition", sa.Text, nullable=False),
        sa.Column("episode", sa.Text),
        sa.Column("decided_at", sa.BigInteger, nullable=False),
    )
    op.create_index("decisions_of_organisation", "decisions", ["organisation", "position"])
    op.create_index("decisions_of_episode", "decisions", ["organisation", "episode", "position"])
    op.create_table(
        "decided_limbs",
        sa.Column("position", sa.BigInteger, nullable=False),
        sa.Column("side", sa.Text, nullable=False),
        sa.Column("tier", sa.Text, nullable=False),
        sa.Column("disposition", sa.Text, nullable=False),
        sa.Column("rules", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("position", "side"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "decision_blocks",
        sa.Column("organisation", sa.Text, nullable=False),
        sa.Column("property", sa.Text, nullable=False),
        sa.Column("value", sa.Text, nullable=False),
        sa.Column("tier", sa.Text, nullable=False),
        sa.Column("disposition", sa.Text, nullable=False),
        sa.Column("block", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("organisation", "property", "value", "tier", "disposition", "block"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "retries",
        sa.Column("caller", sa.Text, nullable=False),
        sa.Column("key", sa.Text, nullable=False),
        sa.Column("payload", sa.LargeBinary, nullable=False),
        sa.Column("position", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("caller", "key"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "keys",
        sa.Column("id", sa.Text, primary_key=True),
        sa.Column("hash", sa.LargeBinary, nullable=False),
        sa.Column("organisation", sa.Text, nullable=False),
        sa.Column("role", sa.Text, nullable=False),
        sa.Column("scopes", sa.Text, nullable=False),
        sa.Column("added_at", sa.BigInteger, nullable=False),
        sa.Column("revoked_at", sa.BigInteger),
    )


def _keep_as_it_is(table: str, column: str) -> None:
    """What is packed already PostgreSQL shall not try to compress: that took longer than all the rest."""
    if op.get_bind().dialect.name == "postgresql":
        op.execute(f"ALTER TABLE {table} ALTER COLUMN {column} SET STORAGE EXTERNAL")
