"""Results of long work on editions."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "governance_results",
        sa.Column("key", sa.Text, primary_key=True),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("organisation", sa.Text),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("counted", sa.BigInteger, nullable=False),
        sa.Column("total", sa.BigInteger),
        sa.Column("outcome", sa.LargeBinary),
        sa.Column("seen_at", sa.BigInteger, nullable=False),
    )
