"""The arguments of the commands that keep the log: `export`, `backup`, `restore`, `rotate-key`."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path


def add_log_commands(
    commands: argparse._SubParsersAction[argparse.ArgumentParser], run: Callable[[argparse.Namespace], int]
) -> None:
    """Add them; `run` is called with the options, whose `keep_log` names the command."""
    export = commands.add_parser("export", help="write the log out as plain files that anybody can verify")
    export.add_argument("target", type=Path, metavar="FOLDER", help="the folder to make")
    export.set_defaults(run=run, keep_log="export")
    backup = commands.add_parser("backup", help="copy the log into a new file, and verify the copy")
    backup.add_argument("target", type=Path, metavar="TARGET", help="the file to make")
    backup.set_defaults(run=run, keep_log="backup")
    restore = commands.add_parser("restore", help="put a backup back where there is no database")
    restore.add_argument("source", type=Path, metavar="SOURCE", help="the file of the backup")
    restore.add_argument(
        "--lost-entries",
        metavar="REASON",
        help="put it back although it lacks entries that were signed; the log says why and has a new name",
    )
    restore.set_defaults(run=run, keep_log="restore")
    rotate = commands.add_parser("rotate-key", help="sign the log with a new key from now on")
    rotate.set_defaults(run=run, keep_log="rotate-key")
