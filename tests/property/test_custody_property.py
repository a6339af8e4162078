"""Laws of custody that hold for any value, any log and any packet."""

from __future__ import annotations

import json
from typing import Any

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from samestone.custody import archive, canonical, chain, key, receipt, tree

NAMES = st.text(st.characters(codec="utf-8"), max_size=8)
VALUES: st.SearchStrategy[Any] = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | NAMES,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(NAMES, inner, max_size=4),
    max_leaves=12,
)
DIGESTS = st.lists(st.binary(max_size=4).map(tree.leaf_digest), min_size=1, max_size=40)


@given(VALUES)
@settings(max_examples=50)
def test_canonical_bytes_are_read_back_and_are_the_only_ones(value: Any) -> None:
    written = canonical.canonical_bytes(value)
    assert canonical.read_canonical(written) == value
    loose = json.dumps(value, indent=1).encode()
    if loose != written:
        with pytest.raises(canonical.NotCanonical):
            canonical.read_canonical(loose)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_decimal_strings_keep_six_digits_and_settle(number: float) -> None:
    written = canonical.decimal_strings(number)
    assert float(written) == pytest.approx(number, rel=5.1e-6, abs=0)
    assert "e" not in written.lower()
    assert canonical.decimal_strings(float(written)) == written


@given(DIGESTS, st.data())
@settings(max_examples=60)
def test_proofs_hold_for_their_own_place_and_no_other(digests: list[str], data: st.DataObject) -> None:
    size, root = len(digests), tree.tree_root(digests)
    number = data.draw(st.integers(0, size - 1))
    proof = tree.inclusion_proof(digests, number)
    assert tree.verify_inclusion(digests[number], number, proof, size=size, root=root)
    assert not tree.verify_inclusion("00" * 32, number, proof, size=size, root=root)
    assert not tree.verify_inclusion(digests[number], number, (*proof, root), size=size, root=root)
    assert not tree.verify_inclusion(digests[number], size, proof, size=size, root=root)
    other = data.draw(st.integers(0, size - 1))
    if digests[other] != digests[number]:
        assert not tree.verify_inclusion(digests[other], number, proof, size=size, root=root)


@given(DIGESTS, st.data())
@settings(max_examples=60)
def test_a_rewritten_past_is_not_consistent(digests: list[str], data: st.DataObject) -> None:
    size = data.draw(st.integers(1, len(digests)))
    states = {"size": size, "later_size": len(digests)}
    proof = tree.consistency_proof(digests, size)
    root, later = tree.tree_root(digests[:size]), tree.tree_root(digests)
    assert tree.verify_consistency(proof, root=root, later_root=later, **states)
    place = data.draw(st.integers(0, size - 1))
    rewritten = [*digests[:place], "ab" * 32, *digests[place + 1 :]]
    forged = tree.consistency_proof(rewritten, size)
    for attempt in (proof, forged, forged[1:], ()):
        assert not tree.verify_consistency(attempt, root=root, later_root=tree.tree_root(rewritten), **states)


@given(st.lists(st.tuples(st.sampled_from(["taken in", "bench"]), VALUES), min_size=1, max_size=8), st.data())
@settings(max_examples=60)
def test_any_log_holds_and_no_change_to_it_does(events: list[tuple[str, Any]], data: st.DataObject) -> None:
    entries: list[chain.Entry] = []
    for minute, (kind, payload) in enumerate(events):
        at = f"2026-03-02T09:{minute:02}:00Z"
        last = entries[-1] if entries else None
        entries.append(chain.next_entry(last, at=at, kind=kind, subject="job", payload=payload, salt=bytes(32)))
    assert chain.check_entries(entries) == ()
    digests = [entry.digest for entry in entries]
    held = receipt.issue_receipt(entries[-1], digests, at=entries[-1].at, key_fingerprint="ab" * 32)
    assert receipt.check_receipt(held, digests) == ()
    place = data.draw(st.integers(0, len(entries) - 1))
    shorter = digests[:place] + digests[place + 1 :]
    assert receipt.check_receipt(held, shorter) != ()


@given(st.integers(0, 10**12), st.binary(min_size=32, max_size=32), st.sampled_from([" ", "-", ". ", " / "]))
def test_a_printed_receipt_is_read_whatever_stands_between_its_groups(number: int, digest: bytes, between: str) -> None:
    short = receipt.ShortReceipt(number, digest.hex()[:32])
    assert receipt.read_receipt(short.printed.upper().replace("-", between)) == short


@given(st.integers(0, 10**6), st.binary(min_size=32, max_size=32), st.data())
@settings(derandomize=True)
def test_a_slip_of_the_pen_is_called_one(number: int, digest: bytes, data: st.DataObject) -> None:
    """Any one digit wrong. The check group has 16 bits: about one slip in 65,536 passes, none of those tried here."""
    printed = receipt.ShortReceipt(number, digest.hex()[:32]).printed
    first = printed.index("-") + 1
    places = [place for place in range(first, len(printed)) if printed[place] != "-"]
    place = data.draw(st.sampled_from(places))
    wrong = data.draw(st.sampled_from([digit for digit in "0123456789abcdef" if digit != printed[place]]))
    with pytest.raises(receipt.BadReceipt, match="mistyped"):
        receipt.read_receipt(printed[:place] + wrong + printed[place + 1 :])


@given(st.dictionaries(st.from_regex(r"[a-z]{1,6}(/[a-z]{1,6})?", fullmatch=True), st.binary(max_size=40), min_size=1))
def test_an_archive_is_read_back(files: dict[str, bytes]) -> None:
    found = archive.read_archive(archive.write_archive(files))
    assert (dict(found.files), found.damaged, found.as_written) == (files, (), True)


@given(st.binary(max_size=300))
def test_no_bytes_do_worse_than_be_refused(data: bytes) -> None:
    with pytest.raises(archive.BadArchive):
        archive.read_archive(data)


SHOP = key.Key.generate()


@given(st.binary(max_size=50), st.binary(max_size=50))
@settings(max_examples=30)
def test_a_signature_is_for_its_data_only(data: bytes, other: bytes) -> None:
    raw = SHOP.sign(data).raw
    assert key.verify_signature(SHOP.public_pem, raw, data)
    assert key.verify_signature(SHOP.public_pem, raw, other) == (data == other)
    assert not key.verify_signature(SHOP.public_pem, raw[:-1], data)
