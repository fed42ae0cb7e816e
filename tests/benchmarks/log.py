"""Speed of the log: `python -m tests.benchmarks.log`. Prints one table; nothing is asserted.

Appending is measured beside plain statements that write the same rows to the same disk, in turns, because a
shared machine moves by a factor of two between runs. `--entries` says how large a log proofs are made in and
opened; those entries are short, because only their number matters to both.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import platform
import random
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from limbtier.audit.checkpoint_key import KeyFolder
from limbtier.audit.group_commit import GroupCommit
from limbtier.audit.log import Log
from limbtier.domain.entry import DecidedLimb, DecisionFilter, Entry
from limbtier.foundation.merkle import Frontier, complete_subtrees, leaf_hash
from limbtier.foundation.settings import CHECKOUT
from limbtier.store.entries import EntryStore
from limbtier.store.opening import open_database
from limbtier.store.packing import packed
from limbtier.use_cases.decide import Decider
from limbtier.use_cases.ready_rules import ready_rules
from tests.support.log_entries import NOON, decision_entry

ORIGIN = "log.invalid/benchmark"
MILLISECONDS = 1_000
RULES = tuple(f"rule-number-{number}" for number in range(20))
LIMBS = tuple(DecidedLimb(side, "mild", "start", RULES) for side in ("left", "right"))
DAY = timedelta(days=1)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--entries", type=int, default=1_000_000, help="size of the large log")
    parser.add_argument("--appends", type=int, default=3000, help="how many appends to measure")
    parser.add_argument("--database", help="append to an empty PostgreSQL database, too: its address")
    options = parser.parse_args()
    print(f"Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}, {os.cpu_count()} cores\n")
    with tempfile.TemporaryDirectory(prefix="limbtier-log-", dir=Path.cwd()) as folder:
        one_by_one(Path(folder), options.appends)
        together(str(Path(folder) / "together.sqlite3"), options.appends)
        if options.database:
            together(options.database, options.appends)
        if options.entries:
            large(Path(folder), options.entries)


@cache
def usual_record() -> bytes:
    """The record of the demo's first contact, without its id."""
    rules = ready_rules(CHECKOUT / "rules")
    return Decider(rules).preview((CHECKOUT / "demo_data" / "first_contact.json").read_bytes())


def entry_of(number: int) -> Entry:
    """A decision of the usual size, with a retry key."""
    key = f"key-{number}-{os.urandom(4).hex()}"
    entry = decision_entry(number, episode=f"episode-{number % 1000}", limbs=LIMBS, key=key)
    data = usual_record().replace(b'"id":null', f'"id":"{entry.id}"'.encode())
    return replace(entry, data=data)


