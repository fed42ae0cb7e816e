"""What several commands share: the settings, and the same arguments."""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from typing import TYPE_CHECKING

from limbtier.foundation.settings import Settings, read_settings

if TYPE_CHECKING:
    from limbtier.use_cases.manage_keys import KeyManager


LONGEST_GOODBYE_SECONDS = 20
"""How long a service that is told to stop waits for the requests that it has: a decision takes milliseconds,
and a check or proof of a draft may take minutes."""
UNUSABLE = 2
"""The exit code when nothing could be done."""


def settings() -> Settings:
    """The settings of the environment. Raises InvalidSettings."""
    return read_settings(os.environ)


def day(text: str) -> date:
    """The day that an argument names. Raises ArgumentTypeError."""
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError("write a day as 2026-01-31") from error


def address(command: argparse.ArgumentParser) -> None:
    """Add where to listen."""
    command.add_argument(
        "--host", default="127.0.0.1", help="address to listen on (default: this machine only)"
    )
    command.add_argument("--port", type=int, default=8470, help="port to listen on (default: 8470)")


def forms(command: argparse.ArgumentParser, *names: str) -> None:
    """Add an option for each form of what is printed; `form` is `text` when none is given."""
    shown = command.add_mutually_exclusive_group()
    for form in names:
        shown.add_argument(f"--{form}", dest="form", action="store_const", const=form, help=f"print {form}")
    command.set_defaults(form="text")


@contextmanager
def key_manager() -> Iterator[KeyManager]:
    """Who adds and revokes keys, each with its entry in the log. Raises StoreUnavailable."""
    from limbtier.store.keys import KeyTable
    from limbtier.use_cases.manage_keys import KeyManager
    from limbtier.use_cases.open_log import open_log

    database, log = open_log(settings())
    try:
        yield KeyManager(KeyTable(database), log.append)
    finally:
        log.close()
