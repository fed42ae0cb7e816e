"""Speed of the impact of an edition on past decisions: `python -m tests.benchmarks.impact [DECISIONS]`.

Prints what it measured; nothing is asserted. The log is a real one, in a temporary folder: each decision of
the demo cohort is decided once and stored many times, each time with an id of its own, 14 kB of disk a
decision. Measuring then decides every one of them again by an edition with changed rules, which makes a
sixth of the legs differ.
"""

from __future__ import annotations

import argparse
import os
import platform
import re
import resource
import tempfile
import time
import uuid
from dataclasses import replace
from pathlib import Path

from limbtier.domain.caller import Caller
from limbtier.domain.entry import DecisionFilter
from limbtier.foundation.settings import CHECKOUT
from limbtier.governance.impact import Impact
from limbtier.store.entries import EntryStore
from limbtier.store.opening import open_database
from limbtier.use_cases.decide import Decider
from limbtier.use_cases.measure_impact import Candidate, measure_impact
from limbtier.use_cases.past_assessments import DecisionsOfLog, LinesOfFile, PastAssessments
from limbtier.use_cases.ready_rules import ready_rules
from tests.support.editions import CHANGED, rules_with_changed_core

COHORT = CHECKOUT / "demo_data" / "assessments.jsonl"
CALLER = Caller("integrator-key", "quillerbeck", frozenset({"decide"}))
CHANGES = {"tiers.yaml": {"review_within: 48 hours": "review_within: 24 hours"}}
_ID = re.compile(rb'(?<="id":")[0-9a-f-]{36}(?=","kind":"decision")')


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("decisions", type=int, nargs="?", default=100_000)
    options = parser.parse_args()
    print(f"Python {platform.python_version()}, {os.cpu_count()} cores, {platform.machine()}\n")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        rules = rules_with_changed_core(
            folder, {"tiers.yaml": {"review_within: 48 hours": "review_within: 24 hours"}}
        )
        database = folder / "log.sqlite3"
        start = time.perf_counter()
        fill(database, options.decisions)
        size = database.stat().st_size / 1e9
        print(
            f"stored {options.decisions:,} decisions, {size:.1f} GB, in {time.perf_counter() - start:.0f} s"
        )
        log = DecisionsOfLog(str(database), DecisionFilter(CALLER.organisation))
        measured("decisions of the log, all cores", log, Candidate(rules, CHANGED))
        lines = folder / "assessments.jsonl"
        with lines.open("wb") as file:
            for _ in range(options.decisions // 200):
                file.write(COHORT.read_bytes())
        measured("plain assessments, decided twice", LinesOfFile(lines), Candidate(rules, CHANGED))


def fill(database: Path, decisions: int) -> None:
    """A log of so many decisions."""
    decider = Decider(ready_rules(CHECKOUT / "rules"))
    entries = [decider.entry(line, CALLER) for line in COHORT.read_bytes().splitlines()]
    store = EntryStore(open_database(database))
    for first in range(0, decisions, len(entries)):
        batch = []
        for entry in entries[: decisions - first]:
            name = str(uuid.uuid4())
            batch.append(replace(entry, id=name, data=_ID.sub(name.encode(), entry.data, count=1)))
        store.append(batch)
    store.close()


def measured(what: str, past: PastAssessments, candidate: Candidate) -> Impact:
    """Measure once, from a cold start of the working processes to the last decision."""
    start, used = time.perf_counter(), cpu_seconds()
    impact = measure_impact(past, candidate)
    seconds, used = time.perf_counter() - start, cpu_seconds() - used
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{what}: {impact.assessments:,} assessments, {impact.legs:,} legs, {len(impact.changes):,} differ, "
        f"{len(impact.not_decided)} not decided\n"
        f"  {seconds:.1f} s, {used:.1f} s of processor time, {impact.assessments / seconds:,.0f} a second; "
        f"memory of this process at most {most:.0f} MB",
        flush=True,
    )
    return impact


def cpu_seconds() -> float:
    """Processor time of this process and of those it started that have ended."""
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system


if __name__ == "__main__":
    main()