def one_by_one(folder: Path, appends: int) -> None:
    """One entry a transaction, ours and plain statements in turns."""
    store = EntryStore(open_database(folder / "ours.sqlite3"))
    plain = PlainLog(folder / "plain.sqlite3")
    times: dict[str, list[float]] = {"plain statements": [], "EntryStore.append": []}
    for number in range(appends):
        entry = entry_of(number)
        for name, work in (("plain statements", plain.append), ("EntryStore.append", store.append)):
            times[name].append(timed(work, [entry]))
    store.close()
    print(
        f"Append of one entry of {len(usual_record()) // 1000} kB, durable, SQLite, {appends} times in turns:"
    )
    base = statistics.median(times["plain statements"])
    for name, found in times.items():
        show(name, found[appends // 20 :], f"{statistics.median(found) / base:.2f}x")
    print()


def together(database: str, appends: int) -> None:
    """Many coroutines through the group commit."""
    store = EntryStore(open_database(database))
    writer = GroupCommit(store.append)
    print(
        f"Append through the group commit, {database.partition(':')[0] if '://' in database else 'SQLite'}:"
    )
    for clients in (1, 16):
        times: list[float] = []
        begun = time.perf_counter()
        asyncio.run(_clients(writer, clients, appends, times))
        seconds = time.perf_counter() - begun
        show(f"{clients} at once", times, f"{len(times) / seconds:.0f}/s")
    writer.close()
    store.close()
    print()


async def _clients(writer: GroupCommit, clients: int, appends: int, times: list[float]) -> None:
    async def client(first: int) -> None:
        for number in range(first, appends, clients):
            entry = entry_of(number)
            begun = time.perf_counter()
            await writer.append_soon(entry)
            times.append((time.perf_counter() - begun) * MILLISECONDS)

    await asyncio.gather(*(client(first) for first in range(clients)))


class PlainLog:
    """The same rows by the plainest statements: what appending costs at least on this disk."""

    def __init__(self, file: Path) -> None:
        open_database(file).close()
        self._connection = sqlite3.connect(file, isolation_level=None)
        self._connection.execute("PRAGMA synchronous = FULL")
        self._connection.execute("PRAGMA wal_autocheckpoint = 4000")
        self._frontier = Frontier()

    def append(self, batch: Sequence[Entry]) -> None:
        """Append one decision."""
        (entry,) = batch
        assert entry.decision is not None
        assert entry.retry is not None
        position, number = self._frontier.size, complete_subtrees(self._frontier.size)
        hashes = [
            (number + place, found)
            for place, (_, _, found) in enumerate(self._frontier.add(leaf_hash(entry.data)))
        ]
        limbs = [(position, one.side, one.tier, one.disposition, " ".join(one.rules)) for one in LIMBS]
        head = self._frontier.size, b"".join(self._frontier.peaks)
        retry, found = entry.retry, entry.decision
        row = position, entry.id, entry.kind, entry.organisation, 1, packed(entry.data)
        decision = position, entry.id, entry.organisation, found.edition, found.episode, 1
        cursor = self._connection.cursor()
        cursor.execute("BEGIN IMMEDIATE")
        cursor.execute("SELECT size, peaks FROM log_head").fetchone()
        cursor.execute("INSERT INTO entries VALUES (?, ?, ?, ?, ?, ?)", row)
        cursor.executemany("INSERT INTO hashes VALUES (?, ?)", hashes)
        cursor.execute("UPDATE log_head SET size = ?, peaks = ?", head)
        cursor.execute("INSERT INTO decisions VALUES (?, ?, ?, ?, ?, ?)", decision)
        cursor.executemany("INSERT INTO decided_limbs VALUES (?, ?, ?, ?, ?)", limbs)
        cursor.execute(
            "INSERT INTO retries VALUES (?, ?, ?, ?)", (retry.caller, retry.key, retry.payload, position)
        )
        cursor.execute("COMMIT")


def short_entry(number: int) -> Entry:
    """A decision of the large log: 2,000 a day, 2 tiers, 20 rules of 40, and one rule that counted once."""
    first = number % 2 * 20
    rules = tuple(f"rule-number-{rule}" for rule in range(first, first + 20))
    if number == 12_345:
        rules = (*rules, "rare-rule")
    limb = DecidedLimb("left", ("mild", "strong")[number % 2], "start", rules)
    return decision_entry(
        number, episode=f"episode-{number % 100_000}", at=day(0) + number * DAY / 2000, limbs=(limb,)
    )


def day(number: int) -> datetime:
    """The beginning of a day of the large log."""
    return NOON.replace(hour=0) + number * DAY


def large(folder: Path, size: int) -> None:
    """Proofs, opening and searching in a large log."""
    file, keys = folder / "large.sqlite3", KeyFolder(folder / "keys")
    store = EntryStore(open_database(file))
    begun = time.perf_counter()
    for first in range(0, size, 2000):
        store.append([short_entry(number) for number in range(first, min(first + 2000, size))])
    seconds = time.perf_counter() - begun
    store.close()
    print(f"A log of {size} entries ({file.stat().st_size / 1e9:.1f} GB), made in {seconds:.0f} s:")
    opening = []
    for _ in range(3):
        begun = time.perf_counter()
        log = Log(EntryStore(open_database(file)), keys, ORIGIN)
        opening.append((time.perf_counter() - begun) * MILLISECONDS)
        assert log.state.fault is None
        log.close()
    show("opening, with its self-check", opening)
    log = Log(EntryStore(open_database(file)), keys, ORIGIN)
    chance = random.Random(0)
    show(
        "inclusion proof, any entry",
        [timed(log.inclusion, chance.randrange(size), size) for _ in range(1000)],
    )
    pairs = [sorted(chance.sample(range(1, size + 1), 2)) for _ in range(1000)]
    show("consistency proof, any two sizes", [timed(log.consistency, *pair) for pair in pairs])
    show(
        "entry by its position, checked",
        [timed(log.store.entry, chance.randrange(size)) for _ in range(1000)],
    )
    org = "quillerbeck"
    for name, wanted in {
        "page of 20, no filter": DecisionFilter(org),
        "page of 20, an episode": DecisionFilter(org, episode="episode-7"),
        "page of 20, a common rule": DecisionFilter(org, rule="rule-number-1"),
        "page of 20, a rule of one decision": DecisionFilter(org, rule="rare-rule"),
        "page of 20, a tier and a rule that never meet": DecisionFilter(
            org, tier="strong", rule="rule-number-2"
        ),
        "page of 20, a day": DecisionFilter(org, decided_from=day(3), decided_before=day(4)),
    }.items():
        show(name, [timed(log.find_decisions, wanted, None, 21) for _ in range(5)])
    log.close()


def show(name: str, milliseconds: Sequence[float], more: str = "") -> None:
    """One line of the table."""
    found = sorted(milliseconds)
    p99, p999 = (found[min(len(found) - 1, int(len(found) * part))] for part in (0.99, 0.999))
    middle = statistics.median(found)
    spread = f"p50 {middle:8.2f}  p99 {p99:8.2f}  p99.9 {p999:8.2f} ms  p99/p50 {p99 / middle:4.1f}"
    print(f"  {name:48} {spread}  {more}", flush=True)


def timed(work: Callable[..., Any], *arguments: Any) -> float:
    """Milliseconds that it takes."""
    begun = time.perf_counter()
    work(*arguments)
    return (time.perf_counter() - begun) * MILLISECONDS


if __name__ == "__main__":
    main()
