"""The command `feedback`: which rules were followed or overridden on cards, how often, and why."""

from __future__ import annotations

import argparse

from limbtier.commands.parts import forms, settings


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add it."""
    command = commands.add_parser(
        "feedback", help="show which rules were followed or overridden on cards, how often, and why"
    )
    command.add_argument("--organisation", required=True, metavar="NAME", help="whose cards")
    forms(command, "json")
    command.set_defaults(run=_show)


def _show(options: argparse.Namespace) -> int:
    import orjson

    from limbtier.rulesets.read_cards import load_cards
    from limbtier.store.entries import EntryStore
    from limbtier.store.opening import open_database
    from limbtier.use_cases.summarise_feedback import feedback_text, summarise_feedback

    chosen = settings()
    store = EntryStore(open_database(chosen.database, make=False))
    try:
        summary = summarise_feedback(store, options.organisation, load_cards(chosen.rules))
    finally:
        store.close()
    if options.form == "json":
        print(orjson.dumps(summary, option=orjson.OPT_INDENT_2).decode())
    else:
        print(feedback_text(summary), end="")
    return 0
