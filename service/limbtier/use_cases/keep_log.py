"""What an operator does with the log as a whole: export it, back it up, put it back, change its key, put
right what decisions are found by."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TextIO

from limbtier.audit.backup import back_up, refuse_existing, restore
from limbtier.audit.checkpoint_key import KeyFolder
from limbtier.audit.decision_index import compare_index
from limbtier.audit.export import export_log
from limbtier.audit.stored_log import StoredLog
from limbtier.foundation.errors import StoreUnavailable
from limbtier.foundation.settings import Settings
from limbtier.store.copying import tables_are_current
from limbtier.use_cases.open_log import open_log

Progress = Callable[[int, int], None]
_SHOWN_EVERY = 100_000


def keep_log(options: argparse.Namespace, settings: Settings, out: TextIO) -> int:
    """Run the command that the options name. Raises BackupRefused, StoreUnavailable."""
    run = {
        "export": _export,
        "backup": _back_up,
        "restore": _restore,
        "rotate-key": _rotate_key,
        "verify-index": _verify_index,
        "rebuild-index": _rebuild_index,
    }
    return run[options.keep_log](options, settings, out)


def _export(options: argparse.Namespace, settings: Settings, out: TextIO) -> int:
    """The entry about the export comes first, so that the export holds it; a log that takes no entries any
    more because it is damaged is exported all the same, so that it can be looked into."""
    _, log = open_log(settings, make=False)
    try:
        try:
            log.append(log.service_entry("log_exported", {"size": log.size}, "operator"))
        except StoreUnavailable as error:
            out.write(f"{error}\nThe log is exported up to its last checkpoint, without an entry about it.\n")
        checkpoint = export_log(
            StoredLog(log, KeyFolder(settings.log_keys)), options.target, _progress(out, "wrote")
        )
    finally:
        log.close()
    out.write(
        f"Exported {checkpoint.size} entries to {options.target}.\n"
        "It holds the decisions of every organisation: give it only to whoever may read them all.\n"
        "It can be verified from its files alone, with a checkpoint that was kept elsewhere:\n"
        f"  limbtier verify {options.target} --checkpoint FILE\n"
    )
    return 0


def _back_up(options: argparse.Namespace, settings: Settings, out: TextIO) -> int:
    """The entry about the backup comes first: one after it would be signed, and the backup lack it."""
    refuse_existing(options.target)
    folder = KeyFolder(settings.log_keys)
    _note_backup(settings, out)
    size = back_up(settings.database, folder, options.target, _progress(out))
    out.write(
        f"Backed up {size} entries to {options.target}; the whole log was verified in the copy.\n"
        f"The log's key is not in it. Keep a copy of {settings.log_keys} too, in another place: without it\n"
        "a backup comes back as a log of another name.\n"
    )
    return 0


def _note_backup(settings: Settings, out: TextIO) -> None:
    if "://" not in settings.database and not tables_are_current(Path(settings.database)):
        # Opening it would bring its tables up to date, and a backup before that may be just what is wanted.
        out.write("The database is of an older version, so there is no entry about this backup in it.\n")
        return
    try:
        _, log = open_log(settings, make=False)
        try:
            members = {"size": log.size, "checkpoint": log.checkpoint()}
            log.append(log.service_entry("log_backed_up", members, "operator"))
        finally:
            log.close()
    except StoreUnavailable as error:
        out.write(f"{error}\nThere is no entry about this backup in the log.\n")


def _restore(options: argparse.Namespace, settings: Settings, out: TextIO) -> int:
    for end in ("-wal", "-journal"):
        beside = options.source.with_name(options.source.name + end)
        if beside.exists():
            out.write(
                f"`{beside}` lies beside the backup, so this is no file that `limbtier backup` left as it\n"
                "was: what it holds of the database is read, too.\n"
            )
    restored = restore(
        options.source,
        settings.database,
        KeyFolder(settings.log_keys),
        settings.log_origin,
        options.lost_entries,
        _progress(out),
        keep_keys=options.keep_keys,
    )
    out.write(f"Put back {restored.entries} entries; the whole log was verified. Its last entry says so.\n")
    if restored.name is not None:
        out.write(
            f"Entries were lost, so the log signs under another name and key from now on: {restored.name}\n"
            "Tell whoever keeps checkpoints of it: those of the old name end here.\n"
        )
        out.write(
            "All local keys are revoked, because one that was revoked after the backup would work again:\n"
            f"  {' '.join(restored.revoked) or '(there was none)'}\nMake new ones: limbtier keys add\n"
            if not options.keep_keys
            else "The local keys were kept. One that was revoked after the backup works again, so look at\n"
            "each of them: limbtier keys list\n"
        )
    return 0


def _rotate_key(_options: argparse.Namespace, settings: Settings, out: TextIO) -> int:
    _, log = open_log(settings, make=False)
    try:
        key = log.rotate_key()
    finally:
        log.close()
    out.write(f"The log is signed with a new key from now on, which the old one vouched for:\n{key}\n")
    return 0


def _verify_index(_options: argparse.Namespace, settings: Settings, out: TextIO) -> int:
    _, log = open_log(settings, make=False)
    try:
        differences = compare_index(log.store, progress=_progress(out, "compared"))
        size = log.size
    finally:
        log.close()
    if differences:
        out.write(f"{differences}\nMake it anew from the log: limbtier rebuild-index\n")
        return 1
    out.write(f"Every decision of {size} entries is found by what its entry says.\n")
    return 0


def _rebuild_index(_options: argparse.Namespace, settings: Settings, out: TextIO) -> int:
    """The entry comes last, because it says how much was put right; what is put right follows from the log
    alone, so that nothing is hidden while it is missing."""
    _, log = open_log(settings, make=False)
    try:
        differences = compare_index(log.store, repair=True, progress=_progress(out, "compared"))
        if differences:
            members = {"decisions": differences.count, "rows_outside": differences.outside}
            log.append(log.service_entry("index_rebuilt", members, "operator"))
    finally:
        log.close()
    out.write(f"{differences} It was put right.\n" if differences else "Nothing had to be put right.\n")
    return 0


def _progress(out: TextIO, verb: str = "verified") -> Progress:
    shown = 0

    def progress(done: int, entries: int) -> None:
        nonlocal shown
        if done >= shown + _SHOWN_EVERY:
            shown = done
            out.write(f"{verb} {done} of {entries} entries\n")
            out.flush()

    return progress
