"""Inclusion and consistency proofs: the published ones, pymerkle's, and no other."""

import random

import pymerkle
import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_merkle import LEAVES, PROOF_OF_0_IN_8, ROOTS

from ledger.storage.merkle import EMPTY_ROOT, leaf_hash, node_hash
from ledger.storage.proof import (
    check_consistency,
    check_inclusion,
    consistency_path,
    inclusion_path,
    root_of,
)


def nodes_of(entries):
    """Give the perfect subtrees over these entries, worked out from the leaves every time."""

    def node(level, number):
        if level == 0:
            return leaf_hash(entries[number])
        return node_hash(node(level - 1, 2 * number), node(level - 1, 2 * number + 1))

    return node


REFERENCE = nodes_of(LEAVES)
# Consistency of 2 and 5 leaves in the certificate-transparency reference tests.
PROOF_FROM_2_TO_5 = [
    "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
    "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
]


def hexed(path):
    return [one.hex() for one in path]


@pytest.mark.parametrize(("size", "root"), ROOTS.items())
def test_roots_of_any_size_are_the_published_ones(size, root):
    """From perfect subtrees alone, each prefix of the reference leaves has its published root."""
    assert root_of(size, REFERENCE).hex() == root


def test_the_published_inclusion_proofs():
    """Leaf 0 of 8, leaf 2 of 3 and the only leaf have the paths of the reference tests."""
    assert hexed(inclusion_path(0, 8, REFERENCE)) == PROOF_OF_0_IN_8
    assert hexed(inclusion_path(2, 3, REFERENCE)) == [ROOTS[2]]
    assert inclusion_path(0, 1, REFERENCE) == []


def test_the_published_consistency_proofs():
    """From 1 to 8 and from 2 to 5 leaves, the proofs are those of the reference tests."""
    assert hexed(consistency_path(1, 8, REFERENCE)) == PROOF_OF_0_IN_8
    assert hexed(consistency_path(2, 5, REFERENCE)) == PROOF_FROM_2_TO_5


@pytest.fixture(scope="module")
def grown():
    """Some entries, their subtrees, and the same tree as the pymerkle package keeps it."""
    rng = random.Random(9162)
    entries = [rng.randbytes(rng.randrange(0, 40)) for _ in range(70)]
    tree = pymerkle.InmemoryTree(algorithm="sha256")
    for entry in entries:
        tree.append_entry(entry)
    return entries, nodes_of(entries), tree


def test_inclusion_agrees_with_pymerkle(grown):
    """Its verifier takes our path for every leaf of every size, and ours takes the same."""
    entries, node, tree = grown
    for size in range(1, len(entries) + 1):
        root = tree.get_root(size)
        for index in range(size):
            path = inclusion_path(index, size, node)
            leaf = leaf_hash(entries[index])
            assert check_inclusion(leaf, index, size, path, root), (index, size)
            theirs = tree.prove_inclusion(index + 1, size)
            assert path == theirs.path[1:], (index, size)


def test_consistency_agrees_with_pymerkle(grown):
    """Between any two sizes our proof holds, and leads to the roots pymerkle gives."""
    entries, node, tree = grown
    for new in range(1, len(entries) + 1):
        for old in range(1, new + 1):
            path = consistency_path(old, new, node)
            roots = tree.get_root(old), tree.get_root(new)
            assert check_consistency(old, roots[0], new, roots[1], path), (old, new)
            pymerkle.verify_consistency(*roots, tree.prove_consistency(old, new))


@given(st.data())
def test_no_other_inclusion_proof_holds(data):
    """A flipped bit, another place or size, a hash more or less: none of it leads to the root."""
    size = data.draw(st.integers(1, 40))
    index = data.draw(st.integers(0, size - 1))
    entries = [number.to_bytes(2, "big") for number in range(size)]
    node, leaf = nodes_of(entries), leaf_hash(entries[index])
    root, path = root_of(size, node), inclusion_path(index, size, node)
    assert check_inclusion(leaf, index, size, path, root)
    assert not check_inclusion(flipped(data, leaf), index, size, path, root)
    assert not check_inclusion(leaf, index, size, path, flipped(data, root))
    assert not check_inclusion(leaf, index, size, [*path, leaf], root)
    assert not check_inclusion(leaf, index, size, [leaf, *path], root)
    assert not check_inclusion(leaf, size, size, path, root)
    assert not check_inclusion(leaf, -1, size, path, root)
    for other in set(range(size)) - {index}:
        assert not check_inclusion(leaf, other, size, path, root)
    if path:
        at = data.draw(st.integers(0, len(path) - 1))
        bent = [*path[:at], flipped(data, path[at]), *path[at + 1 :]]
        assert not check_inclusion(leaf, index, size, bent, root)
        assert not check_inclusion(leaf, index, size, path[:-1], root)
        assert not check_inclusion(leaf, index, size, [], root)


@given(st.data())
def test_no_other_consistency_proof_holds(data):
    """A flipped bit, swapped roots, other sizes, a hash more or less: none of it is taken."""
    new = data.draw(st.integers(2, 40))
    old = data.draw(st.integers(1, new - 1))
    node = nodes_of([number.to_bytes(2, "big") for number in range(new)])
    old_root, new_root = root_of(old, node), root_of(new, node)
    path = consistency_path(old, new, node)
    assert check_consistency(old, old_root, new, new_root, path)
    assert not check_consistency(old, new_root, new, old_root, path)
    assert not check_consistency(new, old_root, old, new_root, path)
    assert not check_consistency(old, flipped(data, old_root), new, new_root, path)
    assert not check_consistency(old, old_root, new, flipped(data, new_root), path)
    assert not check_consistency(old, old_root, new, new_root, path[:-1])
    assert not check_consistency(old, old_root, new, new_root, [])
    assert not check_consistency(old, old_root, new, new_root, [*path, old_root])
    assert not check_consistency(old, old_root, new, new_root, [old_root, *path])
    at = data.draw(st.integers(0, len(path) - 1))
    bent = [*path[:at], flipped(data, path[at]), *path[at + 1 :]]
    assert not check_consistency(old, old_root, new, new_root, bent)


def test_the_same_tree_and_the_empty_one_need_no_path():
    """Nothing is asked of a tree that did not grow, and any tree begins with the empty one."""
    one, two = root_of(3, REFERENCE), root_of(4, REFERENCE)
    assert consistency_path(3, 3, REFERENCE) == consistency_path(0, 4, REFERENCE) == []
    assert check_consistency(3, one, 3, one, [])
    assert not check_consistency(3, one, 3, two, [])
    assert not check_consistency(3, one, 3, one, [one])
    assert check_consistency(0, EMPTY_ROOT, 4, two, [])
    assert not check_consistency(0, one, 4, two, [])


@pytest.mark.parametrize(("index", "size"), [(3, 3), (-1, 3), (0, 0)])
def test_a_leaf_that_is_not_there_has_no_path(index, size):
    """A proof of a leaf beyond the tree is refused when it is asked for."""
    with pytest.raises(ValueError, match="not among"):
        inclusion_path(index, size, REFERENCE)


def test_a_tree_does_not_begin_with_a_larger_one():
    """A proof of growth backwards is refused when it is asked for."""
    with pytest.raises(ValueError, match="does not begin"):
        consistency_path(4, 3, REFERENCE)


def flipped(data, digest):
    """Give a hash with one bit of it turned."""
    bit = data.draw(st.integers(0, 255))
    return (int.from_bytes(digest, "big") ^ (1 << bit)).to_bytes(32, "big")
