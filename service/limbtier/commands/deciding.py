"""The command `decide`."""

from __future__ import annotations

import argparse
from pathlib import Path

from limbtier.commands.parts import settings


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add it."""
    decide = commands.add_parser(
        "decide", help="decide one assessment, or a JSON-lines file of many; stores nothing"
    )
    decide.add_argument(
        "file", type=Path, metavar="FILE", help="a JSON file, a JSON-lines file, or - for standard input"
    )
    decide.add_argument("--json", action="store_true", help="print the records as JSON, a line each")
    decide.set_defaults(run=_decide)


def _decide(options: argparse.Namespace) -> int:
    from limbtier.use_cases.decide import Decider
    from limbtier.use_cases.decide_many import decide_file
    from limbtier.use_cases.ready_rules import ready_rules

    chosen = settings()
    decider = Decider(ready_rules(chosen.rules, chosen.rule_set))
    return decide_file(decider, options.file, as_json=options.json)
