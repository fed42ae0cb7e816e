"""The log: takes entries, proves itself, and signs what it is.

When the log, or the folder of its key, is not what it must be, nothing is appended and nothing is signed
until it is; reading goes on. A decision that is added to a log which contradicts what was signed could not
be told from a forgery later, and writing on would cover up what happened; so such a decision is not given.
"""

from __future__ import annotations

import asyncio
import base64
import contextlib
import logging
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final

import orjson

from limbtier.audit.checkpoint_key import KeyFolder, LogKeys, Rotation
from limbtier.audit.decision_index import require_recorded
from limbtier.audit.group_commit import GroupCommit
from limbtier.audit.self_check import check_none_missing, check_structure
from limbtier.audit.signing import Signer
from limbtier.audit.signing_health import GRACE_SECONDS, SigningHealth
from limbtier.domain.entry import DecisionFilter, Entry, FoundDecision
from limbtier.foundation.canonical_json import canonical
from limbtier.foundation.clock import Clock, NewId, new_id, now
from limbtier.foundation.errors import LimbtierError, StoreUnavailable
from limbtier.foundation.merkle import (
    Subtree,
    consistency_path,
    consistency_proof,
    inclusion_path,
    inclusion_proof,
    root_at,
    root_fold,
    verify_consistency,
    verify_inclusion,
)
from limbtier.foundation.signed_note import Checkpoint, VerifierKey
from limbtier.store.entries import EntryStore, StoredRetry
from limbtier.store.faults import Busy, LogDamaged, damaged, fault
from limbtier.store.locked_log import StoredCheckpoint

SIGN_EVERY: Final = 5.0
"""Seconds between two checkpoints at most, while entries are appended."""

PROVE_AGAIN_AFTER: Final = 5.0
"""Seconds until a log that could not prove itself is asked again."""

COUNT_AGAIN_AFTER: Final = 1.0
"""Seconds until the entries are counted again when one is asked for that is not there."""

CLOCK_TOLERANCE: Final = timedelta(seconds=2)
"""How much earlier than the one before it an entry may be: requests that run at once end in any order."""

operation = logging.getLogger("limbtier.log")

TLOG_PROOF: Final = "c2sp.org/tlog-proof@v1"


@dataclass(frozen=True, slots=True)
class LogState:
    """`size` entries, as far as can be read; `fault` says why nothing is appended or signed, if so."""

    size: int | None
    fault: StoreUnavailable | None


@dataclass(frozen=True, slots=True)
class Inclusion:
    """That the entry with this leaf hash stands at its position of the tree with this root."""

    leaf: bytes
    hashes: tuple[bytes, ...]
    root: bytes


@dataclass(frozen=True, slots=True)
class Consistency:
    """That the tree with the one root continues the tree with the old root."""

    hashes: tuple[bytes, ...]
    old_root: bytes
    root: bytes


