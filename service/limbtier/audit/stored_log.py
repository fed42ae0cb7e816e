"""A log in its store, as an export reads it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from limbtier.audit.checkpoint_key import KeyFolder
from limbtier.audit.log import Log
from limbtier.foundation.errors import StoreUnavailable
from limbtier.foundation.merkle import Subtree


class StoredLog:
    """What `export_log` asks for, read from a log, its store and the folder of its keys."""

    def __init__(self, log: Log, folder: KeyFolder) -> None:
        self._log = log
        self._folder = folder

    def checkpoint(self) -> str:
        """The newest signed note, over every entry that there is now.

        A log that is damaged signs nothing any more; so that it can be looked into, its export then ends with
        what it signed last. Raises StoreUnavailable where it never signed.
        """
        try:
            return self._log.checkpoint()
        except StoreUnavailable:
            last = self._log.store.last_checkpoint()
            if last is None:
                raise
            return last.note

    def checkpoints(self) -> Iterator[str]:
        """Every signed note of this log, by rising size; none of a log that it was restored from, with
        entries lost, which had another name. Raises KeysUnusable.

        The name is that of the key in the folder, because a log that is damaged has not looked at its keys.
        """
        keys = self._folder.read()
        for found in self._log.store.checkpoints():
            if keys is not None and found.note.startswith(f"{keys.signing.name}\n"):
                yield found.note

    def verifier_keys(self) -> list[str]:
        """The verifier keys of this log, the oldest first; of no other name either. Raises KeysUnusable."""
        keys = self._folder.read()
        if keys is None:
            return []
        return [str(key) for key in keys.verifiers if key.name == keys.signing.name]

    def entries_from(self, position: int) -> Iterator[bytes]:
        """The bytes of the entries from a position on, in order."""
        return (entry.data for entry in self._log.store.entries_from(position, self._log.size))

    def read_hashes(self, places: list[Subtree]) -> Sequence[bytes]:
        """The stored hashes of complete subtrees, in the order asked."""
        return self._log.store.read_hashes(places)
