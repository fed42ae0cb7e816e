"""Signs checkpoints: never two different ones over the same size, and never one that the log does not prove.

All of it happens while nobody else can append or sign. A checkpoint is kept beside the key before it is kept
in the database and before anybody gets it; one that the database then lost is put back from there.
"""

from __future__ import annotations

import re
from typing import Final

from limbtier.audit.checkpoint_key import KeyFolder, LogKeys, Rotation
from limbtier.audit.self_check import check_continues
from limbtier.foundation.clock import Clock
from limbtier.foundation.errors import StoreUnavailable
from limbtier.foundation.signed_note import Checkpoint, InvalidNote, open_note, sign
from limbtier.store.entries import EntryStore
from limbtier.store.faults import fault
from limbtier.store.locked_log import LockedLog, StoredCheckpoint

_IN_DATABASE: Final = "The last checkpoint"
_BESIDE_KEY: Final = "The checkpoint beside the key"
_OTHER_KEYS: Final = (
    "Put the log's folder of keys back, as it was copied last. If it is lost, make a backup and restore it "
    "with `--lost-entries`, which begins a log of another name."
)


class Signer:
    """Signs for the log whose keys are in a folder. `origin` names the log when its first key is made."""

    def __init__(self, folder: KeyFolder, origin: str, clock: Clock) -> None:
        self.folder = folder
        self._origin = origin
        self._clock = clock

    def sign(self, store: EntryStore, log: LockedLog) -> tuple[LogKeys, StoredCheckpoint]:
        """The checkpoint over all entries of the locked log, a new one where there is none; and the keys.

        Makes the first key of a log that was never signed, and ends a change of keys that has begun. Raises
        StoreUnavailable, also when the log does not continue what was signed before.
        """
        head, last, kept = log.frontier, log.last_checkpoint(), self.folder.read_checkpoint()
        keys = self._keys(signed_before=last is not None or kept is not None)
        rotation = self._rotation(store)
        known = keys if rotation is None else rotation.keys
        for note, which in (last.note if last else None, _IN_DATABASE), (kept, _BESIDE_KEY):
            if note is not None:
                signed = opened_checkpoint(note, known, which)
                check_continues(head, signed, log.read_hashes, which)
                if last is None or signed.size > last.size:  # only one that the database has lost
                    last = StoredCheckpoint(signed.size, signed.root, note, self._clock())
                    log.add_checkpoint(last)
        if last is None or last.size < head.size:
            signers = [keys.signing] if rotation is None else [keys.signing, rotation.keys.signing]
            note = sign(Checkpoint(keys.signing.name, head.size, head.root()).text(), signers)
            self.folder.keep_checkpoint(note)
            last = StoredCheckpoint(head.size, head.root(), note, self._clock())
            log.add_checkpoint(last)
        if rotation is not None:
            self.folder.end_rotation()
        return known, last

    def _keys(self, *, signed_before: bool) -> LogKeys:
        keys = self.folder.read()
        if keys is None:
            if signed_before:
                raise fault(f"The log was signed, but there is no key in `{self.folder.path}`.", _OTHER_KEYS)
            keys = self.folder.make(self._origin)
        name = keys.signing.name
        if not re.fullmatch(re.escape(self._origin) + r"(/restored-[0-9]+)?", name):
            raise fault(
                f"The key in `{self.folder.path}` is of the log {name}, not of {self._origin}.",
                f"Set LIMBTIER_LOG_ORIGIN to {name}, or name the folder of the other log's key.",
            )
        return keys

    def _rotation(self, store: EntryStore) -> Rotation | None:
        """The change of keys that the log has the entry of; one that never came so far is dropped."""
        rotation = self.folder.read_rotation()
        if rotation is not None and store.entry_by_id(rotation.entry_id) is None:
            self.folder.drop_rotation()
            return None
        return rotation


def name_after_loss(name: str) -> str:
    """What a log is called after entries of it were lost: it must not be taken for the one of before."""
    found = re.fullmatch(r"(.*)/restored-([0-9]+)", name)
    return f"{found[1]}/restored-{int(found[2]) + 1}" if found else f"{name}/restored-1"


def opened_checkpoint(note: str, keys: LogKeys, which: str, *, former_names: bool = False) -> Checkpoint:
    """A checkpoint that keys of this log signed; with `former_names` also one of before it was restored
    under another name. Raises StoreUnavailable."""
    try:
        opened = open_note(note, keys.verifiers)
        checkpoint = Checkpoint.read(opened.text)
    except InvalidNote as error:
        raise _refused(f"{which} cannot be trusted: {error.diagnostics[0].message}") from None
    if opened.unknown:
        raise _refused(f"{which} is signed by a key that is not here, too: the key was changed elsewhere.")
    named = {key.name for key in keys.verifiers} if former_names else {keys.signing.name}
    if checkpoint.origin not in named or opened.verified[0].name != checkpoint.origin:
        raise _refused(f"{which} is of the log {checkpoint.origin}, not of {keys.signing.name}.")
    return checkpoint


def _refused(message: str) -> StoreUnavailable:
    return fault(message, _OTHER_KEYS)
