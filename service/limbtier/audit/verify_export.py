"""Verifies an exported log from its files alone, so that nobody who keeps the log need be trusted.

It imports nothing of the service but `foundation`. What it relies on is a checkpoint that the auditor got
earlier and kept elsewhere: its root is computed anew from the entries, and its signature says whose key
to trust. Everything after it is covered by later checkpoints of that key, or of a key it handed over to.

An entry that no longer fits its leaf hash is named. Where whoever changed it changed its leaf hash as well,
only signed roots are left to tell: the first change then lies between the last size that still has its signed
root and the first that has not, and the message names these positions. More checkpoints make that narrower.

Reads each file in order and once (the leaf hashes again where they differ), in flat memory but for 16 bytes
an id, which are kept to find an entry that stands twice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Final

from limbtier.audit import export_files
from limbtier.audit.entry_checks import EntryChecks
from limbtier.audit.export_damage import Damages, Report, shown
from limbtier.audit.export_files import CHECKPOINT, CHECKPOINTS, KEYS, LEAF_HASHES, Folder, lines_of
from limbtier.audit.key_chain import KeyChain
from limbtier.audit.leaf_alignment import LeafAlignment, Place
from limbtier.audit.leaf_differences import Trusted, report_differences
from limbtier.audit.signed_states import SignedState, SignedStates, notes_of, read_expected, signed_state
from limbtier.foundation.merkle import Frontier, leaf_hash
from limbtier.foundation.signed_note import (
    MOST_NOTE_BYTES,
    InvalidKey,
    InvalidNote,
    VerifierKey,
    open_note,
    read_verifier_key,
)

Progress = Callable[[int, float], None]
"""Told how many entries have been verified, and which part of all bytes that is, from 0 to 1."""

PROGRESS_EVERY: Final = 10_000
WITHOUT_EXPECTED: Final = (
    "No expected checkpoint was given. The export agrees with itself at best: that all of it was made anew "
    "with other keys, or that its newest entries were cut off, cannot be seen."
)


def verify_export(
    folder: Path,
    expected: Path | None,
    keys: Iterable[VerifierKey] = (),
    progress: Progress = lambda _entries, _part: None,
) -> Report:
    """Verify the export in a folder.

    `expected` is the file of a checkpoint (a signed note) that the auditor kept elsewhere; without it the
    report says what was not shown. `keys` are verifier keys that the auditor has from elsewhere and trusts.
    Raises InvalidNote when the expected checkpoint is none, OSError when something cannot be read.
    """
    wanted = None if expected is None else read_expected(expected)
    damages = Damages()
    return _Verification(Folder(folder, damages), damages, wanted, keys, progress).report()


class _Verification:
    """One run over one export."""

    def __init__(
        self,
        folder: Folder,
        damages: Damages,
        expected: SignedState | None,
        keys: Iterable[VerifierKey],
        progress: Progress,
    ) -> None:
        self.folder = folder
        self.damages = damages
        self.expected = expected
        self.progress = progress
        self.listed_keys = self._read_keys()
        self.chain = KeyChain(self.listed_keys, keys)
        self.final = self._read_checkpoint()
        self.frontier = Frontier()
        self.entries = EntryChecks(damages, self.chain)
        self.agreed = 0  # the largest size at which a signed root agreed, until one did not
        self.disagreed: int | None = None  # the smallest size at which one did not
        self.last_listed: SignedState | None = None
        self.hint: int | None = None  # the position that the name of a file says, where it is another one
        self.trusted: Trusted = {}
        named = expected or self.final
        self.origin = named.checkpoint.origin if named else None

    def report(self) -> Report:
        """Read everything and compare."""
        list_file = self.folder.open(LEAF_HASHES)
        alignment = None if list_file is None else LeafAlignment(list_file)
        alone = [one for one in (self.final, self.expected) if one is not None]
        states = SignedStates(self._listed_states(), alone)
        self._compare(states.at(0))
        for place, data in self._entries():
            leaf = leaf_hash(data)
            self.frontier.add(leaf)
            if alignment is not None:
                if self.hint is not None:
                    alignment.hint(self.hint)
                    self.hint = None
                alignment.add(leaf, place)
            if self.frontier.size == states.next_size:
                self._compare(states.at(self.frontier.size))
        self._report_too_large(states)
        self._check_final()
        self._check_keys()
        if list_file is not None and alignment is not None:
            with list_file:
                report_differences(self.damages, list_file, alignment, self.trusted)
        return Report(
            self.frontier.size,
            self.final.checkpoint if self.final else None,
            self.damages.kept,
            self.damages.omitted,
            () if self.expected else (WITHOUT_EXPECTED,),
        )

    # What is read.

    def _read_keys(self) -> list[VerifierKey]:
        data = self.folder.read(KEYS, export_files.MOST_KEYS_BYTES)
        found: list[VerifierKey] = []
        if data is None:
            return found
        if len(data) > export_files.MOST_KEYS_BYTES or not data.endswith(b"\n"):
            self.damages.add("file-cut", "The file does not end with a line feed, or is too long.", KEYS)
        for number, line in enumerate(data.removesuffix(b"\n").split(b"\n"), 1):
            try:
                found.append(read_verifier_key(line.decode("utf-8")))
            except UnicodeDecodeError:
                self.damages.add("key-unreadable", "The key is not UTF-8.", KEYS, number)
            except InvalidKey as error:
                self.damages.add("key-unreadable", error.diagnostics[0].message, KEYS, number)
        return found

    def _read_checkpoint(self) -> SignedState | None:
        note = self.folder.read(CHECKPOINT, MOST_NOTE_BYTES)
        return None if note is None else self._state(note, CHECKPOINT)

    def _state(self, note: bytes, file: str, line: int | None = None) -> SignedState | None:
        try:
            return signed_state(note, file, line)
        except InvalidNote as error:
            self.damages.add("note-unreadable", error.diagnostics[0].message, file, line)
            return None

    def _listed_states(self) -> Iterator[SignedState]:
        """The checkpoints of the list, as long as they can be read; those whose size does not rise are left
        out."""
        file = self.folder.open(CHECKPOINTS)
        if file is None:
            return
        with file:
            for line, note in notes_of(file):
                state = self._state(note, CHECKPOINTS, line)
                if state is None:
                    return
                last, self.last_listed = self.last_listed, state
                if last is not None and state.checkpoint.size <= last.checkpoint.size:
                    message = f"Size {state.checkpoint.size} follows size {last.checkpoint.size}."
                    self.damages.add("checkpoints-out-of-order", message, CHECKPOINTS, line)
                elif state.checkpoint.size >= self.frontier.size:
                    yield state

    def _entries(self) -> Iterator[tuple[Place, bytes]]:
        """Each entry in order; whatever is wrong with its line alone is noted."""
        files = self.folder.entries_files()
        all_bytes = max(self.folder.size_of(files), 1)
        read_bytes = position = 0
        for name in files:
            if not name.endswith("/" + export_files.entries_name(position)):
                message = f"Its name says another first position, but {position} entries come before it."
                self.damages.add("file-out-of-place", message, name)
                self.hint = export_files.first_position(name)
            file = self.folder.open(name)
            if file is None:
                continue
            with file:
                for number, (line, end) in enumerate(lines_of(file, export_files.MOST_ENTRY_BYTES), 1):
                    yield self.entries.check(position, line, end, name, number), line
                    position += 1
                    read_bytes += len(line) + len(end)
                    if position % PROGRESS_EVERY == 0:
                        self.progress(position, min(read_bytes / all_bytes, 1.0))
        self.progress(position, 1.0)

    # What is compared.

    def _compare(self, states: Iterable[SignedState]) -> None:
        """Signed checkpoints over exactly the entries read so far."""
        root = self.frontier.root()
        for state in states:
            accepted = self._accepts(state)
            if accepted or state is self.expected:
                self.trusted[state.file] = (state, root)
            size = state.checkpoint.size
            if state.checkpoint.root == root:
                if accepted and self.disagreed is None:
                    self.agreed = size
                continue
            first = self.disagreed is None
            if first:
                self.disagreed = size
            if state is self.expected:
                message = f"The first {size} entries do not have the root that it signs.{self._bracket()}"
                if accepted and self.agreed == size:
                    message += " The log has signed both: whoever holds its key has rewritten it."
                self.damages.add("history-rewritten", message, state.file)
            elif first or state is self.final:
                message = f"The first {size} entries do not have the root that was signed.{self._bracket()}"
                self.damages.add("root-differs", message, state.file, state.line)

    def _bracket(self) -> str:
        if self.disagreed is None or self.agreed >= self.disagreed:
            return ""
        between = f"positions {self.agreed} to {self.disagreed - 1}"
        return f" The first change is in {between}, between two signed sizes: as near as checkpoints tell."

    def _accepts(self, state: SignedState) -> bool:
        """Whether it is of this log and signed by the key that counts here; what is wrong is noted."""
        if state.checkpoint.origin != self.origin:
            message = f"It is of {shown(state.checkpoint.origin)}, not of {shown(self.origin or '')}."
            self.damages.add("origin-differs", message, state.file, state.line)
        try:
            opened = open_note(state.note, self.chain.known)
        except InvalidNote as error:
            one = error.diagnostics[0]
            code = "note-unreadable" if one.code == error.code else one.code
            self.damages.add(code, one.message, state.file, state.line)
            return False
        if opened.text != state.checkpoint.text():
            message = "The signed text goes on after the checkpoint."
            self.damages.add("note-unreadable", message, state.file, state.line)
            return False
        if opened.unknown and state is not self.expected:  # others may have countersigned the auditor's own
            message = f"One signature is of an unknown key: {shown(', '.join(opened.unknown))}."
            self.damages.add("signature-unknown", message, state.file, state.line)
        if self.chain.accepts(opened.verified):
            return state.checkpoint.origin == self.origin
        signers = ", ".join(str(key) for key in opened.verified)
        message = f"It is signed by {signers}, but at this size the log signs with {self.chain.current}."
        self.damages.add("signer-not-vouched", message, state.file, state.line)
        return False

    def _report_too_large(self, states: SignedStates) -> None:
        """Checkpoints over more entries than there are: what is left when all entries are read."""
        size = self.frontier.size
        for state in states.rest():
            if self._accepts(state) or state is self.expected:
                self.trusted[state.file] = (state, None)
            message = f"It is over {state.checkpoint.size} entries, but there are only {size}."
            code = "fewer-than-expected" if state is self.expected else "size-differs"
            self.damages.add(code, message, state.file, state.line)

    def _check_final(self) -> None:
        """The export's checkpoint covers every entry, is the last of the list, and no older than expected."""
        if self.final is None:
            return
        said, size = self.final.checkpoint.size, self.frontier.size
        if said < size:
            message = f"It is over {said} entries, but there are {size}: those behind are not signed."
            self.damages.add("size-differs", message, CHECKPOINT, position=said)
        if self.expected is not None and said < self.expected.checkpoint.size:
            message = f"It is over {said} entries, the expected one over {self.expected.checkpoint.size}."
            self.damages.add("checkpoint-older", message, CHECKPOINT)
        if self.last_listed is None or self.last_listed.note != self.final.note:
            message = "It is not the last one of the list of checkpoints."
            self.damages.add("checkpoint-not-listed", message, CHECKPOINT)

    def _check_keys(self) -> None:
        """Every key but the first must have come in by an entry, in that order."""
        rotated = self.chain.rotated
        for number, key in enumerate(self.listed_keys[1:], 1):
            if number > len(rotated) or rotated[number - 1] != key:
                message = f"No entry says that the log changed to the key {key} at this place."
                self.damages.add("key-not-vouched", message, KEYS, number + 1)
        for key in rotated:
            if key not in self.listed_keys:
                self.damages.add(
                    "key-missing", f"The log changed to the key {key}, which is not listed.", KEYS
                )
