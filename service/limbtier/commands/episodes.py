"""The command that works episodes out anew: `episodes`."""

from __future__ import annotations

import argparse

from limbtier.commands.parts import settings


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add it."""
    rebuild = commands.add_parser(
        "episodes",
        help="work out all episodes anew from the log alone, while the service is stopped",
    )
    rebuild.set_defaults(run=_rebuild)


def _rebuild(_options: argparse.Namespace) -> int:
    from limbtier.use_cases.rebuild_episodes import rebuild_episodes

    count = rebuild_episodes(settings())
    print(f"Worked out {count} episodes from the log; they stand in the place of all that were kept.")
    return 0
