"""Proofs over the Merkle tree: that an event is in it, and that it only grew.

Made as RFC 6962 sections 2.1.1 and 2.1.2 define them, checked as RFC 9162 sections 2.1.3.2 and
2.1.4.2 do. Hashes are 32 bytes; indices count from 0.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from ledger.storage.merkle import EMPTY_ROOT, node_hash

Node = Callable[[int, int], bytes]
"""(level, number) -> the root of the perfect subtree over leaves number·2^level and on, 2^level
of them; level 0 are the leaf hashes."""


def root_of(size: int, node: Node) -> bytes:
    """Give the root of the first `size` leaves."""
    return _range_root(0, size, node) if size else EMPTY_ROOT


def inclusion_path(index: int, size: int, node: Node) -> list[bytes]:
    """Give the audit path of a leaf in the tree of `size` leaves, nearest sibling first.

    Raises ValueError where there is no such leaf.
    """
    if not 0 <= index < size:
        raise ValueError(f"leaf {index} is not among {size}")
    path: list[bytes] = []
    low, high = 0, size
    while high - low > 1:
        middle = low + _split(high - low)
        if index < middle:
            path.append(_range_root(middle, high, node))
            high = middle
        else:
            path.append(_range_root(low, middle, node))
            low = middle
    return path[::-1]


def consistency_path(old: int, new: int, node: Node) -> list[bytes]:
    """Give the proof that the tree of `new` leaves begins with the tree of `old`.

    Empty where both are the same tree, or the old one is empty. Raises ValueError where the old
    one is larger.
    """
    if not 0 <= old <= new:
        raise ValueError(f"a tree of {new} leaves does not begin with one of {old}")
    if old in (0, new):
        return []
    path: list[bytes] = []
    low, high, is_whole = 0, new, True
    while old != high:
        middle = low + _split(high - low)
        if old <= middle:
            path.append(_range_root(middle, high, node))
            high = middle
        else:
            path.append(_range_root(low, middle, node))
            low, is_whole = middle, False
    if not is_whole:
        path.append(_range_root(low, high, node))
    return path[::-1]


def check_inclusion(leaf: bytes, index: int, size: int, path: Sequence[bytes], root: bytes) -> bool:
    """Tell whether a path leads from a leaf hash to the root of a tree of `size` leaves."""
    if not 0 <= index < size:
        return False
    place, last, found = index, size - 1, leaf
    for sibling in path:
        if last == 0:
            return False
        if place & 1 or place == last:
            found = node_hash(sibling, found)
            while not place & 1 and place:
                place, last = place >> 1, last >> 1
        else:
            found = node_hash(found, sibling)
        place, last = place >> 1, last >> 1
    return last == 0 and found == root


def check_consistency(
    old: int, old_root: bytes, new: int, new_root: bytes, path: Sequence[bytes]
) -> bool:
    """Tell whether a path shows that the tree of the new root begins with that of the old one."""
    if not 0 <= old <= new:
        return False
    if old in (0, new):
        return not path and old_root == (EMPTY_ROOT if old == 0 else new_root)
    if not path:
        return False
    steps = [old_root, *path] if old & (old - 1) == 0 else list(path)
    place, last = old - 1, new - 1
    while place & 1:
        place, last = place >> 1, last >> 1
    first = second = steps[0]
    for sibling in steps[1:]:
        if last == 0:
            return False
        if place & 1 or place == last:
            first, second = node_hash(sibling, first), node_hash(sibling, second)
            while not place & 1 and place:
                place, last = place >> 1, last >> 1
        else:
            second = node_hash(second, sibling)
        place, last = place >> 1, last >> 1
    return last == 0 and (first, second) == (old_root, new_root)


def _split(count: int) -> int:
    """Give the largest power of two below a count of 2 or more."""
    return 1 << ((count - 1).bit_length() - 1)


def _range_root(low: int, high: int, node: Node) -> bytes:
    """Give the root over leaves low to high; low divides by the power of two that holds them."""
    count = high - low
    if count & (count - 1) == 0:
        level = count.bit_length() - 1
        return node(level, low >> level)
    middle = low + _split(count)
    return node_hash(_range_root(low, middle, node), _range_root(middle, high, node))
