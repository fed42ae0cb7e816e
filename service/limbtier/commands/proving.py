"""The arguments of `limbtier prove`. The solver is large, and is loaded only when something is proved."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add it."""
    prove = commands.add_parser(
        "prove",
        help="prove for every assessment that an edition breaks no guard rail, and more",
        description="Proves each guard rail and each other statement that must hold of every edition, for "
        "all assessments, unanswered questions included. What does not hold is shown by an assessment that "
        "the engine has decided. Exit code: 0 all is proved; 1 an assessment breaks something; 2 nothing "
        "could be proved, because rule files are refused or hold what the prover does not know; 3 nothing is "
        "broken, but something could not be settled, and the reason is given.",
    )
    what = "the rules folder, or the folder of one edition such as rules/core/2026.1.0"
    prove.add_argument("path", type=Path, metavar="PATH", help=what)
    prove.add_argument("--rule", metavar="ID", help="only what this one rule can break, while you edit it")
    cases = "write each assessment that breaks something as a worked case"
    prove.add_argument("--cases", type=Path, metavar="FOLDER", help=cases)
    prove.add_argument("--json", action="store_true", help="print the verdicts as JSON")
    prove.add_argument(
        "--seconds", type=int, default=30, metavar="N", help="how long one question may take (default: 30)"
    )
    prove.set_defaults(run=_prove)


def _prove(options: argparse.Namespace) -> int:
    from limbtier.use_cases.prove_edition import ProveOptions, prove_editions

    wanted = ProveOptions(options.rule, options.cases, options.json, 1000 * options.seconds)
    return prove_editions(options.path, sys.stdout, wanted)
