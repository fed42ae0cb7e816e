"""Says of each difference between the entries and the list of leaf hashes which of both was changed."""

from __future__ import annotations

from io import SEEK_END
from typing import BinaryIO, Literal

from limbtier.audit.export_damage import Damages
from limbtier.audit.export_files import CHECKPOINT, LEAF_HASHES
from limbtier.audit.leaf_alignment import RECORD_BYTES, Difference, LeafAlignment, Place, listed_root
from limbtier.audit.signed_states import SignedState

Trusted = dict[str, tuple[SignedState, bytes | None]]
"""Signed states that count, by the file where they stand, with the root over as many entries of the export;
None where it has fewer."""

Side = Literal["entries", "list"]


def report_differences(damages: Damages, file: BinaryIO, alignment: LeafAlignment, trusted: Trusted) -> None:
    """Note every difference that the alignment found, once all entries were added."""
    differences = alignment.finish()
    if file.seek(0, SEEK_END) % RECORD_BYTES:
        message = f"The length of the file is no multiple of {RECORD_BYTES}: a line is not whole."
        damages.add("file-cut", message, LEAF_HASHES)
    roots: dict[int, bytes | None] = {}
    for one in differences:
        _report(damages, one, _changed_side(one, file, trusted, roots))
    if alignment.given_up:
        message = "There are more differences than are looked for."
        damages.add("entry-and-hash-differ", message, LEAF_HASHES)


def _changed_side(
    one: Difference, file: BinaryIO, trusted: Trusted, roots: dict[int, bytes | None]
) -> Side | None:
    """The side that a signed root over the place disagrees with; None when none tells."""
    entry_at = -1 if one.entry is None else one.entry.position
    last = max(entry_at, -1 if one.listed is None else one.listed)
    final = trusted.get(CHECKPOINT)
    if final is not None and last >= final[0].checkpoint.size:  # the log ends before it
        return "entries" if entry_at >= final[0].checkpoint.size else "list"
    for state, root in trusted.values():
        size, signed = state.checkpoint.size, state.checkpoint.root
        if last >= size:
            continue
        if root == signed:
            return "list"
        if size not in roots:
            roots[size] = listed_root(file, size)
        if roots[size] == signed:
            return "entries"
    return None


def _report(damages: Damages, one: Difference, side: Side | None) -> None:
    entry = one.entry or Place(one.listed or 0, None, None, None)
    at = entry.file, entry.line, entry.position, entry.id
    if side == "entries":
        damages.add(f"entry-{one.kind}", _of_entry(one), *at)
    elif side == "list":
        line = None if one.listed is None else one.listed + 1
        damages.add("leaf-hash-changed", _of_list(one), LEAF_HASHES, line, entry.position, entry.id)
    else:
        damages.add("entry-and-hash-differ", f"{_of_entry(one)} Or the leaf hashes are wrong here.", *at)


def _of_entry(one: Difference) -> str:
    if one.kind == "missing" and one.count > 1:
        return f"The {one.count} entries from position {one.listed} on are missing."
    if one.kind == "missing":
        return f"The entry of position {one.listed} is missing."
    if one.kind == "moved":
        return f"The entry was recorded at position {one.listed}."
    if one.kind == "added":
        return "The entry does not belong to the log."
    return "The entry does not have the leaf hash that was recorded."


def _of_list(one: Difference) -> str:
    if not one.readable:
        return "The line is no leaf hash."
    if one.kind == "missing":
        return "There is no such entry."
    if one.kind == "added":
        return "The leaf hash of the entry is missing."
    return "The line is not the leaf hash of the entry."
