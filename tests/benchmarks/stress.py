"""Kills whoever appends, at random moments, and looks for what was lost: `python -m tests.benchmarks.stress`.

After each kill every entry that was ever acknowledged must stand in the log exactly once, byte for byte, and
the log must prove itself: its tree made anew, every checkpoint over it, and its decisions found. The next run
goes on with the same log. `--database` names another one than a new SQLite file, `--processes` says how many
append at once.

What is killed is a `Target`. The one here appends straight to the log; another one only has to name commands
that print `ready` once they are under load, and then a line `ID DIGEST` for each entry acknowledged: its id,
and the SHA-256 of its bytes in hexadecimal digits.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path
from typing import Protocol

from limbtier.audit.checkpoint_key import KeyFolder
from limbtier.audit.log import Log
from limbtier.audit.self_check import check_whole
from limbtier.store.entries import EntryStore
from limbtier.store.opening import open_database
from tests.support.log_entries import decision_entry

ORIGIN = "log.invalid/stress"
CHECKOUT = Path(__file__).resolve().parents[2]
READY = "ready"
THREADS = 4
LONGEST_SECONDS = 0.4


class Target(Protocol):
    """What is killed."""

    def commands(self) -> Sequence[Sequence[str]]:
        """The processes to start together."""


@dataclass(frozen=True)
class Appenders:
    """Processes that append with several threads, sign, and change the key."""

    database: str
    keys: Path
    processes: int = 1

    def commands(self) -> Sequence[Sequence[str]]:
        """The same command for each process."""
        command = (sys.executable, "-m", "tests.benchmarks.stress", "--append", self.database, str(self.keys))
        return [command] * self.processes


@dataclass
class Outcome:
    """What was found after so many kills. `lost` should be empty."""

    runs: int = 0
    acknowledged: dict[str, str] = field(default_factory=dict)
    entries: int = 0
    checkpoints: int = 0
    keys: int = 0
    lost: list[str] = field(default_factory=list)


def stress(target: Target, database: str, keys: Path, runs: int, chance: random.Random) -> Outcome:
    """Kill the target so often. Raises StoreUnavailable when the log does not prove itself afterwards."""
    outcome = Outcome()
    for _ in range(runs):
        outcome.acknowledged |= one_run(target, chance.uniform(0, LONGEST_SECONDS))
        outcome.runs += 1
        look_for_losses(database, keys, outcome)
    return outcome


def one_run(target: Target, seconds: float) -> dict[str, str]:
    """Start the processes, kill them so long after all are ready, and return what they acknowledged."""
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(CHECKOUT / "service"), str(CHECKOUT)])}
    running = [
        subprocess.Popen(command, cwd=CHECKOUT, env=environment, stdout=subprocess.PIPE, text=True)
        for command in target.commands()
    ]
    try:
        for process in running:
            assert process.stdout is not None
            if process.stdout.readline().strip() != READY:
                raise RuntimeError(f"a process ended with code {process.wait()} before it was ready")
        time.sleep(seconds)
    finally:
        for process in running:
            process.send_signal(signal.SIGKILL)
    acknowledged: dict[str, str] = {}
    for process in running:
        for line in process.communicate()[0].splitlines(keepends=True):
            if line.endswith("\n"):  # the last one may have been cut
                entry_id, _, digest = line.strip().partition(" ")
                acknowledged[entry_id] = digest
    return acknowledged


def look_for_losses(database: str, keys: Path, outcome: Outcome) -> None:
    """Open the log as a service would, sign it, and compare everything."""
    log = Log(EntryStore(open_database(database)), KeyFolder(keys), ORIGIN)
    try:
        log.checkpoint()
        head, differences = check_whole(log.store)
        outcome.lost += [str(differences)] if differences else []
        standing = [
            (entry.id, hashlib.sha256(entry.data).hexdigest())
            for entry in log.store.entries_from(0, head.size)
        ]
        times = Counter(entry_id for entry_id, _ in standing)
        wanted = set(outcome.acknowledged.items())
        outcome.lost += [f"{entry_id} is lost" for entry_id, _ in sorted(wanted - set(standing))]
        outcome.lost += [f"{entry_id} stands {often} times" for entry_id, often in times.items() if often > 1]
        outcome.entries, outcome.checkpoints = head.size, len(log.store.checkpoints())
        outcome.keys = len(log.verifier_keys)
    finally:
        log.close()


def append_for_ever(database: str, keys: Path) -> None:
    """Append, sign and change the key until killed."""
    log = Log(EntryStore(open_database(database)), KeyFolder(keys), ORIGIN)
    fault = log.state.fault
    if fault is not None:
        raise fault
    lock = threading.Lock()

    def append() -> None:
        for number in count():
            entry = decision_entry(number, episode=f"episode-{number % 9}", size=random.randrange(4000))
            log.append(entry)
            line = f"{entry.id} {hashlib.sha256(entry.data).hexdigest()}\n"
            with lock:
                os.write(1, line.encode())

    def sign() -> None:
        for number in count():
            log.checkpoint()
            if number % 10 == 9:
                log.rotate_key()
            time.sleep(random.uniform(0, 0.02))

    os.write(1, f"{READY}\n".encode())
    for work in (sign, *[append] * THREADS):
        threading.Thread(target=work).start()


def main() -> None:
    """Kill and look, as often as asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=200, help="how many kills (default: 200)")
    parser.add_argument("--processes", type=int, default=1, help="how many append at once (default: 1)")
    parser.add_argument("--database", help="a path or an address (default: a new SQLite file)")
    parser.add_argument("--seed", type=int, default=0, help="for the moments of the kills (default: 0)")
    parser.add_argument("--append", nargs=2, metavar=("DATABASE", "KEYS"), help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.append:
        append_for_ever(options.append[0], Path(options.append[1]))
        return
    with tempfile.TemporaryDirectory(prefix="limbtier-stress-") as folder:
        database = options.database or str(Path(folder) / "log.sqlite3")
        keys = Path(folder) / "keys"
        target = Appenders(database, keys, options.processes)
        begun = time.monotonic()
        outcome = stress(target, database, keys, options.runs, random.Random(options.seed))
    print(
        f"{outcome.runs} kills of {options.processes} processes in {time.monotonic() - begun:.0f} s: "
        f"{len(outcome.acknowledged)} entries acknowledged, {outcome.entries} in the log, "
        f"{outcome.checkpoints} checkpoints of {outcome.keys} keys; lost or doubled: {len(outcome.lost)}"
    )
    for line in outcome.lost:
        print(f"  {line}")
    sys.exit(1 if outcome.lost else 0)


if __name__ == "__main__":
    main()
