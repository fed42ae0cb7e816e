"""The Merkle tree of RFC 6962 and RFC 9162 over SHA-256: hashing, proofs and their verification, no storage.

A tree of `size` leaves splits at the largest power of two below its size, again and again. Every complete
subtree of 2^level leaves has a place `(level, index)`: it covers the leaves from index * 2^level on, and
its hash never changes once it is complete. Whoever keeps these hashes can answer any proof of any earlier
size: a proof names all subtrees that it needs at once, so one batched read is enough.

Positions count from 0.
"""

from __future__ import annotations

import hmac
from collections.abc import Callable, Iterable, Sequence
from hashlib import sha256
from itertools import islice
from typing import Final

HASH_BYTES: Final = 32
EMPTY_ROOT: Final = sha256(b"").digest()

Subtree = tuple[int, int]
"""The place of a complete subtree: its level and its index within the level."""

Fold = tuple[Subtree, ...]
"""Neighbouring complete subtrees from left to right, of falling level, whose hashes combine to one hash."""

Read = Callable[[list[Subtree]], Sequence[bytes]]
"""Gives the hashes of the subtrees asked for, in the order asked."""


def leaf_hash(data: bytes) -> bytes:
    """The hash of one leaf (RFC 9162, section 2.1.1)."""
    return sha256(b"\x00" + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """The hash of a node over its two children (RFC 9162, section 2.1.1)."""
    return sha256(b"\x01" + left + right).digest()


def root_of(leaf_hashes: Iterable[bytes]) -> bytes:
    """The root of the tree over these leaf hashes; EMPTY_ROOT of none."""
    frontier = Frontier()
    for one in leaf_hashes:
        frontier.add(one)
    return frontier.root()


def post_order_number(level: int, index: int) -> int:
    """The number of a complete subtree in the order in which appending completes them, from 0 and dense.

    Appending a leaf completes the leaf itself and then, from below, each subtree that ends with it: as many
    as the leaf's position has ones at its end in binary. Summed over all leaves before `last` that makes
    2 * last - (ones of last) subtrees. The subtree (level, index) ends with leaf (index + 1) * 2^level - 1,
    and is completed `level` steps after it. So all hashes can be kept in one dense, append-only sequence.
    """
    last = ((index + 1) << level) - 1
    return 2 * last - last.bit_count() + level


def complete_subtrees(size: int) -> int:
    """How many complete subtrees a tree of this size has: the number that the next one gets."""
    return 2 * size - size.bit_count()


class Frontier:
    """The right edge of a growing tree: all that appending and the root need, a few hashes.

    `peaks` are the hashes of the complete subtrees that make up the tree, from the largest to the smallest,
    one for each one of `size` in binary. Raises ValueError when size and peaks do not fit one another.
    """

    __slots__ = ("_peaks", "_size")

    def __init__(self, size: int = 0, peaks: Iterable[bytes] = ()) -> None:
        self._size = size
        self._peaks = list(peaks)
        if size < 0 or size.bit_count() != len(self._peaks):
            raise ValueError(f"a tree of {size} leaves does not have {len(self._peaks)} peaks")
        if any(len(peak) != HASH_BYTES for peak in self._peaks):
            raise ValueError(f"a peak is not {HASH_BYTES} bytes long")

    @property
    def size(self) -> int:
        """How many leaves the tree has."""
        return self._size

    @property
    def peaks(self) -> tuple[bytes, ...]:
        """The hashes of the complete subtrees that make up the tree, the largest first."""
        return tuple(self._peaks)

    def add(self, leaf: bytes) -> list[tuple[int, int, bytes]]:
        """Append a leaf hash. Returns (level, index, hash) of each subtree that it completes, from the leaf
        up, which is the order of `post_order_number`."""
        index = self._size
        peaks = self._peaks
        level = 0
        completed = [(0, index, leaf)]
        while index & 1:
            leaf = sha256(b"\x01" + peaks.pop() + leaf).digest()
            index >>= 1
            level += 1
            completed.append((level, index, leaf))
        peaks.append(leaf)
        self._size += 1
        return completed

    def root(self) -> bytes:
        """The root of the tree as it is now."""
        return _folded(self._peaks) if self._peaks else EMPTY_ROOT


def root_fold(size: int) -> Fold:
    """The complete subtrees that make up a tree of this size, the largest first; none of an empty tree."""
    return _cover(0, size)


def root_at(size: int, read: Read) -> bytes:
    """The root that the tree had when it was of this size. One read; none for an empty tree."""
    return _folded(read(list(root_fold(size)))) if size else EMPTY_ROOT


def inclusion_path(position: int, size: int) -> list[Fold]:
    """What the inclusion proof of a leaf is made of, from the leaf up (RFC 9162, section 2.1.3.1).

    Raises ValueError unless 0 <= position < size.
    """
    if not 0 <= position < size:
        raise ValueError(f"there is no leaf {position} in a tree of {size}")
    path = []
    start, end = 0, size
    while end - start > 1:
        middle = start + _split(end - start)
        if position < middle:
            path.append(_cover(middle, end))
            end = middle
        else:
            path.append(_cover(start, middle))
            start = middle
    return path[::-1]


def consistency_path(old: int, new: int) -> list[Fold]:
    """What the consistency proof between two sizes is made of (RFC 9162, section 2.1.4.1).

    Empty for equal sizes. Raises ValueError unless 0 < old <= new: everything is consistent with an empty
    tree, so there is nothing to prove.
    """
    if not 0 < old <= new:
        raise ValueError(f"there is no consistency proof from size {old} to size {new}")
    path = []
    start, end = 0, new
    while end != old:
        middle = start + _split(end - start)
        if old <= middle:
            path.append(_cover(middle, end))
            end = middle
        else:
            path.append(_cover(start, middle))
            start = middle
    if start:  # otherwise what is left is the whole old tree, whose root the verifier has
        path.append(_cover(start, end))
    return path[::-1]


def inclusion_proof(position: int, size: int, read: Read) -> list[bytes]:
    """The inclusion proof of a leaf in the tree of this size. One read, none for a tree of one leaf."""
    return _read_folds(inclusion_path(position, size), read)


def consistency_proof(old: int, new: int, read: Read) -> list[bytes]:
    """The consistency proof between two sizes. One read, none for equal sizes."""
    return _read_folds(consistency_path(old, new), read)


def root_from_inclusion(position: int, size: int, leaf: bytes, proof: Sequence[bytes]) -> bytes | None:
    """The root that an inclusion proof leads to, None when it is no proof for this position and size
    (RFC 9162, section 2.1.3.2)."""
    if not 0 <= position < size or not _are_hashes([leaf, *proof]):
        return None
    node, last = position, size - 1
    found = leaf
    for sibling in proof:
        if last == 0:
            return None
        if node & 1 or node == last:
            found = node_hash(sibling, found)
            while node and not node & 1:
                node >>= 1
                last >>= 1
        else:
            found = node_hash(found, sibling)
        node >>= 1
        last >>= 1
    return found if last == 0 else None


def verify_inclusion(position: int, size: int, leaf: bytes, proof: Sequence[bytes], root: bytes) -> bool:
    """Whether the proof shows that this leaf hash stands at this position of the tree with this root."""
    found = root_from_inclusion(position, size, leaf, proof)
    return found is not None and hmac.compare_digest(found, root)


def verify_consistency(old: int, new: int, old_root: bytes, new_root: bytes, proof: Sequence[bytes]) -> bool:
    """Whether the proof shows that the new tree begins with all leaves of the old one, unchanged.

    Equal sizes need equal roots and an empty proof. From an empty tree nothing can be proven, so it is
    refused. RFC 9162, section 2.1.4.2.
    """
    if not 0 < old <= new:
        return False
    if old == new:
        return not proof and hmac.compare_digest(old_root, new_root)
    if not proof or not _are_hashes([old_root, new_root, *proof]):
        return False
    path = [old_root, *proof] if old & (old - 1) == 0 else proof
    node, last = old - 1, new - 1
    while node & 1:
        node >>= 1
        last >>= 1
    found_old = found_new = path[0]
    for sibling in islice(path, 1, None):
        if last == 0:
            return False
        if node & 1 or node == last:
            found_old = node_hash(sibling, found_old)
            found_new = node_hash(sibling, found_new)
            while node and not node & 1:
                node >>= 1
                last >>= 1
        else:
            found_new = node_hash(found_new, sibling)
        node >>= 1
        last >>= 1
    return last == 0 and hmac.compare_digest(found_old, old_root) and hmac.compare_digest(found_new, new_root)


def _split(size: int) -> int:
    """The largest power of two below a size of at least 2."""
    return 1 << ((size - 1).bit_length() - 1)


def _cover(start: int, end: int) -> Fold:
    """The complete subtrees over the leaves from `start` up to `end`, the largest first. `start` must be a
    multiple of the largest of them, as it is wherever a tree splits."""
    found = []
    while start < end:
        level = (end - start).bit_length() - 1
        found.append((level, start >> level))
        start += 1 << level
    return tuple(found)


def _folded(hashes: Sequence[bytes]) -> bytes:
    found = hashes[-1]
    for left in reversed(hashes[:-1]):
        found = node_hash(left, found)
    return found


def _read_folds(path: list[Fold], read: Read) -> list[bytes]:
    wanted = [subtree for fold in path for subtree in fold]
    hashes = iter(read(wanted) if wanted else ())
    return [_folded(list(islice(hashes, len(fold)))) for fold in path]


def _are_hashes(values: Iterable[bytes]) -> bool:
    return all(len(value) == HASH_BYTES for value in values)
