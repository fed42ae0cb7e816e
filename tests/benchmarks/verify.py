"""Time and memory of verifying a large export: `python -m tests.benchmarks.verify [ENTRIES]`.

Makes a log of 1,000,000 small, realistic entries (unless told otherwise) with a checkpoint every 1,000, and
exports it into a temporary folder, verified in a process of its own. Prints what it measured; nothing is
asserted. Memory is the peak of the verifying process.
"""

from __future__ import annotations

import argparse
import os
import platform
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from limbtier.audit.export import export_log
from limbtier.audit.verify_export import verify_export
from limbtier.foundation.canonical_json import canonical
from limbtier.foundation.merkle import Frontier, Subtree, leaf_hash
from limbtier.foundation.signed_note import Checkpoint, sign
from tests.audit.small_log import KEY, ORIGIN, decision, released

ENTRIES = 1_000_000
CHECKPOINT_EVERY = 1_000


class GeneratedLog:
    """A log whose entries are made as they are read, so that it needs no memory and no store."""

    def __init__(self, size: int) -> None:
        self.size = size
        self.notes: list[str] = []
        self.leaves = bytearray()
        frontier = Frontier()
        for entry in self.entries_from(0):
            leaf = leaf_hash(entry)
            self.leaves += leaf
            frontier.add(leaf)
            if frontier.size % CHECKPOINT_EVERY == 0 or frontier.size == size:
                self.notes.append(sign(Checkpoint(ORIGIN, frontier.size, frontier.root()).text(), [KEY]))

    def checkpoint(self) -> str:
        return self.notes[-1]

    def checkpoints(self) -> list[str]:
        return self.notes

    def verifier_keys(self) -> list[str]:
        return [str(KEY.verifier)]

    def entries_from(self, position: int) -> Iterator[bytes]:
        for number in range(position, self.size):
            yield canonical(decision(number) if number else released(0))

    def read_hashes(self, places: list[Subtree]) -> list[bytes]:
        return [bytes(self.leaves[32 * index : 32 * index + 32]) for _, index in places]


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("entries", type=int, nargs="?", default=ENTRIES)
    parser.add_argument("--verify", type=Path, metavar="FOLDER", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.verify:
        verify(options.verify)
        return
    print(f"Python {platform.python_version()}, {os.cpu_count()} cores, {platform.machine()}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        log = GeneratedLog(options.entries)
        (folder / "kept").write_text(log.notes[len(log.notes) // 2], encoding="utf-8")
        started = time.perf_counter()
        export_log(log, folder / "export")
        print(f"made and exported {options.entries:,} entries in {time.perf_counter() - started:.1f} s")
        command = [sys.executable, "-m", "tests.benchmarks.verify", "--verify", str(folder)]
        subprocess.run(command, check=True)


def verify(folder: Path) -> None:
    """Verify the export that was made, with progress as on the command line."""
    export = folder / "export"
    size = sum(path.stat().st_size for path in export.rglob("*") if path.is_file())
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    started, computed = time.perf_counter(), time.process_time()
    told = 0

    def progress(_entries: int, _part: float) -> None:
        nonlocal told
        told += 1

    report = verify_export(export, folder / "kept", progress=progress)
    seconds, computed = time.perf_counter() - started, time.process_time() - computed
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    each = computed / report.entries * 1e6
    print(
        f"verified {report.entries:,} entries ({size / 1e6:.0f} MB) in {seconds:.1f} s, "
        f"{computed:.1f} s of them computing ({each:.1f} us each)\n"
        f"whole: {report.whole}; told progress {told} times\n"
        f"memory: {before / 1024:.0f} MB before, {peak / 1024:.0f} MB at most"
    )


if __name__ == "__main__":
    main()
