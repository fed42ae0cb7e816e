"""Since when episodes need somebody; `limbtier episodes` fills in the rest for those there are."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Add the columns and the index of the due list."""
    op.add_column("episodes", sa.Column("urgency", sa.BigInteger, nullable=False, server_default="0"))
    for name in ("attention_on", "stuck_on", "assessment_on"):
        op.add_column("episodes", sa.Column(name, sa.Text))
    op.execute("UPDATE episodes SET attention_on = review_due_on")
    op.create_index(
        "episodes_needing_attention", "episodes", ["organisation", "urgency", "attention_on", "reference"]
    )
