"""Episodes as they are after their last part, and their parts."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

WHOLE = sa.BigInteger().with_variant(sa.Integer, "sqlite")


def upgrade() -> None:
    """Make the tables. Episodes of decisions that are in the log are worked out by `limbtier episodes`."""
    op.create_table(
        "episodes",
        sa.Column("organisation", sa.Text, nullable=False),
        sa.Column("reference", sa.Text, nullable=False),
        sa.Column("last_position", sa.BigInteger, nullable=False),
        sa.Column("opened_on", sa.Text, nullable=False),
        sa.Column("review_due_on", sa.Text),
        sa.Column("tier", sa.Text, nullable=False),
        sa.Column("disposition", sa.Text, nullable=False),
        sa.Column("calendar", sa.Text, nullable=False),
        sa.Column("closed_on", sa.Text),
        sa.Column("closed_as", sa.Text),
        sa.Column("state", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("organisation", "reference"),
    )
    op.create_index("episodes_due", "episodes", ["organisation", "review_due_on", "reference"])
    op.create_index("episodes_at_tier", "episodes", ["organisation", "tier", "review_due_on"])
    op.create_table(
        "episode_parts",
        sa.Column("position", WHOLE, primary_key=True, autoincrement=False),
        sa.Column("id", sa.Text, nullable=False),
        sa.Column("organisation", sa.Text, nullable=False),
        sa.Column("reference", sa.Text, nullable=False),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("corrects", sa.Text),
        sa.Column("data", sa.LargeBinary, nullable=False),
    )
    op.create_index("parts_of_episode", "episode_parts", ["organisation", "reference", "position"])
