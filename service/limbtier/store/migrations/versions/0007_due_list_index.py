"""The index of the due list holds all that the list shows, so that counting does not read the episodes."""

from alembic import op

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    """Put the wider index in the place of the other."""
    op.drop_index("episodes_needing_attention", "episodes")
    op.create_index(
        "episodes_needing_attention",
        "episodes",
        [
            "organisation",
            "urgency",
            "attention_on",
            "reference",
            "review_due_on",
            "stuck_on",
            "assessment_on",
            "tier",
            "disposition",
            "calendar",
            "last_position",
        ],
    )
