"""What an episode costs: `python -m tests.benchmarks.episodes [CONTACTS]`. Durable decisions, without HTTP.

Compares decisions without an episode, first contacts and follow-ups, in interleaved rounds; then one long
episode: whether a follow-up gets slower as it grows, and what a contact costs that arrives late.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

import orjson

from limbtier.audit.checkpoint_key import KeyFolder
from limbtier.audit.log import Log
from limbtier.domain.caller import Caller
from limbtier.foundation.settings import CHECKOUT
from limbtier.store.entries import EntryStore
from limbtier.store.episodes import EpisodeTable
from limbtier.store.opening import open_database
from limbtier.use_cases.decide import Decider
from limbtier.use_cases.episodes import Episodes
from limbtier.use_cases.follow_up import FollowUps
from limbtier.use_cases.ready_pathway import ready_attention, ready_watch
from limbtier.use_cases.ready_rules import ready_rules

CALLER = Caller("benchmark", "quillerbeck", frozenset({"decide"}))
FIRST: dict[str, Any] = orjson.loads((CHECKOUT / "demo_data" / "first_contact.json").read_bytes())
ROUNDS = 100
HISTORY = ("first_contact_on", "current_tier", "start_girth_series_cm", "sensation", "claudication")


def main() -> None:
    """Measure and print."""
    contacts = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    with tempfile.TemporaryDirectory() as folder:
        _measure(Path(folder), contacts)


def _measure(folder: Path, contacts: int) -> None:
    rules = ready_rules(CHECKOUT / "rules")
    watch = ready_watch(CHECKOUT / "rules", [one.edition for one in rules.editions.values()])
    attention = ready_attention(CHECKOUT / "rules", watch)[0]
    database = open_database(folder / "log.sqlite3")
    log = Log(EntryStore(database), KeyFolder(folder / "keys"), "limbtier.invalid/benchmark")
    decider = Decider(rules)
    follow_ups = FollowUps(decider, Episodes(EpisodeTable(database), watch, attention))

    def alone() -> None:
        log.append(decider.entry(orjson.dumps(_without(FIRST, "episode")), CALLER))

    def in_episode(request: dict[str, Any]) -> None:
        body = orjson.dumps(request)
        known = follow_ups.known(body, CALLER.organisation)
        assert known is not None
        log.append(follow_ups.entry(body, CALLER, None, known))

    times: dict[str, list[float]] = {"without an episode": [], "first contact": [], "follow-up": []}
    for number in range(ROUNDS):
        name = f"ep-{number}-x"
        times["without an episode"].append(_timed(alone))
        times["first contact"].append(_timed(partial(in_episode, {**FIRST, "episode": name})))
        later = _follow_up("2026-03-04T09:30:00+00:00", name)
        times["follow-up"].append(_timed(partial(in_episode, later)))
    base = statistics.median(times["first contact"])
    for what, some in times.items():
        median = statistics.median(some)
        print(f"{what}: {median * 1000:.2f} ms, {median / base:.2f} of a first contact")
    at = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
    in_episode({**FIRST, "episode": "ep-long"})
    growing = []
    for _ in range(contacts):
        at += timedelta(minutes=5)
        request = _follow_up(at.isoformat(), "ep-long")
        growing.append(_timed(partial(in_episode, request)))
    first, last = (statistics.median(some) * 1000 for some in (growing[:50], growing[-50:]))
    print(f"episode of {contacts} contacts: follow-up {first:.2f} ms at first, {last:.2f} ms at last")
    late = _follow_up((at - timedelta(minutes=2)).isoformat(), "ep-long")
    print(f"a contact that arrives late in it: {_timed(partial(in_episode, late)) * 1000:.0f} ms")
    log.close()


def _timed(work: Callable[[], None]) -> float:
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def _without(request: dict[str, Any], *names: str) -> dict[str, Any]:
    return {name: value for name, value in request.items() if name not in names}


def _follow_up(at: str, episode: str) -> dict[str, Any]:
    """A contact that answers only what must be asked again."""
    leg = {**_without(FIRST["limbs"]["left"], *HISTORY), "tolerance": "good", "progress": "better"}
    return {**FIRST, "episode": episode, "assessed_at": at, "limbs": {"left": leg}}


if __name__ == "__main__":
    main()
