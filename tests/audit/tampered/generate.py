"""Makes the tampered exports beside this file: `python -m tests.audit.tampered.generate`.

Each folder is an export of a small invented log to which one thing was done; `expected.toml`, checked by
hand, says what a verifier must find. The same bytes come out each time. The keys are for these tests only.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path

from limbtier.audit.export import export_log
from limbtier.foundation.canonical_json import canonical
from limbtier.foundation.merkle import leaf_hash
from tests.audit.small_log import (
    KEY,
    NEW_KEY,
    OTHER_DIGEST,
    RESTORED_KEY,
    STRANGER,
    SmallLog,
    decision,
    released,
    restored_log,
    rotated_log,
    rotation,
    small_log,
)

HERE = Path(__file__).parent
PER_FILE = 6
FIRST = "entries/000000000000.jsonl"
SECOND = "entries/000000000006.jsonl"

Spoil = Callable[["Export"], None]


class Export:
    """The folder of an export, and ways to spoil it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def read(self, name: str) -> bytes:
        return (self.folder / name).read_bytes()

    def write(self, name: str, data: bytes) -> None:
        (self.folder / name).write_bytes(data)

    def replace(self, name: str, old: bytes, new: bytes, times: int = 1) -> None:
        data = self.read(name)
        assert data.count(old) >= 1, f"{name} has no {old!r}"
        self.write(name, data.replace(old, new, times))

    def lines(self, name: str) -> list[bytes]:
        return self.read(name).splitlines(keepends=True)

    def set_lines(self, name: str, lines: list[bytes]) -> None:
        self.write(name, b"".join(lines))

    def set_line(self, name: str, number: int, line: bytes) -> None:
        lines = self.lines(name)
        lines[number] = line
        self.set_lines(name, lines)

    def insert(self, name: str, number: int, line: bytes) -> None:
        lines = self.lines(name)
        lines.insert(number, line)
        self.set_lines(name, lines)

    def drop(self, name: str, number: int) -> None:
        lines = self.lines(name)
        del lines[number]
        self.set_lines(name, lines)

    def notes(self) -> list[bytes]:
        """Return the notes of the list of checkpoints."""
        pieces = self.read("checkpoints").split(b"\n\n")
        texts, signatures = pieces[::2], pieces[1::2]
        return [
            text + b"\n\n" + signature.rstrip(b"\n") + b"\n"
            for text, signature in zip(texts, signatures, strict=True)
        ]

    def set_notes(self, notes: list[bytes], also_newest: bool = True) -> None:
        self.write("checkpoints", b"\n".join(notes))
        if also_newest:
            self.write("checkpoint", notes[-1])

    def take_over(self, log: SmallLog) -> None:
        """Replace everything by an export of another log."""
        shutil.rmtree(self.folder)
        made(log, self.folder)


def made(log: SmallLog, folder: Path) -> Export:
    export_log(log, folder, entries_per_file=PER_FILE)
    (folder / "README.txt").unlink()  # the same for all, and nothing relies on it
    return Export(folder)


def line_of(data: bytes) -> bytes:
    return leaf_hash(data).hex().encode() + b"\n"


def swapped(values: list[bytes], one: int, other: int) -> list[bytes]:
    found = list(values)
    found[one], found[other] = values[other], values[one]
    return found


def roots_swapped(export: Export) -> None:
    notes = export.notes()
    one, other = (notes[number].split(b"\n")[2] for number in (1, 2))
    notes[1], notes[2] = notes[1].replace(one, other), notes[2].replace(other, one)
    export.set_notes(notes)


def rewritten_log(keep: SmallLog, *, tier: str = "strong", digest: str | None = None) -> SmallLog:
    """Return the log with the decision at position 5 edited and everything computed anew, signatures too."""
    changed = decision(5, tier) if digest is None else decision(5, tier, digest)
    log = SmallLog(keep.origin, keep.keys)
    sizes = [int(note.split("\n")[1]) for note in keep.notes]
    for number, data in enumerate(keep.entries):
        log.append_bytes(canonical(changed) if number == 5 else data)
        if number + 1 in sizes:
            log.sign()
    return log


def edited(export: Export, *, digest: str | None = None) -> None:
    """Edit the decision at position 5 and compute its leaf hash anew."""
    changed = canonical(decision(5, "strong") if digest is None else decision(5, "standard", digest))
    export.set_line(FIRST, 5, changed + b"\n")
    export.set_line("leaf_hashes", 5, line_of(changed))