class Log:
    """One log, used by any number of threads and coroutines. Close it to commit what is still waiting."""

    def __init__(
        self,
        store: EntryStore,
        folder: KeyFolder,
        origin: str,
        clock: Clock = now,
        new_id: NewId = new_id,
        signing_grace: float = GRACE_SECONDS,
    ) -> None:
        """Open the log. Whatever is wrong with it is in `state`. `signing_grace`: how many seconds a service
        that cannot sign any more stays ready."""
        self.store = store
        self._folder = folder
        self._signer = Signer(folder, origin, clock)
        self.signing = SigningHealth(clock, signing_grace)
        self._clock = clock
        self._new_id = new_id
        self._keys: LogKeys | None = None
        self._fault: StoreUnavailable | None = None
        self._proved_at = 0.0
        self._proving = threading.Lock()
        self._unsigned = False
        self._signed_at = 0.0
        self._latest = datetime.min.replace(tzinfo=UTC)
        self._clock_told = False
        self._missing: StoreUnavailable | None = None
        self._counted_at = 0.0
        self._prove()
        self._writer = GroupCommit(self._commit, self._commit_at_once, between=self._keep_signed)

    # Whether it is sound.

    @property
    def state(self) -> LogState:
        """How the log is, as it was found last."""
        try:
            return LogState(self.size, self._fault)
        except StoreUnavailable as error:
            return LogState(None, self._fault or error)

    def check(self) -> None:
        """Raises StoreUnavailable unless entries can be appended now, and signed now or soon. Writes
        nothing. `signing` says afterwards whether the key can be used."""
        self._require_proof()
        self.store.check_writable()
        self._look_for_key()
        self.signing.require_in_time()

    # Entries.

    @property
    def size(self) -> int:
        """How many entries there are. Raises StoreUnavailable."""
        return self.store.head().size

    def append(self, entry: Entry) -> int:
        """Append an entry; its position, once it is on the disk. Raises RetryKeyTaken, StoreUnavailable."""
        return self._writer.append(entry)

    def append_soon(self, entry: Entry) -> asyncio.Future[int]:
        """The same for a coroutine. Raises StoreUnavailable at once when too many wait."""
        return self._writer.append_soon(entry)

    def decision(self, decision_id: str, organisation: str) -> bytes | None:
        """The decision with an id, if it is this organisation's. Raises StoreUnavailable, also when entries
        are missing and it may be one of them.

        Only the bytes of an entry are proven. What the database keeps beside them must say the same, else the
        decision could be another one, or another organisation's.
        """
        found = self.store.entry_by_id(decision_id)
        if found is None:
            self._require_none_missing()
            return None
        record = orjson.loads(found.data)
        is_decision = found.kind == "decision"
        if (record["kind"], record["id"]) != (found.kind, decision_id) or (
            is_decision and record["caller"]["organisation"] != found.organisation
        ):
            raise damaged(f"Entry {found.position} of the log is kept under what it is not.")
        return found.data if is_decision and found.organisation == organisation else None

    def find_decisions(
        self, wanted: DecisionFilter, before: int | None, limit: int
    ) -> Sequence[FoundDecision]:
        """Decisions that fit, the newest position first, those before a position, each compared with its
        entry. Raises StoreUnavailable."""
        found = self.store.find_decisions(wanted, before, limit)
        require_recorded(self.store, found, wanted.organisation)
        return found

    def find_retry(self, caller: str, key: str) -> StoredRetry | None:
        """What a caller used a retry key for. Raises StoreUnavailable."""
        return self.store.find_retry(caller, key)

    # Checkpoints and proofs.

    @property
    def verifier_keys(self) -> tuple[VerifierKey, ...]:
        """The public keys of the log, the oldest first; none before the first was made. As they are now:
        another process may have changed the key."""
        keys = self._keys
        with contextlib.suppress(StoreUnavailable):
            keys = self._folder.read() or keys
        return () if keys is None else keys.verifiers

    def checkpoint(self) -> str:
        """The signed note over all entries that there are now. Raises StoreUnavailable."""
        self._require_proof()
        last = self.store.last_checkpoint()
        return last.note if last is not None and last.size == self.size else self._sign().note

    def checkpoints(self) -> Iterator[StoredCheckpoint]:
        """All checkpoints of this log, the smallest first; none of before it was restored with entries lost.
        Raises StoreUnavailable."""
        name = None if self._keys is None else self._keys.signing.name
        for found in self.store.checkpoints():
            if found.note.partition("\n")[0] == name:
                yield found

    def rotate_key(self) -> VerifierKey:
        """Change to a new key, and say so in the log. The checkpoint over that entry is signed by both keys;
        from then on the new one signs. Raises StoreUnavailable."""
        self._require_proof()
        with self.store.locked() as log:
            keys, _ = self._signer.sign(self.store, log)
            following = keys.followed_by(keys.signing.name)
            old, new = str(keys.signing.verifier), str(following.signing.verifier)
            entry = self.service_entry("log_key_rotated", {"old": old, "new": new}, "operator")
            self._folder.begin_rotation(Rotation(entry.id, following))
            log.append([entry])
        self._sign()
        return following.signing.verifier

    def inclusion(self, position: int, size: int) -> Inclusion:
        """The proof that an entry stands in the log of a size. Raises StoreUnavailable, and ValueError
        unless 0 <= position < size <= the size of the log."""
        self._require_size(size)
        fold = [*root_fold(size), (0, position)]
        read = self._read_once([*fold, *(place for part in inclusion_path(position, size) for place in part)])
        leaf, root = read([(0, position)])[0], root_at(size, read)
        hashes = tuple(inclusion_proof(position, size, read))
        if not verify_inclusion(position, size, leaf, hashes, root):
            raise damaged(f"The hashes of the log do not prove entry {position}.")
        return Inclusion(leaf, hashes, root)

    def consistency(self, old: int, new: int) -> Consistency:
        """The proof that the log of one size continues that of another. Raises StoreUnavailable, and
        ValueError unless 0 < old <= new <= the size of the log."""
        self._require_size(new)
        folds = [*root_fold(old), *root_fold(new)]
        read = self._read_once([*folds, *(place for part in consistency_path(old, new) for place in part)])
        old_root, root = root_at(old, read), root_at(new, read)
        hashes = tuple(consistency_proof(old, new, read))
        if not verify_consistency(old, new, old_root, root, hashes):
            raise damaged(f"The hashes of the log do not prove that size {new} continues size {old}.")
        return Consistency(hashes, old_root, root)

    def proof_of(self, entry_id: str) -> str:
        """The proof of an entry with its signed checkpoint, in one text (C2SP tlog-proof).

        Raises StoreUnavailable, KeysUnusable, and KeyError when there is no such entry.
        """
        entry = self.store.entry_by_id(entry_id)
        if entry is None:
            raise KeyError(entry_id)
        last = self.store.last_checkpoint()
        note = self.checkpoint() if last is None or last.size <= entry.position else last.note
        size = Checkpoint.read(note.partition("\n\n")[0] + "\n").size
        lines = [TLOG_PROOF, f"index {entry.position}"]
        lines += [base64.b64encode(one).decode() for one in self.inclusion(entry.position, size).hashes]
        return "\n".join(lines) + "\n\n" + note

    def service_entry(self, kind: str, members: dict[str, Any], caller: str = "service") -> Entry:
        """An entry about the log itself. `caller` is `service`, or `operator` for the command line."""
        at, entry_id = self._clock(), self._new_id()
        record = {
            "kind": kind,
            "id": entry_id,
            "at": at.isoformat(),
            "caller": {"id": caller, "organisation": None},
            **members,
        }
        return Entry(kind, entry_id, None, at, canonical(record))

    def close(self) -> None:
        """Commit what is waiting, and close the database."""
        self._writer.close()
        self._keep_signed(at_once=True)
        self.store.close()

    def _commit(self, batch: Sequence[Entry]) -> list[int]:
        self._require_proof()
        positions = self.store.append(batch)
        self._unsigned = True
        self._watch_clock(batch)
        return positions

    def _commit_at_once(self, batch: Sequence[Entry]) -> list[int]:
        """Raises Busy where more than the disk must be waited for."""
        if self._fault is not None:
            raise Busy
        positions = self.store.append(batch, wait=False)
        self._unsigned = True
        self._watch_clock(batch)
        return positions

    def _watch_clock(self, batch: Sequence[Entry]) -> None:
        """Entries keep the order in which they were appended, whatever their moments say; but whoever looks
        for decisions by day must be told that the clock was set back."""
        for entry in batch:
            if entry.at >= self._latest:
                self._latest, self._clock_told = entry.at, False
            elif self._latest - entry.at > CLOCK_TOLERANCE and not self._clock_told:
                self._clock_told = True
                operation.warning(
                    "the clock went back: an entry of %s follows one of %s; the order of the log holds",
                    entry.at.isoformat(),
                    self._latest.isoformat(),
                )

    def _keep_signed(self, *, at_once: bool = False) -> None:
        """Sign what was appended, now and then: what is lost from the end of a log shows only against a
        checkpoint over it, and the last one lies beside the key, where a damaged database does not reach."""
        if not self._unsigned or (not at_once and time.monotonic() - self._signed_at < SIGN_EVERY):
            return
        self._signed_at = time.monotonic()  # also when it fails: it is tried again after as long
        try:
            self._require_proof()
            self._sign()
        except LimbtierError as error:
            self.signing.failed(error)

    def _look_for_key(self) -> None:
        """A key that is gone shows also while there is nothing to sign."""
        try:
            if self._folder.read() is None:
                raise fault(f"There is no key in `{self._folder.path}`.")
        except LimbtierError as error:
            self.signing.failed(error)
        else:
            if not self._unsigned:
                self.signing.worked()

    def _sign(self) -> StoredCheckpoint:
        try:
            with self.store.locked() as log:
                self._keys, signed = self._signer.sign(self.store, log)
        except LogDamaged as error:
            self._fault, self._proved_at = error, time.monotonic()
            raise
        self._unsigned, self._signed_at = False, time.monotonic()
        self.signing.worked()
        return signed

    def _prove(self) -> None:
        try:
            check_structure(self.store)
            self._sign()
            self._fault = None
        except LimbtierError as error:
            self._fault = StoreUnavailable(error.diagnostics)
            with contextlib.suppress(StoreUnavailable):  # its old signatures can be verified all the same
                self._keys = self._keys or self._folder.read()
        self._proved_at = time.monotonic()

    def _require_proof(self) -> None:
        if self._fault is None:
            return
        with self._proving:
            if time.monotonic() - self._proved_at > PROVE_AGAIN_AFTER:
                self._prove()
            fault = self._fault
        if fault is not None:
            raise StoreUnavailable(fault.diagnostics)

    def _require_none_missing(self) -> None:
        """So that what was taken away is not said never to have been there. Counted at most once a second."""
        if time.monotonic() - self._counted_at > COUNT_AGAIN_AFTER:
            try:
                check_none_missing(self.store, self.size)
                self._missing = None
            except LogDamaged as error:
                self._missing = self._fault = error
                self._proved_at = time.monotonic()
            self._counted_at = time.monotonic()
        if self._missing is not None:
            raise StoreUnavailable(self._missing.diagnostics)

    def _require_size(self, size: int) -> None:
        if size > self.size:
            raise ValueError(f"the log does not have {size} entries")

    def _read_once(self, wanted: Sequence[Subtree]) -> Callable[[list[Subtree]], list[bytes]]:
        """Reads all hashes together, and gives them as they are asked for."""
        places = list(dict.fromkeys(wanted))
        hashes = dict(zip(places, self.store.read_hashes(places), strict=True))
        return lambda asked: [hashes[place] for place in asked]
