"""How long proofs take, and what catches seeded unsafe edits: `python -m tests.benchmarks.proofs`.

With `--mutations` every seeded edit of the core edition is made and everything that catches it is printed;
the exit code is 1 when one is caught by nothing, or not by what its table names.
"""

from __future__ import annotations

import argparse
import os
import platform
import sys
import time
from collections.abc import Callable
from functools import partial
from typing import TypeVar

from limbtier.engine.prepared import PreparedEdition
from limbtier.foundation.settings import CHECKOUT
from limbtier.governance.proofs.comparison import compare
from limbtier.governance.proofs.prove import prove_edition, prove_rule
from limbtier.governance.proofs.verdict import Inconclusive, Proved
from limbtier.governance.proofs.workbench import Workbench
from limbtier.use_cases.decide import ReadyRules
from limbtier.use_cases.ready_rules import ready_rules
from tests.governance.proofs.catching import checks, differing_cases, prepared_mutant
from tests.governance.proofs.mutations import EDITED, MUTATIONS, Mutation

T = TypeVar("T")
ONE_RULE = ("stent", "established", "not-measured-cautious")
COMPARED = (
    "reduced-supply-no-advice allows mild",
    "severe-ischaemia begins at 0.5",
    "wet-review comes after 7 days",
)


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--mutations", action="store_true", help="make every seeded edit and say what catches it"
    )
    options = parser.parse_args()
    rules = ready_rules(CHECKOUT / "rules")
    core = rules.editions[EDITED]
    print(f"Python {platform.python_version()}, {os.cpu_count()} cores, {platform.machine()}\n")
    if options.mutations:
        return mutations(core, rules)
    times(core, rules)
    return 0


def times(core: PreparedEdition, rules: ReadyRules) -> None:
    """The whole core edition, one rule, the checks of reachability, and comparisons."""
    verdicts = timed("prove the core edition", 30, lambda: prove_edition(core, rules.calendars))
    proved = sum(isinstance(one, Proved) for one in verdicts)
    slowest = max(verdicts, key=lambda one: one.seconds)
    print(f"    {proved} of {len(verdicts)} proved; slowest {slowest.statement.id}, {slowest.seconds:.2f} s")
    timed(
        "checks of reachability of the core edition",
        30,
        lambda: list(checks(Workbench(core, rules.calendars))),
    )
    for rule_id in ONE_RULE:
        timed(f"prove one edited rule, {rule_id}", 3, partial(prove_rule, core, rules.calendars, rule_id))
    timed("compare the core edition with itself", None, lambda: compare(core, core, rules.calendars))
    for mutation in MUTATIONS:
        if mutation.name in COMPARED:
            after = mutant(mutation, core)
            found = timed(f"compare: {mutation.name}", None, partial(compare, core, after, rules.calendars))
            more = ", ".join(found.more) or "none"
            print(f"    {len(found.regions)} regions; not all of: {more} {found.incomplete}")


def timed(what: str, aim: float | None, run: Callable[[], T]) -> T:
    """Run and print how long it took, and how long of that the processor was at work, beside the aim."""
    start, at_work = time.perf_counter(), time.process_time()
    result = run()
    seconds, at_work = time.perf_counter() - start, time.process_time() - at_work
    wanted = "" if aim is None else f"  aim {aim:g} s{'' if seconds <= aim else ': NOT MET'}"
    print(f"{what:<60} {seconds:7.2f} s, at work {at_work:.2f} s{wanted}", flush=True)
    return result


def mutations(core: PreparedEdition, rules: ReadyRules) -> int:
    """The table: each edit with everything that catches it."""
    missed: list[str] = []
    alone = nothing = 0
    counts = {"proof": 0, "check": 0, "case": 0}
    for number, mutation in enumerate(MUTATIONS, start=1):
        start = time.perf_counter()
        prepared = mutant(mutation, core)
        verdicts = [one for one in prove_edition(prepared, rules.calendars) if not isinstance(one, Proved)]
        unsettled = [one.statement.id for one in verdicts if isinstance(one, Inconclusive)]
        caught = {
            "proof": [one.statement.id for one in verdicts if not isinstance(one, Inconclusive)],
            "check": list(checks(Workbench(prepared, rules.calendars))),
            "case": differing_cases(prepared, rules.calendars),
        }
        alone += sum(map(bool, caught.values())) == 1
        nothing += not any(caught.values())
        for catcher, by in caught.items():
            counts[catcher] += bool(by)
        named = mutation.caught_by in caught[mutation.catcher]
        if not named:
            missed.append(mutation.name)
        print(f"{number:>2}  {mutation.name}{'' if named else '   NOT CAUGHT AS THE TABLE SAYS'}")
        for catcher, by in caught.items():
            if by:
                more = f" and {len(by) - 3} more" if len(by) > 3 else ""
                print(f"      {catcher + ':':<11} {', '.join(by[:3])}{more}")
        if unsettled:
            print(f"      not settled: {', '.join(unsettled)}")
        print(f"      {time.perf_counter() - start:.1f} s", flush=True)
    print(
        f"\n{len(MUTATIONS)} edits; caught by a proof {counts['proof']}, by a check of reachability "
        f"{counts['check']}, by a worked case {counts['case']}; by one of these alone {alone}, by nothing "
        f"{nothing}; not as the table says {len(missed)}"
    )
    return 1 if missed else 0


def mutant(mutation: Mutation, core: PreparedEdition) -> PreparedEdition:
    """The core edition with one seeded edit."""
    return prepared_mutant(mutation.edit(core.edition), core.guard_rails)


if __name__ == "__main__":
    sys.exit(main())
