"""Writes the log into a folder of plain files that anyone can verify without the service.

What the files are is said in `export_files`. The export covers what the newest checkpoint covers, so the log
may grow meanwhile. It is written as the store has it, also where that is damaged: the leaf hashes are those
stored when the entries were appended, so that verifying names an entry that was changed since.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from itertools import islice
from pathlib import Path
from typing import BinaryIO, Final, Protocol

from limbtier.audit import export_files
from limbtier.audit.signed_states import signed_state
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import LimbtierError
from limbtier.foundation.merkle import Subtree
from limbtier.foundation.signed_note import Checkpoint

ENTRIES_PER_FILE: Final = 100_000
PROGRESS_EVERY: Final = 10_000
_BATCH: Final = 1_000

README_TEXT: Final = """\
This folder is an export of the decision log of a limbtier service.

  keys          the verifier keys of the log, one a line, the oldest first
  checkpoint    the newest signed checkpoint: name of the log, number of entries, root over all of them
  checkpoints   every signed checkpoint, the smallest first, an empty line between two
  leaf_hashes   the SHA-256 leaf hash of each entry (RFC 9162), one a line
  entries/      the entries in order, one a line in canonical JSON (RFC 8785); a file is named by the
                position of its first entry, counted from 0

Verify it with a checkpoint that you got from the service earlier and kept elsewhere:

  limbtier verify FOLDER --checkpoint FILE

Nothing else is needed: no database, no service, no connection. Without such a checkpoint, whoever made this
folder could have made all of it anew. Checkpoints and keys are signed notes and verifier keys as C2SP
describes them; other tools for such notes and for RFC 9162 can check the same.

Caution: a whole log shows that records were not changed after they were made. It does not show that what was
entered was true, nor that a decision was right: local policy and a licensed clinician decide. Entries are
about care; pass this folder on only to those who may read it. This text is not signed.
"""


class ExportedLog(Protocol):
    """What a log must give to be exported."""

    def checkpoint(self) -> str:
        """The newest signed note, over every entry that there is now."""
        ...

    def checkpoints(self) -> Iterable[str]:
        """Every signed note, by rising size, that of `checkpoint` among them."""
        ...

    def verifier_keys(self) -> Sequence[str]:
        """The verifier keys, the oldest first."""
        ...

    def entries_from(self, position: int) -> Iterator[bytes]:
        """The bytes of the entries from a position on, in order."""
        ...

    def read_hashes(self, places: list[Subtree]) -> Sequence[bytes]:
        """The stored hashes of complete subtrees, in the order asked; level 0 are the leaf hashes."""
        ...


class ExportRefused(LimbtierError):
    """The export was not made; nothing is left of it."""

    code = "export-refused"


def export_log(
    log: ExportedLog,
    target: Path,
    progress: Callable[[int, int], None] = lambda _written, _all: None,
    entries_per_file: int = ENTRIES_PER_FILE,
) -> Checkpoint:
    """Write the log into the new folder `target` and return the checkpoint that it ends with.

    `progress` is told how many entries of how many are written. The folder appears whole or not at all.
    Raises ExportRefused when something has that name already or entries are missing, OSError when it
    cannot be written.
    """
    _refuse_existing(target)
    with _unfinished(target) as folder:
        note = log.checkpoint()
        checkpoint = signed_state(note.encode(), export_files.CHECKPOINT).checkpoint
        _write(folder / export_files.README, [README_TEXT.encode()])
        _write(folder / export_files.KEYS, [f"{key}\n".encode() for key in log.verifier_keys()])
        _write(folder / export_files.CHECKPOINT, [note.encode()])
        _write(folder / export_files.CHECKPOINTS, _separated(log.checkpoints(), checkpoint.size))
        _write(folder / export_files.LEAF_HASHES, _leaf_hashes(log, checkpoint.size))
        entries = folder / export_files.ENTRIES
        _write_entries(log, entries, checkpoint.size, progress, entries_per_file)
    return checkpoint


@contextmanager
def _unfinished(target: Path) -> Iterator[Path]:
    """A folder beside the target that becomes the target at the end, or is removed."""
    folder = Path(tempfile.mkdtemp(prefix=f".{target.name}.", suffix=".unfinished", dir=target.parent))
    try:
        yield folder
        _flush_folder(folder)
        _refuse_existing(target)
        folder.rename(target)
        _flush_folder(target.parent)
    finally:
        shutil.rmtree(folder, ignore_errors=True)  # gone already where all went well


def _refuse_existing(target: Path) -> None:
    if os.path.lexists(target):
        raise _refused(f"{target} exists already.", "Name a folder that does not exist yet.")


def _separated(notes: Iterable[str], size: int) -> Iterator[bytes]:
    """The notes up to this size, an empty line between two."""
    between = b""
    for note in notes:
        data = note.encode()
        if signed_state(data, export_files.CHECKPOINTS).checkpoint.size <= size:
            yield between + data
            between = b"\n"


def _leaf_hashes(log: ExportedLog, size: int) -> Iterator[bytes]:
    for start in range(0, size, _BATCH):
        places = [(0, position) for position in range(start, min(start + _BATCH, size))]
        for leaf in log.read_hashes(places):
            yield leaf.hex().encode() + b"\n"


def _write_entries(
    log: ExportedLog, folder: Path, size: int, progress: Callable[[int, int], None], entries_per_file: int
) -> None:
    folder.mkdir()
    written = 0

    def lines() -> Iterator[bytes]:
        nonlocal written
        for entry in islice(log.entries_from(0), size):
            written += 1
            if written % PROGRESS_EVERY == 0:
                progress(written, size)
            yield entry + b"\n"

    all_lines = lines()
    for first in range(0, size, entries_per_file):
        _write(
            folder / export_files.entries_name(first), islice(all_lines, min(entries_per_file, size - first))
        )
    if written < size:
        message = f"The store has {written} of the {size} entries that its checkpoint covers."
        raise _refused(message, "The log is damaged: restore it from a copy, and keep this store as it is.")
    progress(written, size)
    _flush_folder(folder)


def _write(path: Path, parts: Iterable[bytes]) -> None:
    """Write a new file and make it durable."""
    with path.open("xb") as file:
        file.writelines(parts)
        _flush(file)


def _flush(file: BinaryIO) -> None:
    file.flush()
    os.fsync(file.fileno())


def _flush_folder(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _refused(message: str, help_text: str) -> ExportRefused:
    return ExportRefused([Diagnostic("export-refused", message, help_text)])
