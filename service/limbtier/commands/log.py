"""The commands that keep and verify the log: `export`, `backup`, `restore`, `rotate-key`, `verify`,
`verify-index`, `rebuild-index`."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from limbtier.commands.parts import settings


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add them."""
    verify = commands.add_parser("verify", help="verify an exported log from its files alone")
    verify.add_argument("export", type=Path, metavar="EXPORT", help="the folder of the export")
    verify.add_argument(
        "--checkpoint",
        type=Path,
        metavar="FILE",
        required=True,
        help="a checkpoint that you got from the service earlier and kept elsewhere",
    )
    verify.add_argument(
        "--key",
        action="append",
        default=[],
        metavar="VKEY",
        help="a verifier key of the log that you have from elsewhere; may be given again",
    )
    verify.set_defaults(run=_verify)
    export = commands.add_parser("export", help="write the log out as plain files that anybody can verify")
    export.add_argument("target", type=Path, metavar="FOLDER", help="the folder to make")
    export.set_defaults(run=_keep_log, keep_log="export")
    backup = commands.add_parser("backup", help="copy the log into a new file, and verify the copy")
    backup.add_argument("target", type=Path, metavar="TARGET", help="the file to make")
    backup.set_defaults(run=_keep_log, keep_log="backup")
    restore = commands.add_parser("restore", help="put a backup back where there is no database")
    restore.add_argument("source", type=Path, metavar="SOURCE", help="the file of the backup")
    restore.add_argument(
        "--lost-entries",
        metavar="REASON",
        help="put it back although it lacks entries that were signed; the log says why and has a new name",
    )
    restore.add_argument(
        "--keep-keys",
        action="store_true",
        help="with --lost-entries: keep local keys, one of which may have been revoked after the backup",
    )
    restore.set_defaults(run=_keep_log, keep_log="restore")
    verify_index = commands.add_parser(
        "verify-index", help="compare what decisions are found by with the entries of the log"
    )
    verify_index.set_defaults(run=_keep_log, keep_log="verify-index")
    rebuild_index = commands.add_parser(
        "rebuild-index", help="make what decisions are found by anew from the log; it may be in use"
    )
    rebuild_index.set_defaults(run=_keep_log, keep_log="rebuild-index")
    rotate = commands.add_parser("rotate-key", help="sign the log with a new key from now on")
    rotate.set_defaults(run=_keep_log, keep_log="rotate-key")


def _verify(options: argparse.Namespace) -> int:
    from limbtier.use_cases.verify_log import verify_log

    return verify_log(options.export, options.checkpoint, options.key, sys.stdout, sys.stderr)


def _keep_log(options: argparse.Namespace) -> int:
    from limbtier.use_cases.keep_log import keep_log

    return keep_log(options, settings(), sys.stdout)
