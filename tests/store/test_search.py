"""Finding decisions, on both databases: against a search in plain Python over the same decisions."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from limbtier.domain.entry import DecidedLimb, DecisionFilter, Entry
from limbtier.store import search
from limbtier.store.entries import EntryStore
from tests.support.log_entries import NOON, decision_entry, other_entry

TIERS = ("mild", "moderate", "strong")
DISPOSITIONS = ("start", "continue")
RULES = ("wet-review", "wet-review-again", "review", "late")
DAY = timedelta(days=1)


def limb(side: str, number: int) -> DecidedLimb:
    rules = tuple(rule for place, rule in enumerate(RULES) if number >> place & 1)
    return DecidedLimb(side, TIERS[number % 3], DISPOSITIONS[number // 3 % 2], rules)


def entry_of(number: int) -> Entry:
    """A decision that differs from its neighbours in everything it is found by; some go back in time."""
    return decision_entry(
        organisation=("quillerbeck", "elsewhere")[number % 5 == 0],
        edition=("core-2026.1.0", "core-2026.2.0")[number // 7 % 2],
        episode=None if number % 4 == 0 else f"episode-{number % 3}",
        at=NOON + (number - 6 * (number % 3)) * DAY / 4,
        limbs=(limb("left", number), limb("right", number * 7 + 1))[: 1 + number % 2],
    )


def fits(entry: Entry, wanted: DecisionFilter) -> bool:
    decision = entry.decision
    if decision is None or entry.organisation != wanted.organisation:
        return False
    return (
        wanted.episode in (None, decision.episode)
        and wanted.edition in (None, decision.edition)
        and (wanted.decided_from is None or decision.decided_at >= wanted.decided_from)
        and (wanted.decided_before is None or decision.decided_at < wanted.decided_before)
        and any(
            wanted.tier in (None, one.tier)
            and wanted.disposition in (None, one.disposition)
            and (wanted.rule is None or wanted.rule in one.rules)
            for one in decision.limbs
        )
    )


@pytest.fixture
def filled(store: EntryStore, monkeypatch: pytest.MonkeyPatch) -> tuple[EntryStore, list[Entry]]:
    """Return a log of 90 entries in blocks of 8 positions, so that a search crosses many of them."""
    monkeypatch.setattr(search, "BLOCK_BITS", 3)
    entries = [other_entry(number) if number % 11 == 0 else entry_of(number) for number in range(90)]
    for start in range(0, 90, 6):
        store.append(entries[start : start + 6])
    return store, entries


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    wanted=st.builds(
        DecisionFilter,
        organisation=st.sampled_from(["quillerbeck", "elsewhere", "nobody"]),
        episode=st.none() | st.sampled_from(["episode-0", "episode-1", "episode-9"]),
        edition=st.none() | st.sampled_from(["core-2026.1.0", "core-2026.2.0"]),
        tier=st.none() | st.sampled_from([*TIERS, "unknown"]),
        disposition=st.none() | st.sampled_from(DISPOSITIONS),
        rule=st.none() | st.sampled_from([*RULES, "wet", "review-again"]),
        decided_from=st.none() | st.integers(-10, 90).map(lambda quarter: NOON + quarter * DAY / 4),
        decided_before=st.none() | st.integers(-10, 90).map(lambda quarter: NOON + quarter * DAY / 4),
    ),
    before=st.none() | st.integers(0, 95),
    limit=st.integers(1, 30),
)
def test_a_search_finds_what_a_look_at_every_decision_finds(
    filled: tuple[EntryStore, list[Entry]], wanted: DecisionFilter, before: int | None, limit: int
) -> None:
    store, entries = filled
    expected: list[tuple[Any, ...]] = [
        (position, entry.id, entry.decision.edition, entry.decision.episode, entry.decision.decided_at)
        for position, entry in reversed(list(enumerate(entries)))
        if entry.decision and fits(entry, wanted) and (before is None or position < before)
    ]
    found = store.find_decisions(wanted, before, limit)
    assert [(one.position, one.id, one.edition, one.episode, one.decided_at) for one in found] == expected[
        :limit
    ]
    for one in found:
        decision = entries[one.position].decision
        assert decision is not None
        assert [(limb.side, limb.tier, limb.disposition) for limb in one.limbs] == [
            (limb.side, limb.tier, limb.disposition) for limb in decision.limbs
        ]


def test_pages_do_not_shift_while_decisions_are_written(store: EntryStore) -> None:
    store.append([decision_entry(number) for number in range(10)])
    wanted = DecisionFilter("quillerbeck", tier="mild")
    seen: list[int] = []
    before: int | None = None
    while page := store.find_decisions(wanted, before, 3):
        seen += [one.position for one in page]
        before = seen[-1]
        store.append([decision_entry()])
    assert seen == list(range(9, -1, -1))


def test_what_another_process_appended_is_found(store: EntryStore, address: str) -> None:
    from limbtier.store.opening import open_database

    store.append([decision_entry(1)])
    other = EntryStore(open_database(address))
    other.append([decision_entry(2, limbs=(DecidedLimb("left", "strong", "start", ("late",)),))])
    other.close()
    assert [
        one.position for one in store.find_decisions(DecisionFilter("quillerbeck", rule="late"), None, 9)
    ] == [1]
    store.append([decision_entry(3, limbs=(DecidedLimb("left", "strong", "start", ("late",)),))])
    found = store.find_decisions(DecisionFilter("quillerbeck", rule="late"), None, 9)
    assert [one.position for one in found] == [2, 1]
