"""The Merkle tree against the probes of an independent implementation, the RFC's recursion, and a library.

Sources: transparency-dev/merkle at commit 417fb0c (Apache-2.0), its `testdata/` (inclusion and consistency)
and `testonly/constants.go`; RFC 6962, section 2.1, for the definition; pymerkle 7 (GPL, tests only).
"""

from __future__ import annotations

import base64
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymerkle import InmemoryTree

from limbtier.foundation import merkle
from limbtier.foundation.merkle import EMPTY_ROOT, Frontier, Read, Subtree, leaf_hash, node_hash

MOST = 300
LEAVES = [leaf_hash(str(number).encode()) for number in range(MOST)]
sizes = st.integers(1, MOST)


def defined_root(leaves: list[bytes]) -> bytes:
    """Return the root exactly as RFC 6962, section 2.1, defines it."""
    if not leaves:
        return EMPTY_ROOT
    if len(leaves) == 1:
        return leaves[0]
    split = 1
    while split * 2 < len(leaves):
        split *= 2
    return node_hash(defined_root(leaves[:split]), defined_root(leaves[split:]))


def grown(size: int) -> tuple[Frontier, dict[Subtree, bytes]]:
    frontier, hashes = Frontier(), {}
    for leaf in LEAVES[:size]:
        for level, index, found in frontier.add(leaf):
            hashes[level, index] = found
    return frontier, hashes


ALL = grown(MOST)[1]


class Reads:
    """Reads from the hashes of a grown tree, and counts."""

    def __init__(self) -> None:
        self.calls = 0

    def __call__(self, wanted: list[Subtree]) -> list[bytes]:
        self.calls += 1
        return [ALL[place] for place in wanted]