def edited_but_signatures(export: Export) -> None:
    """Edit the decision and compute everything anew that needs no key."""
    old = export.notes()
    export.take_over(rewritten_log(small_log()))
    export.set_notes(
        [
            new.partition(b"\n\n")[0] + b"\n\n" + signed.partition(b"\n\n")[2]
            for new, signed in zip(export.notes(), old, strict=True)
        ]
    )


def added(number: int) -> bytes:
    return canonical(decision(number + 100))


def added_in_the_middle(export: Export) -> None:
    export.insert(FIRST, 3, added(3) + b"\n")
    export.insert("leaf_hashes", 3, line_of(added(3)))


def added_at_the_end(export: Export) -> None:
    export.insert(SECOND, 4, added(10) + b"\n")
    export.insert("leaf_hashes", 10, line_of(added(10)))


def cut_tail(export: Export) -> None:
    """Cut back to the seventh entry, as if the log had never been longer."""
    export.set_lines(SECOND, export.lines(SECOND)[:1])
    export.set_lines("leaf_hashes", export.lines("leaf_hashes")[:7])
    export.set_notes(export.notes()[:3])


def newest_signed_by_stranger(export: Export) -> None:
    log = small_log(signed_at=(2, 4, 7))
    log.sign(STRANGER)
    export.set_notes([note.encode() for note in log.notes])


def signed_by_new_key(export: Export) -> None:
    """Sign the newest checkpoint with another key and list that key, as if it had been handed over to."""
    log = small_log(signed_at=(2, 4, 7))
    log.sign(NEW_KEY)
    export.set_notes([note.encode() for note in log.notes])
    export.insert("keys", 1, f"{NEW_KEY.verifier}\n".encode())


def thief_log() -> SmallLog:
    """Return a log to which a thief without the key appended a change of keys and one more decision."""
    log = small_log(size=7, signed_at=(2, 4, 7))
    log.append(rotation(7, KEY, NEW_KEY))
    log.append(decision(8))
    log.keys.append(NEW_KEY)
    log.sign()
    return log


def old_key_after_hand_over() -> SmallLog:
    log = rotated_log()
    log.notes.pop()
    log.sign(KEY)
    return log


def rotation_of_an_unknown_key() -> SmallLog:
    log = small_log(size=7, signed_at=(2, 4, 7))
    log.append(rotation(7, STRANGER, NEW_KEY))
    log.sign()
    return log


def rotation_to_another_name() -> SmallLog:
    log = small_log(size=7, signed_at=(2, 4, 7))
    log.append(rotation(7, KEY, RESTORED_KEY))
    log.sign()
    return log


def released_twice() -> SmallLog:
    log = small_log(size=7, signed_at=(2, 4, 7))
    log.append(released(7, OTHER_DIGEST))
    log.sign()
    return log


def other_log() -> SmallLog:
    log = SmallLog(origin="limbtier.invalid/another-log")
    for number in range(10):
        log.append(decision(number) if number else released(number))
    log.sign()
    return log


def own_keys() -> SmallLog:
    """Return the same entries, signed anew with another key."""
    log = SmallLog(keys=[STRANGER])
    for number in range(10):
        log.append(decision(number) if number else released(number))
        if number + 1 in {2, 4, 7, 10}:
            log.sign()
    return log


def without_id() -> SmallLog:
    log = small_log(size=7, signed_at=(2, 4, 7))
    log.append({"kind": "decision", "at": "2026-03-01T10:00:00+00:00"})
    log.sign()
    return log


def signature_changed(export: Export, change: Callable[[bytes], bytes]) -> None:
    notes = export.notes()
    notes[-1] = change(notes[-1])
    export.set_notes(notes)


def entry_and_leaf_hash_changed(export: Export) -> None:
    export.replace(FIRST, b'"example-3\\"', b'"example-7\\"')
    export.set_line("leaf_hashes", 3, line_of(b"another"))


def bit_flipped(note: bytes) -> bytes:
    """Change one letter within the signature, behind the four bytes of the key's id."""
    return note[:-20] + (b"A" if note[-20:-19] != b"A" else b"B") + note[-19:]


def other_key_id(note: bytes) -> bytes:
    return re.sub(rb"(test-only )....", rb"\1AAAA", note)


def countersigned(note: bytes) -> bytes:
    log = small_log(signed_at=())
    return note + log.sign(STRANGER).rpartition("\n\n")[2].encode()


