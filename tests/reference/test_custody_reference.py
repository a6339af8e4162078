"""Published vectors: RFC 8785, RFC 6962/9162 trees, an RFC 6979 signature; pymerkle as an oracle for proofs."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pymerkle
import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from pymerkle import InmemoryTree

from samestone.custody import canonical, key, tree

VECTORS = tomllib.loads((Path(__file__).parents[2] / "authorities" / "custody-vectors.toml").read_text("utf-8"))


def test_rfc_8785_strings_and_literals() -> None:
    """RFC 8785, 3.2.2, without the numbers member, which holds fractions: those are refused here."""
    given = json.loads(VECTORS["rfc8785"]["sample_input"])
    with pytest.raises(canonical.NotCanonical, match=r"numbers\[0\] is the float"):
        canonical.canonical_bytes(given)
    del given["numbers"]
    expected = VECTORS["rfc8785"]["sample_output_literals"] + b",".hex() + VECTORS["rfc8785"]["sample_output_string"]
    assert canonical.canonical_bytes(given).hex() == expected


def test_rfc_8785_sorts_keys_by_utf_16() -> None:
    """RFC 8785, 3.2.3: the emoji (a surrogate pair) stands before U+FB33."""
    given = json.loads(VECTORS["rfc8785"]["sorting_input"])
    written = canonical.canonical_bytes(given).decode()
    assert list(json.loads(written).values()) == VECTORS["rfc8785"]["sorting_values"]


def test_rfc_8785_appendix_b_numbers_are_integers_or_refused() -> None:
    for written in VECTORS["rfc8785"]["integers"]:
        assert canonical.canonical_bytes(int(written)) == written.encode()
    for fraction in (0.0, -0.0, 5e-324, 333333333.3333332, float("nan"), float("inf")):
        with pytest.raises(canonical.NotCanonical):
            canonical.canonical_bytes(fraction)
    with pytest.raises(canonical.NotCanonical):
        canonical.canonical_bytes(2**53)


LEAVES = [bytes.fromhex(text) for text in VECTORS["transparency"]["leaves"]]
DIGESTS = [tree.leaf_digest(leaf) for leaf in LEAVES]
ROOTS = VECTORS["transparency"]["roots"]


def test_roots_of_the_certificate_transparency_trees() -> None:
    assert tree.tree_root([]) == VECTORS["transparency"]["empty_root"]
    assert DIGESTS[0] == ROOTS[0]
    for size, root in enumerate(ROOTS, start=1):
        assert tree.tree_root(DIGESTS[:size]) == root


@pytest.mark.parametrize("vector", VECTORS["transparency"]["inclusion"])
def test_inclusion_proofs_of_the_certificate_transparency_trees(vector: dict[str, Any]) -> None:
    number, size, proof = vector["leaf"] - 1, vector["size"], tuple(vector["proof"])
    assert tree.inclusion_proof(DIGESTS[:size], number) == proof
    assert tree.verify_inclusion(DIGESTS[number], number, proof, size=size, root=ROOTS[size - 1])


@pytest.mark.parametrize("vector", VECTORS["transparency"]["consistency"])
def test_consistency_proofs_of_the_certificate_transparency_trees(vector: dict[str, Any]) -> None:
    size, later, proof = vector["size"], vector["later"], tuple(vector["proof"])
    assert tree.consistency_proof(DIGESTS[:later], size) == proof
    roots = {"root": ROOTS[size - 1], "later_root": ROOTS[later - 1]}
    assert tree.verify_consistency(proof, size=size, later_size=later, **roots)


def test_pymerkle_makes_the_same_roots_and_inclusion_proofs_and_both_accept_each_consistency() -> None:
    """pymerkle is an implementation of RFC 9162 trees by others.

    It counts leaves from 1, puts the leaf first in an inclusion proof, and cuts consistency proofs its own way.
    """
    oracle = InmemoryTree(algorithm="sha256")
    leaves = [bytes([n]) * (n % 5) for n in range(33)]
    oracle.append_entries(leaves)
    digests = [tree.leaf_digest(leaf) for leaf in leaves]
    roots = [tree.tree_root(digests[:size]) for size in range(34)]
    for size in range(1, 34):
        assert oracle.get_root(size).hex() == roots[size]
        for number in range(size):
            theirs = [node.hex() for node in oracle.prove_inclusion(number + 1, size).path]
            assert theirs == [digests[number], *tree.inclusion_proof(digests[:size], number)]
        for later in range(size, 34):
            pymerkle.verify_consistency(
                bytes.fromhex(roots[size]), bytes.fromhex(roots[later]), oracle.prove_consistency(size, later)
            )
            ours = tree.consistency_proof(digests[:later], size)
            states = {"root": roots[size], "later_size": later, "later_root": roots[later]}
            assert tree.verify_consistency(ours, size=size, **states)


def test_rfc_6979_signature_with_sha_256_on_p_256() -> None:
    """RFC 6979, A.2.5: the signature that the deterministic nonce gives for "sample"."""
    vector = VECTORS["rfc6979"]
    shop = key.Key(ec.derive_private_key(int(vector["private"], 16), ec.SECP256R1()))
    message = vector["message"].encode()
    assert shop.sign(message).raw.hex() == vector["r"] + vector["s"]
    assert key.verify_signature(shop.public_pem, shop.sign(message).raw, message)
    assert not key.verify_signature(shop.public_pem, shop.sign(message).raw, b"another")
