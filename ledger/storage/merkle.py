"""The Merkle tree over the events, as RFC 6962 section 2.1 defines it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from hashlib import sha256

EMPTY_ROOT = sha256(b"").digest()
"""The root of a tree with no leaves."""


def leaf_hash(data: bytes) -> bytes:
    """Give the 32 bytes that stand for one entry: SHA-256(00 || data)."""
    return sha256(b"\x00" + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Give the hash of a node over its two children: SHA-256(01 || left || right)."""
    return sha256(b"\x01" + left + right).digest()


@dataclass(frozen=True, slots=True)
class Frontier:
    """What must be kept of a tree to go on appending: the roots of its perfect subtrees.

    `nodes` stand largest subtree first, one for each 1 in the binary form of `size`.
    """

    size: int = 0
    nodes: tuple[bytes, ...] = ()

    def __post_init__(self) -> None:
        if self.size < 0 or len(self.nodes) != self.size.bit_count():
            raise ValueError(f"{len(self.nodes)} nodes are no frontier of {self.size} leaves")
        if any(len(node) != 32 for node in self.nodes):
            raise ValueError("a node of a frontier is not 32 bytes long")

    def append(self, leaf: bytes) -> Frontier:
        """Give the frontier with one more leaf; `leaf` is its leaf hash."""
        return self.extend((leaf,))

    def extend(self, leaves: Iterable[bytes]) -> Frontier:
        """Give the frontier with these leaf hashes appended in order."""
        size, nodes = self.size, list(self.nodes)
        for leaf in leaves:
            node, carry = leaf, size
            while carry & 1:
                node = node_hash(nodes.pop(), node)
                carry >>= 1
            nodes.append(node)
            size += 1
        return Frontier(size, tuple(nodes))

    def root(self) -> bytes:
        """Give the root of the whole tree: 32 bytes."""
        if not self.nodes:
            return EMPTY_ROOT
        root = self.nodes[-1]
        for node in reversed(self.nodes[:-1]):
            root = node_hash(node, root)
        return root

    def to_hex(self) -> str:
        """Give the nodes as hexadecimal digits, 64 each, largest subtree first."""
        return b"".join(self.nodes).hex()

    @classmethod
    def from_hex(cls, size: int, digits: str) -> Frontier:
        """Give back what `to_hex` wrote; ValueError if it is no frontier of that size."""
        joined = bytes.fromhex(digits)
        return cls(size, tuple(joined[at : at + 32] for at in range(0, len(joined), 32)))