PLAIN: dict[str, Spoil] = {
    "whole": lambda e: None,
    # Entries.
    "changed_byte": lambda e: e.replace(FIRST, b'"example-3\\"', b'"example-7\\"'),
    "changed_byte_after_the_kept_checkpoint": lambda e: e.replace(SECOND, b'"example-8\\"', b'"example-3\\"'),
    "dropped_entry": lambda e: e.drop(FIRST, 3),
    "dropped_first_entry": lambda e: e.drop(FIRST, 0),
    "reordered": lambda e: e.set_lines(FIRST, swapped(e.lines(FIRST), 2, 3)),
    "moved_to_the_end": lambda e: e.set_lines(SECOND, [*e.lines(SECOND)[1:], e.lines(SECOND)[0]]),
    "duplicated_entry": lambda e: e.insert(FIRST, 4, e.lines(FIRST)[3]),
    "duplicated_entry_at_the_end": lambda e: e.insert(SECOND, 4, e.lines(FIRST)[3]),
    "added_in_the_middle": added_in_the_middle,
    "added_at_the_end": added_at_the_end,
    "edited_decision": edited,
    "edited_decision_names_another_edition": lambda e: edited(e, digest=OTHER_DIGEST),
    "edited_decision_all_but_signatures": edited_but_signatures,
    "edited_decision_signed_by_the_log": lambda e: e.take_over(rewritten_log(small_log())),
    "edition_released_with_other_rules": lambda e: e.take_over(released_twice()),
    "entry_without_id": lambda e: e.take_over(without_id()),
    # The form of entries.
    "not_canonical": lambda e: e.replace(FIRST, b'"kind":"decision"', b'"kind": "decision"'),
    "members_reordered": lambda e: e.replace(
        FIRST, b'"id":"decision-1","kind":"decision"', b'"kind":"decision","id":"decision-1"'
    ),
    "blank_line": lambda e: e.insert(FIRST, 2, b"\n"),
    "line_of_spaces": lambda e: e.set_line(FIRST, 2, b"   \n"),
    "bad_utf8": lambda e: e.replace(FIRST, b"ankle", b"ankl\xff"),
    "nul_byte": lambda e: e.replace(FIRST, b"ankle", b"ankl\x00"),
    "crlf": lambda e: e.set_lines(FIRST, [line[:-1] + b"\r\n" for line in e.lines(FIRST)]),
    # Files.
    "cut_tail": cut_tail,
    "cut_tail_entries_only": lambda e: e.set_lines(SECOND, e.lines(SECOND)[:1]),
    "truncated_file": lambda e: e.write(SECOND, e.read(SECOND)[:-30]),
    "last_line_feed_lost": lambda e: e.write(SECOND, e.read(SECOND)[:-1]),
    "missing_entries_file": lambda e: (e.folder / FIRST).unlink(),
    "missing_last_entries_file": lambda e: (e.folder / SECOND).unlink(),
    "missing_checkpoint": lambda e: (e.folder / "checkpoint").unlink(),
    "missing_checkpoints": lambda e: (e.folder / "checkpoints").unlink(),
    "missing_keys": lambda e: (e.folder / "keys").unlink(),
    "missing_leaf_hashes": lambda e: (e.folder / "leaf_hashes").unlink(),
    "renamed_file": lambda e: _rename(e, SECOND, "entries/000000000007.jsonl"),
    "renamed_file_to_no_position": lambda e: _rename(e, SECOND, "entries/later.jsonl"),
    "unexpected_file": lambda e: e.write("entries/notes.txt", b"not part of the export\n"),
    # Checkpoints.
    "swapped_roots": roots_swapped,
    "size_changed": lambda e: signature_changed(e, lambda note: note.replace(b"\n10\n", b"\n11\n")),
    "size_beyond_any_log": lambda e: signature_changed(
        e, lambda note: note.replace(b"\n10\n", b"\n1000000000000000000000000000000\n")
    ),
    "root_changed": lambda e: signature_changed(e, _other_root),
    "signature_bit_flipped": lambda e: signature_changed(e, bit_flipped),
    "signature_key_id_changed": lambda e: signature_changed(e, other_key_id),
    "signature_of_a_stranger_added": lambda e: signature_changed(e, countersigned),
    "signature_cut": lambda e: signature_changed(e, lambda note: note.partition(b"\n\n")[0] + b"\n\n"),
    "checkpoint_of_a_stranger": newest_signed_by_stranger,
    "checkpoint_is_an_older_one": lambda e: e.write("checkpoint", e.notes()[2]),
    "checkpoint_has_no_form": lambda e: e.write("checkpoint", b"all is well\n"),
    "checkpoint_with_windows_line_ends": lambda e: e.write(
        "checkpoint", e.read("checkpoint").replace(b"\n", b"\r\n")
    ),
    "checkpoints_out_of_order": lambda e: e.set_notes(swapped(e.notes(), 1, 2)),
    "checkpoints_end_with_an_empty_line": lambda e: e.write("checkpoints", e.read("checkpoints") + b"\n"),
    "another_log": lambda e: e.take_over(other_log()),
    # Keys.
    "replaced_key": lambda e: e.take_over(own_keys()),
    "replaced_key_and_history": lambda e: e.take_over(rewritten_log(own_keys())),
    "key_id_mismatch": lambda e: e.replace("keys", b"test-only+", b"test-onlx+"),
    "keys_last_line_feed_lost": lambda e: e.write("keys", e.read("keys")[:-1]),
    "keys_not_utf8": lambda e: e.write("keys", b"\xff" + e.read("keys")),
    "key_nobody_vouches_for": lambda e: e.insert("keys", 1, f"{STRANGER.verifier}\n".encode()),
    "rotated_without_entry": signed_by_new_key,
    "rotated_by_a_thief": lambda e: e.take_over(thief_log()),
    "rotation_of_an_unknown_key": lambda e: e.take_over(rotation_of_an_unknown_key()),
    "rotation_to_a_key_of_another_name": lambda e: e.take_over(rotation_to_another_name()),
    # Leaf hashes.
    "leaf_hash_changed": lambda e: e.set_line("leaf_hashes", 4, line_of(b"another")),
    "leaf_hash_no_hash": lambda e: e.set_line("leaf_hashes", 4, b"x" * 64 + b"\n"),
    "leaf_hash_in_capitals": lambda e: e.set_line("leaf_hashes", 4, e.lines("leaf_hashes")[4].upper()),
    "leaf_hashes_cut": lambda e: e.write("leaf_hashes", e.read("leaf_hashes")[:-20]),
    "leaf_hash_added": lambda e: e.insert("leaf_hashes", 10, line_of(b"another")),
    "leaf_hash_dropped": lambda e: e.drop("leaf_hashes", 4),
    "entry_and_leaf_hash_changed": entry_and_leaf_hash_changed,
}
ROTATED: dict[str, Spoil] = {
    "whole_after_a_rotation": lambda e: None,
    "rotated_key_not_listed": lambda e: e.drop("keys", 1),
    "rotated_keys_in_another_order": lambda e: e.set_lines("keys", e.lines("keys")[::-1]),
    "old_key_signs_after_the_rotation": lambda e: e.take_over(old_key_after_hand_over()),
    "hand_over_dropped": lambda e: e.set_notes(
        [note for number, note in enumerate(e.notes()) if number != 1]
    ),
    "hand_over_without_the_old_signature": lambda e: e.set_notes(
        [note if number != 1 else _without_line(note, 4) for number, note in enumerate(e.notes())]
    ),
}


