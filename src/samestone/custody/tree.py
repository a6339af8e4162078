"""The Merkle tree over the log: one root for all entries, and short proofs about it.

Leaves and roots are SHA-256 digests in lower-case hexadecimal; a leaf is ``Entry.digest``, that is
SHA-256(0x00 || canonical entry). Source: RFC 9162 (Certificate Transparency 2.0), section 2.1.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence

HEX_DIGITS = 64


def leaf_digest(data: bytes) -> str:
    """SHA-256(0x00 || data) (RFC 9162, 2.1.1)."""
    return hashlib.sha256(b"\x00" + data).hexdigest()


def tree_root(digests: Sequence[str]) -> str:
    """The root over leaf digests in order; SHA-256 of nothing for an empty log (RFC 9162, 2.1.1)."""
    return _root([bytes.fromhex(digest) for digest in digests]).hex()


def inclusion_proof(digests: Sequence[str], number: int) -> tuple[str, ...]:
    """The proof that leaf ``number`` is in the tree over ``digests`` (RFC 9162, 2.1.3.1); refuses a leaf not there."""
    return inclusion_proofs(digests, [number])[0]


def inclusion_proofs(digests: Sequence[str], numbers: Sequence[int]) -> list[tuple[str, ...]]:
    """The same for several leaves, hashing the tree once."""
    for number in numbers:
        if not 0 <= number < len(digests):
            raise ValueError(f"entry {number} is not in a log of {len(digests)} entries; entries count from 0")
    levels = _levels([bytes.fromhex(digest) for digest in digests])
    return [tuple(_siblings(levels, number)) for number in numbers]


def consistency_proof(digests: Sequence[str], size: int) -> tuple[str, ...]:
    """The proof that the first ``size`` leaves still open the tree over ``digests`` (RFC 9162, 2.1.4.1)."""
    if not 0 < size <= len(digests):
        raise ValueError(f"a log of {len(digests)} entries has no earlier state of {size} entries")
    leaves = [bytes.fromhex(digest) for digest in digests]
    return tuple(node.hex() for node in _subproof(size, leaves, complete=True))


def verify_inclusion(digest: str, number: int, proof: Sequence[str], *, size: int, root: str) -> bool:
    """Whether ``proof`` shows that leaf ``number`` is in the tree of ``size`` and ``root`` (RFC 9162, 2.1.3.2)."""
    if not 0 <= number < size or not _are_digests(digest, root, *proof):
        return False
    place, last = number, size - 1
    node = bytes.fromhex(digest)
    for sibling in map(bytes.fromhex, proof):
        if last == 0:
            return False
        if place % 2 or place == last:
            node = _parent(sibling, node)
            while place % 2 == 0 and place:
                place, last = place >> 1, last >> 1
        else:
            node = _parent(node, sibling)
        place, last = place >> 1, last >> 1
    return last == 0 and node.hex() == root


def verify_consistency(proof: Sequence[str], *, size: int, root: str, later_size: int, later_root: str) -> bool:
    """Whether ``proof`` shows that the later tree begins with the whole earlier one (RFC 9162, 2.1.4.2)."""
    if not 0 < size <= later_size or not _are_digests(root, later_root, *proof):
        return False
    if size == later_size:
        return not proof and root == later_root
    nodes = [bytes.fromhex(node) for node in proof]
    if size & (size - 1) == 0:
        nodes.insert(0, bytes.fromhex(root))
    place, last = size - 1, later_size - 1
    while place % 2:
        place, last = place >> 1, last >> 1
    return bool(nodes) and _replay(nodes, place, last) == (root, later_root)


def _replay(nodes: Sequence[bytes], place: int, last: int) -> tuple[str, str] | None:
    earlier = later = nodes[0]
    for node in nodes[1:]:
        if last == 0:
            return None
        if place % 2 or place == last:
            earlier, later = _parent(node, earlier), _parent(node, later)
            while place % 2 == 0 and place:
                place, last = place >> 1, last >> 1
        else:
            later = _parent(later, node)
        place, last = place >> 1, last >> 1
    return (earlier.hex(), later.hex()) if last == 0 else None


def _parent(left: bytes, right: bytes) -> bytes:
    return hashlib.sha256(b"\x01" + left + right).digest()


def _root(leaves: Sequence[bytes]) -> bytes:
    return _levels(leaves)[-1][0] if leaves else hashlib.sha256(b"").digest()


def _levels(leaves: Sequence[bytes]) -> list[list[bytes]]:
    """The tree from its leaves up to its root; a last odd node moves up as it is, as in the recursive definition."""
    levels = [list(leaves)]
    while len(levels[-1]) > 1:
        below = levels[-1]
        odd = below[-1:] if len(below) % 2 else []
        levels.append([_parent(left, right) for left, right in zip(below[::2], below[1::2], strict=False)] + odd)
    return levels


def _siblings(levels: Sequence[Sequence[bytes]], number: int) -> Iterator[str]:
    """What stands beside the leaf's ancestors, from below; a node that moved up alone has nothing beside it."""
    for level in levels[:-1]:
        if (beside := number ^ 1) < len(level):
            yield level[beside].hex()
        number >>= 1


def _split(count: int) -> int:
    """The largest power of two smaller than ``count``."""
    return 1 << (count - 1).bit_length() - 1


def _subproof(size: int, leaves: Sequence[bytes], *, complete: bool) -> list[bytes]:
    if size == len(leaves):
        return [] if complete else [_root(leaves)]
    half = _split(len(leaves))
    if size <= half:
        return [*_subproof(size, leaves[:half], complete=complete), _root(leaves[half:])]
    return [*_subproof(size - half, leaves[half:], complete=False), _root(leaves[:half])]


def _are_digests(*texts: str) -> bool:
    return all(len(text) == HEX_DIGITS and set(text) <= set("0123456789abcdef") for text in texts)
