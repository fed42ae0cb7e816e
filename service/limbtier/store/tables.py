"""The tables, one description for SQLite and PostgreSQL.

Moments are whole microseconds since 1 January 1970 UTC: they compare and sort alike on both.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Final

from sqlalchemy import (
    BigInteger,
    Column,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    Table,
    Text,
    text,
)

REVISION: Final = "0007"
"""The migration that leads to these tables."""

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND: Final = timedelta(microseconds=1)

# The same column is the row's own number on SQLite, which spares an index, if it is named `INTEGER` there.
_whole = BigInteger().with_variant(Integer, "sqlite")

# Decisions are nearly all of the entries, and are found by their own table.
_NO_DECISION: Final = text("kind <> 'decision'")

metadata = MetaData()

entries = Table(
    "entries",
    metadata,
    Column("position", _whole, primary_key=True, autoincrement=False),
    Column("id", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("organisation", Text),
    Column("at", BigInteger, nullable=False),
    Column("data", LargeBinary, nullable=False),
    Index("entries_by_id", "id", unique=True),
    Index("entries_of_kind", "kind", "position", sqlite_where=_NO_DECISION, postgresql_where=_NO_DECISION),
)

# Every complete subtree of the tree over the entries, in the order in which appending completes them.
hashes = Table(
    "hashes",
    metadata,
    Column("number", _whole, primary_key=True, autoincrement=False),
    Column("hash", LargeBinary, nullable=False),
)

# One row, whose lock makes writers take turns. `peaks` are the hashes of the right edge, 32 bytes each.
log_head = Table(
    "log_head",
    metadata,
    Column("row", _whole, primary_key=True, autoincrement=False),
    Column("size", BigInteger, nullable=False),
    Column("peaks", LargeBinary, nullable=False),
)

checkpoints = Table(
    "checkpoints",
    metadata,
    Column("size", _whole, primary_key=True, autoincrement=False),
    Column("root", LargeBinary, nullable=False),
    Column("note", Text, nullable=False),
    Column("signed_at", BigInteger, nullable=False),
)

decisions = Table(
    "decisions",
    metadata,
    Column("position", _whole, primary_key=True, autoincrement=False),
    Column("id", Text, nullable=False),
    Column("organisation", Text, nullable=False),
    Column("edition", Text, nullable=False),
    Column("episode", Text),
    Column("decided_at", BigInteger, nullable=False),
    Index("decisions_of_organisation", "organisation", "position"),
    Index("decisions_of_episode", "organisation", "episode", "position"),
)

# `rules` are their ids, each with a space before and after it.
decided_limbs = Table(
    "decided_limbs",
    metadata,
    Column("position", BigInteger, nullable=False),
    Column("side", Text, nullable=False),
    Column("tier", Text, nullable=False),
    Column("disposition", Text, nullable=False),
    Column("rules", Text, nullable=False),
    PrimaryKeyConstraint("position", "side"),
    sqlite_with_rowid=False,
)

# In which blocks of positions an organisation has a decision with this property: see store/search.py.
decision_blocks = Table(
    "decision_blocks",
    metadata,
    Column("organisation", Text, nullable=False),
    Column("property", Text, nullable=False),
    Column("value", Text, nullable=False),
    Column("tier", Text, nullable=False),
    Column("disposition", Text, nullable=False),
    Column("block", BigInteger, nullable=False),
    PrimaryKeyConstraint("organisation", "property", "value", "tier", "disposition", "block"),
    sqlite_with_rowid=False,
)

retries = Table(
    "retries",
    metadata,
    Column("caller", Text, nullable=False),
    Column("key", Text, nullable=False),
    Column("payload", LargeBinary, nullable=False),
    Column("position", BigInteger, nullable=False),
    PrimaryKeyConstraint("caller", "key"),
    sqlite_with_rowid=False,
)

keys = Table(
    "keys",
    metadata,
    Column("id", Text, primary_key=True),
    Column("hash", LargeBinary, nullable=False),
    Column("organisation", Text, nullable=False),
    Column("role", Text, nullable=False),
    Column("scopes", Text, nullable=False),
    Column("added_at", BigInteger, nullable=False),
    Column("revoked_at", BigInteger),
)

# What an organisation prepares for release. A row stays when its draft is discarded, without files.
drafts = Table(
    "drafts",
    metadata,
    Column("organisation", Text, nullable=False),
    Column("edition", Text, nullable=False),
    Column("revision", BigInteger, nullable=False),
    Column("state", Text, nullable=False),
    Column("digest", Text, nullable=False),
    Column("savers", Text, nullable=False),
    Column("saved_at", BigInteger, nullable=False),
    Column("judged", Text),
    Column("approver", Text),
    Column("check_result", LargeBinary),
    Column("proof_result", LargeBinary),
    Column("files", LargeBinary),
    PrimaryKeyConstraint("organisation", "edition"),
    sqlite_with_rowid=False,
)

# Kept for ever, so that decisions can be made again.
released_editions = Table(
    "released_editions",
    metadata,
    Column("edition", Text, primary_key=True),
    Column("organisation", Text, nullable=False),
    Column("digest", Text, nullable=False),
    Column("released_at", BigInteger, nullable=False),
    Column("files", LargeBinary, nullable=False),
)

# Editions of the rules folder are among them.
retired_editions = Table(
    "retired_editions",
    metadata,
    Column("edition", Text, primary_key=True),
    Column("retired_at", BigInteger, nullable=False),
)

# Each episode as it is after its last part, worked out again from `episode_parts` or from the log alone.
# Days are texts; `review_due_on` is empty once the episode is closed, and `tier` the highest on either leg.
episodes = Table(
    "episodes",
    metadata,
    Column("organisation", Text, nullable=False),
    Column("reference", Text, nullable=False),
    Column("last_position", BigInteger, nullable=False),
    Column("opened_on", Text, nullable=False),
    Column("review_due_on", Text),
    Column("tier", Text, nullable=False),
    Column("disposition", Text, nullable=False),
    Column("calendar", Text, nullable=False),
    Column("closed_on", Text),
    Column("closed_as", Text),
    Column("state", LargeBinary, nullable=False),
    Column("urgency", BigInteger, nullable=False, server_default="0"),
    Column("attention_on", Text),
    Column("stuck_on", Text),
    Column("assessment_on", Text),
    PrimaryKeyConstraint("organisation", "reference"),
    Index("episodes_due", "organisation", "review_due_on", "reference"),
    # All that the due list shows, so that neither it nor its counts read the rows, which hold the states.
    Index(
        "episodes_needing_attention",
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
    ),
    Index("episodes_at_tier", "organisation", "tier", "review_due_on"),
)

# Contacts and events in short, so that a state can be folded anew when one arrives out of order.
episode_parts = Table(
    "episode_parts",
    metadata,
    Column("position", _whole, primary_key=True, autoincrement=False),
    Column("id", Text, nullable=False),
    Column("organisation", Text, nullable=False),
    Column("reference", Text, nullable=False),
    Column("at", BigInteger, nullable=False),
    Column("kind", Text, nullable=False),
    Column("corrects", Text),
    Column("data", LargeBinary, nullable=False),
    Index("parts_of_episode", "organisation", "reference", "position"),
)

# Results of long work on editions, for every worker to answer with: see store/results.py.
governance_results = Table(
    "governance_results",
    metadata,
    Column("key", Text, primary_key=True),
    Column("kind", Text, nullable=False),
    Column("organisation", Text),
    Column("state", Text, nullable=False),
    Column("counted", BigInteger, nullable=False),
    Column("total", BigInteger),
    Column("outcome", LargeBinary),
    Column("seen_at", BigInteger, nullable=False),
)


def microseconds(moment: datetime) -> int:
    """A moment as it is kept. `moment` must have an offset."""
    return (moment - _EPOCH) // _MICROSECOND


def moment_of(microseconds_since_epoch: int) -> datetime:
    """The moment that is kept so, in UTC."""
    return _EPOCH + timedelta(microseconds=microseconds_since_epoch)
