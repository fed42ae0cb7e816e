"""Backups of a log, and putting one back.

A backup is one SQLite file, whatever database the log is in; the folder of the log's key is not part of it
and needs a copy of its own, kept elsewhere. Both ways the whole tree is made anew and compared with every
checkpoint, and what decisions are found by with every entry; what differs there is put right in a log that
comes back. It says so in an entry. Where signed entries are lost, it comes back under
another name and key, so that nobody takes it for a continuation of the one that had them.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Final

from limbtier.audit.checkpoint_key import KeyFolder, LogKeys
from limbtier.audit.self_check import check_continues, check_whole
from limbtier.audit.signing import name_after_loss, opened_checkpoint
from limbtier.domain.entry import Also, Entry
from limbtier.foundation.canonical_json import canonical
from limbtier.foundation.clock import Clock, NewId, new_id, now
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import LimbtierError
from limbtier.foundation.signed_note import Checkpoint, SigningKey, sign
from limbtier.store.copying import copy_file, copy_into_file, copy_rows, make_single, require_sound
from limbtier.store.database import Cursor, Database
from limbtier.store.entries import EntryStore
from limbtier.store.faults import misfiled
from limbtier.store.keys import KeyTable
from limbtier.store.locked_log import StoredCheckpoint
from limbtier.store.opening import IN_MEMORY, open_database

Progress = Callable[[int, int], None]
_IN_BACKUP: Final = "The last checkpoint of the backup"
_BESIDE_KEY: Final = "The checkpoint beside the key"
_SIDE_FILES: Final = ("-wal", "-shm", "-journal")


class BackupRefused(LimbtierError):
    """The backup was not made, or not put back; whatever was there is as it was."""

    code = "backup-refused"


@dataclass(frozen=True, slots=True)
class Restored:
    """A log that is back. `entries` with the one that says so; `name` is what it signs under from now on,
    where that changed; `revoked` are the local keys that ended with it."""

    entries: int
    name: str | None
    revoked: tuple[str, ...] = ()


def back_up(
    setting: str, folder: KeyFolder, target: Path, progress: Progress = lambda _done, _all: None
) -> int:
    """Copy the log, which may be in use, into the new file `target`. Returns how many entries it has.

    `target` appears whole and verified, or not at all. Raises BackupRefused, StoreUnavailable.
    """
    refuse_existing(target)
    with _unfinished(target) as file:
        _copy(setting, file)
        require_sound(file)
        with _opened(file) as store:
            head, differences = check_whole(store, progress)
            if differences:
                raise misfiled(str(differences))
            kept, keys = folder.read_checkpoint(), folder.read()
            if kept is not None and keys is not None:
                signed = opened_checkpoint(kept, keys, _BESIDE_KEY)
                if signed.size <= head.size:  # one that was signed after the copy says nothing about it
                    check_continues(head, signed, store.read_hashes, _BESIDE_KEY)
        make_single(file)
    return head.size


def restore(
    source: Path,
    setting: str,
    folder: KeyFolder,
    origin: str,
    lost_entries: str | None = None,
    progress: Progress = lambda _done, _all: None,
    clock: Clock = now,
    new_id: NewId = new_id,
    *,
    keep_keys: bool = False,
) -> Restored:
    """Put a backup back into a database that is not there yet, or is an empty one of PostgreSQL.

    `lost_entries` is the reason given for putting back a backup that lacks entries that were signed, or whose
    key is lost; without it such a backup is refused. Among what was lost may be that a local key was revoked,
    which would work again: so all of them are revoked then, unless `keep_keys` says that they were looked
    at. Raises BackupRefused, StoreUnavailable.
    """
    if setting == IN_MEMORY:
        raise _refused("A database in memory keeps nothing.", "Name a database in LIMBTIER_DATABASE.")
    if not source.is_file():
        raise _refused(f"There is no file `{source}`.", "Name the file of a backup.")
    in_file = "://" not in setting
    target = Path(setting) if in_file else source.with_name(f".{source.name}.restored")
    refuse_existing(target)
    with _unfinished(target, keep=in_file) as file:
        copy_file(source, file)
        require_sound(file)
        with _opened(file) as store:
            head, differences = check_whole(store, progress, repair=True)
            keys = _keys_to_go_on_with(store, folder, origin, lost_entries)
            last, at = store.last_checkpoint(), clock()
            revoked = () if keys is None or keep_keys else _working_keys(store.database)
            entry = _restored_entry(
                head.size, lost_entries, keys, last, at, new_id(), revoked, index_rebuilt=bool(differences)
            )
            entry = replace(entry, also=_revoking(store.database, revoked, at))
            note = None
            with store.locked() as log:
                log.append([entry])
                if keys is not None:
                    size, root = log.frontier.size, log.frontier.root()
                    note = sign(Checkpoint(keys.signing.name, size, root).text(), [keys.signing])
                    log.add_checkpoint(StoredCheckpoint(size, root, note, clock()))
            if not in_file:
                _put_into(store.database, setting)
    # Only now: a key of another name must not meet a database that is still in use.
    if keys is not None and note is not None:
        folder.adopt(keys, note)
    return Restored(head.size + 1, None if keys is None else keys.signing.name, revoked)


def _working_keys(database: Database) -> tuple[str, ...]:
    return tuple(key.id for key in KeyTable(database).all() if key.revoked_at is None)


def _revoking(database: Database, key_ids: Sequence[str], at: datetime) -> Also:
    revokings = [KeyTable(database).revoking(key_id, at) for key_id in key_ids]

    def revoke(cursor: Cursor, position: int) -> None:
        for revoking in revokings:
            revoking(cursor, position)

    return revoke


def _keys_to_go_on_with(
    store: EntryStore, folder: KeyFolder, origin: str, lost_entries: str | None
) -> LogKeys | None:
    """New keys of a new name where the log cannot go on under its old one; None where it can."""
    keys, kept = folder.read(), folder.read_checkpoint()
    head, last = store.head(), store.last_checkpoint()
    if keys is None:
        if last is None and kept is None:
            return None
        missing = f"The log was signed, but there is no key in `{folder.path}`."
        if lost_entries is None:
            raise _refused(
                missing,
                "Put the folder of keys back from its copy first. If it is lost, say why with "
                "`--lost-entries`: the log then goes on under another name.",
            )
        name = Checkpoint.read(last.note.partition("\n\n")[0] + "\n").origin if last else origin
        return LogKeys(SigningKey.generate(name_after_loss(name)))
    for note, which in (last.note if last else None, _IN_BACKUP), (kept, _BESIDE_KEY):
        if note is None:
            continue
        signed = opened_checkpoint(note, keys, which, former_names=which == _IN_BACKUP)
        if signed.size <= head.size:
            check_continues(head, signed, store.read_hashes, which)
        elif lost_entries is None:
            raise _refused(
                f"The backup has {head.size} entries, but {signed.size} were signed: entries from position "
                f"{head.size} on are not in it.",
                "Look for a newer backup. If there is none, say why with `--lost-entries`: the log then goes "
                "on under another name, and says in an entry that entries were lost.",
            )
        else:
            return keys.followed_by(name_after_loss(keys.signing.name))
    return None


def _restored_entry(
    size: int,
    reason: str | None,
    keys: LogKeys | None,
    last: StoredCheckpoint | None,
    at: datetime,
    entry_id: str,
    revoked: Sequence[str],
    *,
    index_rebuilt: bool,
) -> Entry:
    record = {
        "kind": "log_restored",
        "id": entry_id,
        "at": at.isoformat(),
        "caller": {"id": "operator", "organisation": None},
        "size": size,
        "last_checkpoint": None if last is None else last.note,
        "lost_entries": reason if keys is not None else None,
        "new": None if keys is None else str(keys.signing.verifier),
        "index_rebuilt": index_rebuilt,
        "keys_revoked": list(revoked),
    }
    return Entry("log_restored", entry_id, None, at, canonical(record))


def _copy(setting: str, file: Path) -> None:
    if "://" not in setting:  # as a file: opening it might bring its tables up to date
        if not Path(setting).is_file():
            raise _refused(f"There is no database `{setting}`.", "Name the database in LIMBTIER_DATABASE.")
        copy_file(Path(setting), file)
        return
    source = open_database(setting)
    try:
        copy_into_file(source, file)
    finally:
        source.close()


def _put_into(database: Database, setting: str) -> None:
    target = open_database(setting)
    try:
        copy_rows(database, target)
        check_whole(EntryStore(target))
    finally:
        target.close()


@contextmanager
def _opened(file: Path) -> Iterator[EntryStore]:
    store = EntryStore(open_database(file, make=False))
    try:
        yield store
    finally:
        store.close()


@contextmanager
def _unfinished(target: Path, *, keep: bool = True) -> Iterator[Path]:
    """A file beside the target that becomes the target at the end, or is removed."""
    file = target.with_name(f".{target.name}.{os.urandom(4).hex()}.unfinished")
    try:
        yield file
        if keep:
            descriptor = os.open(file, os.O_RDONLY)
            os.fsync(descriptor)
            os.close(descriptor)
            refuse_existing(target)
            file.rename(target)
            descriptor = os.open(target.absolute().parent, os.O_RDONLY | os.O_DIRECTORY)
            os.fsync(descriptor)
            os.close(descriptor)
    except OSError as error:
        raise _refused(
            f"`{target}` cannot be written: {error.strerror or error}.", "Name another place."
        ) from None
    finally:
        for path in (file, *(file.with_name(file.name + end) for end in _SIDE_FILES)):
            with suppress(FileNotFoundError):
                path.unlink()


def refuse_existing(target: Path) -> None:
    """Raises BackupRefused where there is a file, or one that SQLite keeps beside it."""
    for path in (target, *(target.with_name(target.name + end) for end in _SIDE_FILES)):
        if os.path.lexists(path):
            raise _refused(
                f"`{path}` is there already.",
                "Nothing is ever overwritten: name a new file, or move it away.",
            )


def _refused(message: str, advice: str) -> BackupRefused:
    return BackupRefused([Diagnostic("backup-refused", message, advice)])
