"""The commands that compare editions: `compare`, `impact`, `hazards`."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from limbtier.commands.parts import day, forms, settings
from limbtier.foundation.settings import CHECKOUT


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add them."""
    compare = commands.add_parser("compare", help="compare two editions part by part, in words")
    compare.add_argument("old", metavar="OLD", help="the id of an edition")
    compare.add_argument("new", metavar="NEW", help="the id of the other")
    compare.add_argument(
        "--behaviour", action="store_true", help="also find every assessment that the two decide differently"
    )
    forms(compare, "json", "markdown", "html")
    compare.set_defaults(run=_compare)

    impact = commands.add_parser("impact", help="decide past assessments by another edition, and count")
    impact.add_argument("edition", metavar="EDITION", help="the id of the edition")
    past = impact.add_mutually_exclusive_group(required=True)
    past.add_argument("--on", type=Path, metavar="FILE", help="assessments or decision records, one a line")
    past.add_argument("--organisation", metavar="NAME", help="decisions of this organisation in the log")
    impact.add_argument("--from", dest="first", type=day, metavar="DATE", help="the first day, in the log")
    impact.add_argument("--before", type=day, metavar="DATE", help="the first day no longer, in the log")
    impact.add_argument(
        "--against", metavar="EDITION", help="compare with this edition (default: as decided)"
    )
    for form in ("json", "csv", "svg"):
        impact.add_argument(f"--{form}", type=Path, metavar="FILE", help=f"write a file as {form.upper()}")
    impact.set_defaults(run=_impact)

    hazards = commands.add_parser("hazards", help="show the hazard log, beside an edition")
    hazards.add_argument("--edition", metavar="ID", help="the id of the edition (default: the active one)")
    forms(hazards, "markdown", "html")
    hazards.set_defaults(run=_hazards)


def _compare(options: argparse.Namespace) -> int:
    from limbtier.use_cases.compare_editions import compare, show
    from limbtier.use_cases.ready_rules import ready_rules

    compared = compare(
        ready_rules(settings().rules),
        options.old,
        options.new,
        behaviour=options.behaviour,
        progress=lambda one: print(f"found: {one.change} ({one.direction})", file=sys.stderr),
    )
    print(show(compared, options.form), end="")
    return 0


def _impact(options: argparse.Namespace) -> int:
    from limbtier.use_cases.measure_impact import Candidate
    from limbtier.use_cases.report_impact import decisions_of_log, lines_of_file, report_impact

    chosen = settings()
    if options.on is not None:
        past = lines_of_file(options.on)
    else:
        past = decisions_of_log(chosen.database, options.organisation, options.first, options.before)
    candidate = Candidate(chosen.rules, options.edition, options.against, chosen.rule_set)
    files = {form: file for form in ("json", "csv", "svg") if (file := getattr(options, form)) is not None}
    return report_impact(past, candidate, files, sys.stdout, sys.stderr)


def _hazards(options: argparse.Namespace) -> int:
    from limbtier.use_cases.show_hazards import show_hazards

    chosen = settings()
    tests = CHECKOUT / "tests"
    print(show_hazards(chosen.rules, chosen.rule_set, options.edition, tests, options.form), end="")
    return 0