def _rename(export: Export, old: str, new: str) -> None:
    (export.folder / old).rename(export.folder / new)


def _other_root(note: bytes) -> bytes:
    lines = note.split(b"\n")
    lines[2] = (b"A" if lines[2][:1] != b"A" else b"B") + lines[2][1:]
    return b"\n".join(lines)


def _without_line(note: bytes, number: int) -> bytes:
    lines = note.split(b"\n")
    del lines[number]
    return b"\n".join(lines)


def kept_checkpoints() -> dict[str, str]:
    """Return the checkpoints that an auditor kept, by name."""
    plain, rotated = small_log(), rotated_log()
    changed = plain.notes[2].replace("\n7\n", "\n8\n")
    return {
        "at_7": plain.notes[2],
        "at_10": plain.notes[3],
        "at_7_countersigned": countersigned(plain.notes[2].encode()).decode(),
        "at_7_with_its_size_changed": changed,
        "at_3_before_the_rotation": rotated.notes[0],
        "at_8_after_the_rotation": rotated.notes[2],
        "at_9_after_entries_were_lost": restored_log().notes[0],
        "of_another_log": other_log().notes[0],
    }


def generate(folder: Path) -> None:
    """Write every export and every kept checkpoint into a folder."""
    for log, table in ((small_log(), PLAIN), (rotated_log(), ROTATED)):
        for name, spoil in table.items():
            spoil(made(log, folder / name))
    made(restored_log(), folder / "whole_after_entries_were_lost")
    (folder / "kept").mkdir()
    for name, note in kept_checkpoints().items():
        (folder / "kept" / name).write_bytes(note.encode())


if __name__ == "__main__":
    for path in HERE.iterdir():
        if path.is_dir() and path.name != "__pycache__":
            shutil.rmtree(path)
    generate(HERE)
