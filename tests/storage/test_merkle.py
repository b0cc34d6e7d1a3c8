import random

import pymerkle
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.storage.merkle import Frontier, leaf_hash, node_hash

# Leaf inputs and roots of the certificate-transparency reference tests (RFC 6962 section 2.1),
# as kept in the test data of the public `merkle` library of transparency-dev.
LEAVES = [
    bytes.fromhex(text)
    for text in (
        *("", "00", "10", "2021", "3031", "40414243"),
        *("5051525354555657", "606162636465666768696a6b6c6d6e6f"),
    )
]
ROOTS = {
    0: "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    1: "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    2: "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    3: "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    4: "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    5: "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    8: "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
}
# The published inclusion proof of leaf 0 in the tree of 8.
PROOF_OF_0_IN_8 = [
    "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
    "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
    "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
]


def frontier_of(entries):
    return Frontier().extend(leaf_hash(entry) for entry in entries)


@pytest.mark.parametrize(("size", "root"), ROOTS.items())
def test_roots_are_those_of_the_reference_tests(size, root):
    """The first leaves of the reference tests give their published roots."""
    assert frontier_of(LEAVES[:size]).root().hex() == root


def test_nodes_hash_as_the_published_proof_says():
    """Leaf 0 with its three published siblings gives the published root of 8."""
    node = leaf_hash(LEAVES[0])
    for sibling in PROOF_OF_0_IN_8:
        node = node_hash(node, bytes.fromhex(sibling))
    assert node.hex() == ROOTS[8]


def test_roots_of_random_sizes_agree_with_pymerkle():
    """At every size up to 300, a tree of random entries has the root the pymerkle package gives."""
    rng = random.Random(6962)
    tree, frontier = pymerkle.InmemoryTree(algorithm="sha256"), Frontier()
    for size in range(1, 301):
        entry = rng.randbytes(rng.randrange(0, 60))
        tree.append_entry(entry)
        frontier = frontier.append(leaf_hash(entry))
        assert frontier.size == size
        assert frontier.root() == tree.get_root(size), size


@given(st.lists(st.binary(max_size=8), max_size=40), st.integers(0, 40))
def test_appending_in_two_goes_is_appending_in_one(entries, cut):
    """Where a frontier is kept and taken up again does not show in the root."""
    kept = frontier_of(entries[:cut])
    again = Frontier.from_hex(kept.size, kept.to_hex())
    assert again.extend(map(leaf_hash, entries[cut:])) == frontier_of(entries)


@pytest.mark.parametrize(
    ("size", "digits"), [(1, ""), (3, "00" * 32), (2, "00" * 64), (1, "00" * 31), (-1, "00" * 32)]
)
def test_what_is_no_frontier_is_refused(size, digits):
    """Nodes that do not fit the size, or are not 32 bytes, raise ValueError."""
    with pytest.raises(ValueError, match="frontier"):
        Frontier.from_hex(size, digits)
