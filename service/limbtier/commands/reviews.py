"""The commands `due` and `caseload`: who needs somebody, and how a caseload goes."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from limbtier.commands.parts import day, settings
from limbtier.domain.due_reviews import STATUSES

if TYPE_CHECKING:
    from limbtier.foundation.settings import Settings
    from limbtier.store.due_list import DueTable


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add them."""
    due = commands.add_parser("due", help="list the episodes that need somebody, the most urgent first")
    due.add_argument("--organisation", required=True, metavar="NAME", help="whose episodes")
    due.add_argument("--on", type=day, metavar="DATE", help="as on this day (default: today)")
    due.add_argument(
        "--status", action="append", default=[], choices=STATUSES, help="only these; may be given again"
    )
    due.add_argument("--limit", type=_number, default=50, metavar="N", help="at most so many (default: 50)")
    due.add_argument("--json", action="store_true", help="print the list as JSON")
    due.set_defaults(run=_due)

    caseload = commands.add_parser("caseload", help="count how a caseload goes, from the log")
    caseload.add_argument("--organisation", required=True, metavar="NAME", help="whose episodes")
    caseload.add_argument(
        "--from", dest="first", type=day, metavar="DATE", help="legs first seen on it, or later"
    )
    caseload.add_argument("--before", type=day, metavar="DATE", help="legs first seen before then")
    caseload.add_argument(
        "--as-of", type=day, metavar="DATE", help="as things stood at the end of it (default: today)"
    )
    for form in ("json", "csv", "svg"):
        caseload.add_argument(f"--{form}", type=Path, metavar="FILE", help=f"write a file as {form.upper()}")
    caseload.set_defaults(run=_caseload)


def _number(text: str) -> int:
    if not (text.isascii() and text.isdigit() and 1 <= int(text[:9]) <= 100_000):
        raise argparse.ArgumentTypeError("give a whole number from 1 to 100000")
    return int(text)


def _due(options: argparse.Namespace) -> int:
    import orjson

    from limbtier.domain.assessment import day_of
    from limbtier.domain.due_reviews import DueFilter
    from limbtier.foundation.clock import now
    from limbtier.use_cases.due_reviews import due_record, due_table

    wanted = DueFilter(options.organisation, options.on or day_of(now()), tuple(options.status))
    with _due_list(settings()) as table:
        counts, found = table.counts(wanted), table.find(wanted, None, options.limit)
    if options.json:
        record = {
            "counts": counts,
            "episodes": [due_record(one, wanted.by) for one in found],
            "on": wanted.by.isoformat(),
        }
        print(orjson.dumps(record, option=orjson.OPT_INDENT_2).decode())
    else:
        print(due_table(counts, found, wanted.by), end="")
    return 0


def _caseload(options: argparse.Namespace) -> int:
    import orjson

    from limbtier.domain.assessment import day_of
    from limbtier.foundation.clock import now
    from limbtier.governance.caseload_plot import caseload_svg
    from limbtier.governance.caseload_record import caseload_csv, caseload_record, caseload_text
    from limbtier.use_cases.picture_caseload import picture_caseload
    from limbtier.use_cases.ready_pathway import ready_attention, ready_watch
    from limbtier.use_cases.ready_rules import ready_rules

    chosen = settings()
    editions = [one.edition for one in ready_rules(chosen.rules, chosen.rule_set).editions.values()]
    watch = ready_watch(chosen.rules, editions)
    terms = ready_attention(chosen.rules, watch)[1]
    with _due_list(chosen) as table:
        found = picture_caseload(
            table,
            options.organisation,
            watch.pathway.kept,
            terms,
            options.as_of or day_of(now()),
            options.first,
            options.before,
            progress=lambda count: print(f"read: {count:,} episodes", file=sys.stderr),
        )
    title = f"Caseload of {options.organisation}"
    written = orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE
    data: dict[str, Callable[[], bytes]] = {
        "json": lambda: orjson.dumps(caseload_record(found), option=written),
        "csv": lambda: caseload_csv(found).encode(),
        "svg": lambda: caseload_svg(found, title).encode(),
    }
    for form, make in data.items():
        file: Path | None = getattr(options, form)
        if file is not None:
            file.write_bytes(make())
            print(f"wrote {file}", file=sys.stderr)
    print(caseload_text(found), end="")
    return 0


@contextmanager
def _due_list(chosen: Settings) -> Iterator[DueTable]:
    from limbtier.store.due_list import DueTable
    from limbtier.store.opening import open_database

    database = open_database(chosen.database, make=False)
    try:
        yield DueTable(database)
    finally:
        database.close()
