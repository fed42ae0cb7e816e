"""The command about the description of the API: `compare-api`."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add it."""
    compare = commands.add_parser(
        "compare-api", help="what breaks callers between two descriptions of the API"
    )
    compare.add_argument("old", metavar="OLD", type=Path, help="an openapi.json")
    compare.add_argument("new", metavar="NEW", type=Path, help="a later one")
    compare.set_defaults(run=_compare)


def _compare(options: argparse.Namespace) -> int:
    from limbtier.governance.api_comparison import breaking_changes

    found = breaking_changes(_read(options.old), _read(options.new))
    for change in found:
        print(change)
    print(f"{len(found)} changes that break callers" if found else "nothing breaks a caller")
    return 1 if found else 0


def _read(file: Path) -> dict[str, Any]:
    """The description in a file. Raises NotJson."""
    import orjson

    from limbtier.foundation.diagnostics import Diagnostic
    from limbtier.foundation.strict_json import NotJson

    try:
        found = orjson.loads(file.read_bytes())
    except orjson.JSONDecodeError:
        found = None
    if not isinstance(found, dict):
        advice = "Give a file that `limbtier openapi` wrote."
        raise NotJson([Diagnostic("not-json", "This is no JSON object.", advice, file=str(file))])
    return found
