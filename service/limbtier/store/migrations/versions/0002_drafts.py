"""Drafts of editions, editions that were released through the service, and which were retired."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "drafts",
        sa.Column("organisation", sa.Text, nullable=False),
        sa.Column("edition", sa.Text, nullable=False),
        sa.Column("revision", sa.BigInteger, nullable=False),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("digest", sa.Text, nullable=False),
        sa.Column("savers", sa.Text, nullable=False),
        sa.Column("saved_at", sa.BigInteger, nullable=False),
        sa.Column("judged", sa.Text),
        sa.Column("approver", sa.Text),
        sa.Column("check_result", sa.LargeBinary),
        sa.Column("proof_result", sa.LargeBinary),
        sa.Column("files", sa.LargeBinary),
        sa.PrimaryKeyConstraint("organisation", "edition"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "released_editions",
        sa.Column("edition", sa.Text, primary_key=True),
        sa.Column("organisation", sa.Text, nullable=False),
        sa.Column("digest", sa.Text, nullable=False),
        sa.Column("released_at", sa.BigInteger, nullable=False),
        sa.Column("files", sa.LargeBinary, nullable=False),
    )
    op.create_table(
        "retired_editions",
        sa.Column("edition", sa.Text, primary_key=True),
        sa.Column("retired_at", sa.BigInteger, nullable=False),
    )
