"""The Merkle log: one head over everything recorded, and short proofs that something is in it and nothing was changed.

RFC 6962 (and RFC 9162, section 2.1): a leaf is SHA-256(0x00 ‖ data), a node SHA-256(0x01 ‖ left ‖ right); a tree of n
leaves splits at the largest power of two below n. Without the two prefixes a node could be passed off as a leaf.
"""

import hashlib
from collections.abc import Sequence

from custody.calc.refusals import Refused

HASH_BYTES = 32
EMPTY = hashlib.sha256(b"").digest()


def leaf_hash(data: bytes) -> bytes:
    """The hash of one record."""
    return hashlib.sha256(b"\x00" + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """The hash over two subtrees."""
    return hashlib.sha256(b"\x01" + left + right).digest()


def root(leaves: Sequence[bytes]) -> bytes:
    """The head of a log by its leaf hashes, the oldest first."""
    if not leaves:
        return EMPTY
    if len(leaves) == 1:
        return leaves[0]
    split = _split(len(leaves))
    return node_hash(root(leaves[:split]), root(leaves[split:]))


def inclusion_proof(leaves: Sequence[bytes], index: int) -> list[bytes]:
    """The hashes that lead from a leaf (counted from 0) to the head. Raises Refused for a leaf that is not there."""
    if not 0 <= index < len(leaves):
        raise Refused(f"The log has {len(leaves)} records; there is no number {index}.", field="index")
    if len(leaves) == 1:
        return []
    split = _split(len(leaves))
    if index < split:
        return [*inclusion_proof(leaves[:split], index), root(leaves[split:])]
    return [*inclusion_proof(leaves[split:], index - split), root(leaves[:split])]


def consistency_proof(leaves: Sequence[bytes], size: int) -> list[bytes]:
    """The hashes that show that the first ``size`` leaves are their beginning. Raises Refused outside 1 to all."""
    if not 1 <= size <= len(leaves):
        raise Refused(f"A log of {len(leaves)} records did not begin with {size}.", field="size")
    return _subproof(leaves, size, whole=True)


def included(leaf: bytes, index: int, size: int, proof: Sequence[bytes], head: bytes) -> bool:
    """Whether a proof shows that a leaf hash stands at ``index`` of the log of ``size`` records with this head."""
    if not 0 <= index < size or not _are_hashes(leaf, head, *proof):
        return False
    reached, number, last = leaf, index, size - 1
    for step in proof:
        if last == 0:
            return False
        if number & 1 or number == last:
            reached = node_hash(step, reached)
            while not number & 1 and number:
                number, last = number >> 1, last >> 1
        else:
            reached = node_hash(reached, step)
        number, last = number >> 1, last >> 1
    return last == 0 and reached == head


def consistent(size: int, head: bytes, later_size: int, later_head: bytes, proof: Sequence[bytes]) -> bool:
    """Whether a proof shows that a log with the later head began with the one of ``size`` records and its head.

    An empty log is the beginning of nothing: every head would agree with it.
    """
    if not 1 <= size <= later_size or not _are_hashes(head, later_head, *proof):
        return False
    if size == later_size:
        return not proof and head == later_head
    steps = list(proof) if size & (size - 1) else [head, *proof]
    if not steps:
        return False
    number, last = size - 1, later_size - 1
    while number & 1:
        number, last = number >> 1, last >> 1
    old = new = steps[0]
    for step in steps[1:]:
        if last == 0:
            return False
        if number & 1 or number == last:
            old, new = node_hash(step, old), node_hash(step, new)
            while not number & 1 and number:
                number, last = number >> 1, last >> 1
        else:
            new = node_hash(new, step)
        number, last = number >> 1, last >> 1
    return last == 0 and old == head and new == later_head


def _subproof(leaves: Sequence[bytes], size: int, *, whole: bool) -> list[bytes]:
    if size == len(leaves):
        return [] if whole else [root(leaves)]
    split = _split(len(leaves))
    if size <= split:
        return [*_subproof(leaves[:split], size, whole=whole), root(leaves[split:])]
    return [*_subproof(leaves[split:], size - split, whole=False), root(leaves[:split])]


def _split(count: int) -> int:
    return 1 << (count - 1).bit_length() - 1


def _are_hashes(*values: bytes) -> bool:
    return all(isinstance(value, bytes) and len(value) == HASH_BYTES for value in values)
