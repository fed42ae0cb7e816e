"""The commands on rule files: `check`, `checks`, `new-edition`, `render`, `schemas`."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from limbtier.commands.parts import day, settings
from limbtier.foundation.settings import CHECKOUT


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add them."""
    _check_arguments(commands.add_parser("check", help="check rule files and run their worked cases"))

    new = commands.add_parser("new-edition", help="begin a local edition: files that say how to go on")
    new.add_argument("set", metavar="SET", help="the name of its rule set, one word")
    new.add_argument("version", metavar="VERSION", help="its version, such as 2026.1.0")
    new.add_argument("--based-on", required=True, metavar="ID", help="an edition, such as core-2026.1.0")
    new.set_defaults(run=_new_edition)

    render = commands.add_parser("render", help="write a whole edition out for reading")
    render.add_argument("id", metavar="ID", help="an edition, such as core-2026.1.0")
    render.add_argument(
        "--html", type=Path, metavar="FILE", help="write one HTML page that needs nothing else"
    )
    render.add_argument(
        "--markdown", type=Path, metavar="FILE", help="write Markdown; printed if neither file is named"
    )
    render.set_defaults(run=_render)

    schemas = commands.add_parser("schemas", help="write the schemas with which editors check rule files")
    schemas.add_argument(
        "folder", type=Path, metavar="FOLDER", nargs="?", default=CHECKOUT / "rules" / "schemas"
    )
    schemas.set_defaults(run=_schemas)

    checks = commands.add_parser("checks", help="write the page on the checks of rule files")
    checks.add_argument(
        "file", type=Path, metavar="FILE", nargs="?", default=CHECKOUT / "rules" / "CHECKS.md"
    )
    checks.set_defaults(run=_checks)


def _check_arguments(check: argparse.ArgumentParser) -> None:
    what = "the rules folder, or the folder of one edition (default: the rules folder of the service)"
    check.add_argument("path", type=Path, metavar="PATH", nargs="?", help=what)
    check.add_argument("--explain", metavar="ID", help="explain one check, and check nothing")
    check.add_argument("--strict", action="store_true", help="let warnings fail the check too")
    quick = "leave out the checks that ask about every assessment"
    check.add_argument("--quick", action="store_true", help=quick)
    check.add_argument("--json", action="store_true", help="print the findings as JSON")
    check.add_argument("--on", type=day, metavar="DATE", help="judge dates as on this day (default: today)")
    listing = "list the cases of a base that come out differently, to be read and put under `replace`"
    check.add_argument("--list-differing", action="store_true", help=listing)
    check.set_defaults(run=_check)


def _check(options: argparse.Namespace) -> int:
    from limbtier.use_cases.check_rules import CheckOptions, check_rules

    if options.explain is not None:
        from limbtier.use_cases.explain_checks import explain_check

        print(explain_check(options.explain), end="")
        return 0
    prover_for = None
    if not options.quick:
        from limbtier.governance.checks.prover import SolverProver

        prover_for = SolverProver
    wanted = CheckOptions(options.on, prover_for, options.strict, options.json, options.list_differing)
    return check_rules(options.path or settings().rules, sys.stdout, wanted)


def _new_edition(options: argparse.Namespace) -> int:
    from limbtier.domain.assessment import day_of
    from limbtier.foundation.clock import now
    from limbtier.use_cases.edition_documents import begin_edition

    rules = settings().rules
    folder = begin_edition(rules, options.set, options.version, options.based_on, day_of(now()))
    print(f"wrote {folder}\nRead its edition.yaml first. After every change: limbtier check {folder}")
    return 0


def _render(options: argparse.Namespace) -> int:
    from limbtier.use_cases.edition_documents import edition_in_full

    edition = edition_in_full(settings().rules, options.id)
    for file, text in ((options.html, edition.html), (options.markdown, edition.markdown)):
        if file is not None:
            file.write_text(text(), encoding="utf-8", newline="\n")
            print(f"wrote {file}")
    if options.html is None and options.markdown is None:
        print(edition.markdown(), end="")
    return 0


def _checks(options: argparse.Namespace) -> int:
    from limbtier.use_cases.explain_checks import write_checks_page

    write_checks_page(options.file)
    print(f"wrote {options.file}")
    return 0


def _schemas(options: argparse.Namespace) -> int:
    from limbtier.rulesets.schema import write_schemas

    write_schemas(options.folder)
    print(f"wrote {options.folder}")
    return 0