def one_bit_off(value: bytes, bit: int) -> bytes:
    changed = bytearray(value)
    changed[bit // 8 % len(value)] ^= 1 << bit % 8
    return bytes(changed)


# Outside sources.


def probes(shared_data: Path, kind: str) -> list[dict[str, Any]]:
    folder = shared_data / "standards" / "merkle-rfc6962" / "testdata" / kind
    return [json.loads(path.read_text(encoding="utf-8")) for path in sorted(folder.rglob("*.json"))]


def as_bytes(text: str | None) -> bytes:
    return base64.b64decode(text or "")


def test_every_published_inclusion_probe_is_accepted_or_refused_as_published(shared_data: Path) -> None:
    all_probes = probes(shared_data, "inclusion")
    differing = [
        probe
        for probe in all_probes
        if merkle.verify_inclusion(
            probe["leafIdx"],
            probe["treeSize"],
            as_bytes(probe["leafHash"]),
            [as_bytes(one) for one in probe["proof"] or []],
            as_bytes(probe["root"]),
        )
        == probe["wantErr"]
    ]
    assert len(all_probes) == 98
    assert {False, True} == {probe["wantErr"] for probe in all_probes}
    assert differing == []


def test_every_published_consistency_probe_is_accepted_or_refused_as_published(shared_data: Path) -> None:
    all_probes = probes(shared_data, "consistency")
    differing = [
        probe
        for probe in all_probes
        if merkle.verify_consistency(
            probe["size1"],
            probe["size2"],
            as_bytes(probe["root1"]),
            as_bytes(probe["root2"]),
            [as_bytes(one) for one in probe["proof"] or []],
        )
        == probe["wantErr"]
    ]
    assert len(all_probes) == 98
    assert {False, True} == {probe["wantErr"] for probe in all_probes}
    assert differing == []


def test_roots_and_hashes_are_the_published_ones(shared_data: Path) -> None:
    known = json.loads((shared_data / "standards" / "merkle-rfc6962" / "known-roots.json").read_text())
    leaves = [leaf_hash(bytes.fromhex(data)) for data in known["leaf_inputs_hex"]]
    assert [leaf.hex() for leaf in leaves] == known["leaf_hashes_hex"]
    assert [merkle.root_of(leaves[:size]).hex() for size in range(9)] == known["root_by_size_hex"]
    assert known["empty_root"] == EMPTY_ROOT.hex()
    for one in known["hash_leaf"]:
        assert leaf_hash(one["utf8"].encode()).hex() == one["want"]
    for one in known["hash_children"]:
        assert node_hash(one["left_utf8"].encode(), one["right_utf8"].encode()).hex() == one["want"]


@pytest.mark.parametrize("size", [1, 2, 3, 7, 8, 9, 31, 100])
def test_roots_and_inclusion_proofs_are_those_of_another_library(size: int) -> None:
    other = InmemoryTree(algorithm="sha256")
    for number in range(size):
        other.append_entry(str(number).encode())
    assert merkle.root_at(size, Reads()) == other.get_root(size)
    for position in range(size):
        path = other.prove_inclusion(position + 1, size).path  # counts from 1, and begins with the leaf
        assert path == [LEAVES[position], *merkle.inclusion_proof(position, size, Reads())]


# The definition, and laws.


def test_roots_are_those_of_the_definition_at_every_size() -> None:
    frontier = Frontier()
    assert frontier.root() == EMPTY_ROOT == merkle.root_at(0, Reads())
    for size in range(1, 130):
        frontier.add(LEAVES[size - 1])
        assert frontier.root() == defined_root(LEAVES[:size]) == merkle.root_at(size, Reads())


def test_completed_subtrees_are_numbered_densely_in_the_order_of_appending() -> None:
    frontier = Frontier()
    expected = 0
    for leaf in LEAVES:
        for level, index, found in frontier.add(leaf):
            assert merkle.post_order_number(level, index) == expected
            assert found == defined_root(LEAVES[index << level : (index + 1) << level])
            expected += 1
        assert merkle.complete_subtrees(frontier.size) == expected


@given(sizes, st.integers(0, 40))
def test_a_frontier_goes_on_from_its_size_and_peaks(size: int, more: int) -> None:
    frontier, _ = grown(size)
    again = Frontier(frontier.size, frontier.peaks)
    for leaf in LEAVES[:more]:
        assert again.add(leaf) == frontier.add(leaf)
    assert (again.root(), again.size, again.peaks) == (frontier.root(), frontier.size, frontier.peaks)


@pytest.mark.parametrize(
    ("size", "peaks"), [(0, [LEAVES[0]]), (1, []), (3, LEAVES[:1]), (-1, LEAVES[:1]), (1, [b"short"])]
)
def test_a_frontier_of_peaks_that_do_not_fit_is_refused(size: int, peaks: list[bytes]) -> None:
    with pytest.raises(ValueError, match="peak"):
        Frontier(size, peaks)


@given(sizes, st.data(), st.integers(0, 255))
def test_every_inclusion_proof_holds_and_no_change_of_one_bit_does(
    size: int, data: st.DataObject, bit: int
) -> None:
    position = data.draw(st.integers(0, size - 1))
    reads = Reads()
    proof = merkle.inclusion_proof(position, size, reads)
    leaf, root = LEAVES[position], merkle.root_at(size, Reads())
    assert reads.calls <= 1
    assert len(proof) <= max(size - 1, 0).bit_length()
    assert merkle.verify_inclusion(position, size, leaf, proof, root)
    assert merkle.root_from_inclusion(position, size, leaf, proof) == root
    assert not merkle.verify_inclusion(position, size, one_bit_off(leaf, bit), proof, root)
    assert not merkle.verify_inclusion(position, size, leaf, proof, one_bit_off(root, bit))
    for number, one in enumerate(proof):
        spoilt = [*proof[:number], one_bit_off(one, bit), *proof[number + 1 :]]
        assert not merkle.verify_inclusion(position, size, leaf, spoilt, root)
        assert not merkle.verify_inclusion(position, size, leaf, proof[:number] + proof[number + 1 :], root)
    assert not merkle.verify_inclusion(position, size, leaf, [*proof, root], root)
    for other in {position ^ 1 << level for level in range(size.bit_length())} - {position}:
        assert not merkle.verify_inclusion(other, size, leaf, proof, root)


@given(sizes, st.data(), st.integers(0, 255))
def test_every_consistency_proof_holds_and_no_change_of_one_bit_does(
    new: int, data: st.DataObject, bit: int
) -> None:
    old = data.draw(st.integers(1, new))
    reads = Reads()
    proof = merkle.consistency_proof(old, new, reads)
    roots = merkle.root_at(old, Reads()), merkle.root_at(new, Reads())
    assert reads.calls <= 1
    assert merkle.verify_consistency(old, new, *roots, proof)
    assert not merkle.verify_consistency(old, new, one_bit_off(roots[0], bit), roots[1], proof)
    assert not merkle.verify_consistency(old, new, roots[0], one_bit_off(roots[1], bit), proof)
    for number, one in enumerate(proof):
        spoilt = [*proof[:number], one_bit_off(one, bit), *proof[number + 1 :]]
        assert not merkle.verify_consistency(old, new, *roots, spoilt)
        assert not merkle.verify_consistency(old, new, *roots, proof[:number] + proof[number + 1 :])
    assert not merkle.verify_consistency(old, new, *roots, [*proof, roots[1]])
    if old != new:
        assert not merkle.verify_consistency(new, old, roots[1], roots[0], proof)


@given(st.integers(1, 2**60), st.data())
def test_proofs_in_huge_trees_name_few_subtrees_and_all_of_them_complete(
    size: int, data: st.DataObject
) -> None:
    position = data.draw(st.integers(0, size - 1))
    old = data.draw(st.integers(1, size))
    for path in (merkle.inclusion_path(position, size), merkle.consistency_path(old, size)):
        wanted = [place for fold in path for place in fold]
        assert len(wanted) <= 2 * size.bit_length()
        assert all(
            merkle.post_order_number(level, index) < merkle.complete_subtrees(size) for level, index in wanted
        )


@pytest.mark.parametrize(("position", "size"), [(0, 0), (1, 1), (-1, 3), (3, 3)])
def test_a_leaf_that_is_not_there_has_no_proof(position: int, size: int) -> None:
    reads: Read = Reads()
    with pytest.raises(ValueError, match="no leaf"):
        merkle.inclusion_proof(position, size, reads)
    assert not merkle.verify_inclusion(position, size, LEAVES[0], [], LEAVES[0])


@pytest.mark.parametrize(("old", "new"), [(0, 0), (0, 1), (2, 1), (-1, 1)])
def test_sizes_between_which_nothing_can_be_proven_are_refused(old: int, new: int) -> None:
    with pytest.raises(ValueError, match="no consistency proof"):
        merkle.consistency_proof(old, new, Reads())
    assert not merkle.verify_consistency(old, new, LEAVES[0], LEAVES[0], [])
