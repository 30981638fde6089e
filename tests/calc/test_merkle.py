"""The Merkle log against the published vectors, and proofs that stand for what they show and for nothing else."""

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc import merkle
from custody.calc.refusals import Refused

PUBLISHED = json.loads((Path(__file__).parents[2] / "fixtures/published/merkle.json").read_text())
LEAVES = [merkle.leaf_hash(bytes.fromhex(data)) for data in PUBLISHED["leaves"]]


@pytest.mark.parametrize(("size", "head"), PUBLISHED["roots"].items())
def test_published_heads(size, head):
    assert merkle.root(LEAVES[: int(size)]).hex() == head


def logs(least=1):
    return st.lists(st.binary(max_size=3), min_size=least, max_size=40).map(
        lambda records: [merkle.leaf_hash(record) for record in records]
    )


@given(logs(), st.data())
def test_a_proof_of_inclusion_holds_for_its_leaf_alone(leaves, data):
    index = data.draw(st.integers(0, len(leaves) - 1))
    proof, head = merkle.inclusion_proof(leaves, index), merkle.root(leaves)
    assert merkle.included(leaves[index], index, len(leaves), proof, head)
    assert len(proof) <= (len(leaves) - 1).bit_length()
    assert not merkle.included(merkle.leaf_hash(b"other"), index, len(leaves), proof, head)
    assert not merkle.included(leaves[index], index, len(leaves), [*proof, head], head)
    for at in range(len(proof)):
        damaged = [*proof[:at], bytes(32), *proof[at + 1 :]]
        assert not merkle.included(leaves[index], index, len(leaves), damaged, head)


@given(logs(), st.data())
def test_a_proof_of_consistency_shows_the_beginning(leaves, data):
    size = data.draw(st.integers(1, len(leaves)))
    proof, old, new = merkle.consistency_proof(leaves, size), merkle.root(leaves[:size]), merkle.root(leaves)
    assert merkle.consistent(size, old, len(leaves), new, proof)
    changed = [merkle.leaf_hash(b"changed"), *leaves[1:]]
    assert not merkle.consistent(size, merkle.root(changed[:size]), len(leaves), new, proof)
    assert not merkle.consistent(size, old, len(leaves), merkle.root(changed), proof)
    for at in range(len(proof)):
        assert not merkle.consistent(size, old, len(leaves), new, [*proof[:at], bytes(32), *proof[at + 1 :]])


@given(logs(2), st.data())
def test_a_reordered_log_has_another_head(leaves, data):
    one = data.draw(st.integers(0, len(leaves) - 2))
    swapped = [*leaves[:one], leaves[one + 1], leaves[one], *leaves[one + 2 :]]
    assert (merkle.root(swapped) == merkle.root(leaves)) == (leaves[one] == leaves[one + 1])


def test_what_is_no_hash_proves_nothing():
    head = merkle.root(LEAVES)
    proof = merkle.inclusion_proof(LEAVES, 3)
    assert not merkle.included(LEAVES[3][:31], 3, 8, proof, head)
    assert not merkle.included(LEAVES[3], 3, 8, [*proof[:-1], proof[-1] + b"\0"], head)
    assert not merkle.included(LEAVES[3], 8, 8, proof, head)
    assert not merkle.included(LEAVES[3], -1, 8, proof, head)


def test_the_empty_log_is_the_beginning_of_nothing():
    assert not merkle.consistent(0, merkle.EMPTY, 8, merkle.root(LEAVES), [])
    with pytest.raises(Refused) as caught:
        merkle.consistency_proof(LEAVES, 0)
    assert caught.value.field == "size"
    with pytest.raises(Refused) as caught:
        merkle.inclusion_proof(LEAVES, 8)
    assert caught.value.field == "index"
