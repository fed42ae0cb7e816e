"""A whole simulated year: `python -m tests.benchmarks.simulated_year`. Prints what was compared.

The due list and the picture of the caseload are read a second time from the log alone, in plain code, on
several days of the year. It ends with 1 where both readings differ.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

from tests.properties.year_compared import compare_year

SHOWN = 20


def main() -> int:
    """Run, compare and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--episodes", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    begin = time.perf_counter()
    with tempfile.TemporaryDirectory(prefix="limbtier-year-") as folder:
        comparison, counts = compare_year(Path(folder), options.episodes, options.seed, print)
    print(f"\n{time.perf_counter() - begin:.0f} s. What happened:")
    for name, count in sorted(counts.items()):
        print(f"  {count:7,} {name}")
    print("Compared:")
    for name, count in comparison.compared.items():
        print(f"  {count:7,} {name}")
    print(f"Differences: {len(comparison.differences)}")
    for difference in comparison.differences[:SHOWN]:
        print(f"  {difference[:300]}")
    return 1 if comparison.differences else 0


if __name__ == "__main__":
    sys.exit(main())
