"""What can happen to a whole log: entries dropped, swapped, repeated, changed; the log cut or rewritten; the clock."""

from __future__ import annotations

import dataclasses

import pytest
from tests.packets.worked_example import Log, shop_key, worked_job

from samestone.custody import chain, receipt


@pytest.fixture(name="log")
def whole_log() -> Log:
    return worked_job()[0]


def codes(entries: list[chain.Entry]) -> set[str]:
    return {problem.code for problem in chain.check_entries(entries)}


def test_a_good_log_has_no_problem(log: Log) -> None:
    assert chain.check_entries(log.entries) == ()


def test_dropped_swapped_repeated_put_in(log: Log) -> None:
    entries = log.entries
    for place in range(len(entries) - 1):
        assert codes(entries[:place] + entries[place + 1 :]) == {"number", "link"}
        swapped = [*entries[:place], entries[place + 1], entries[place], *entries[place + 2 :]]
        assert {"number", "link"} <= codes(swapped)
        assert {"number", "link"} <= codes([*entries[: place + 1], *entries[place:]])


@pytest.mark.parametrize("field", ["at", "kind", "subject", "payload_digest"])
def test_any_field_changed_is_noticed_by_the_entry_after_it(log: Log, field: str) -> None:
    other = {"at": "2026-03-02T09:04:30Z", "kind": "x", "subject": "y", "payload_digest": "0" * 64}[field]
    entries = log.entries
    entries[4] = dataclasses.replace(entries[4], **{field: other})
    problems = chain.check_entries(entries)
    assert [(problem.code, problem.where) for problem in problems] == [("link", "entry 5")]


def test_a_log_cut_at_its_end_passes_alone_and_fails_the_receipt(log: Log) -> None:
    last = log.receipt(log.entries[-1])
    shorter = log.entries[:-1]
    assert chain.check_entries(shorter) == ()
    assert [p.code for p in receipt.check_receipt(last, [e.digest for e in shorter])] == ["shortened"]


def test_a_log_rewritten_whole_passes_alone_and_fails_the_receipt(log: Log) -> None:
    given = log.receipt(log.entries[6])
    again = Log([])
    for item in log.logged:
        payload = item.payload if item.entry.number != 2 else {"photographs": []}
        again.append(item.entry.kind, item.entry.subject, payload)
    assert chain.check_entries(again.entries) == ()
    assert receipt.check_receipt(given, log.digests) == ()
    assert [p.code for p in receipt.check_receipt(given, again.digests)] == ["rewritten"]
    short = receipt.read_receipt(given.printed)
    assert receipt.check_receipt(short, log.digests) == ()
    assert [p.code for p in receipt.check_receipt(short, again.digests)] == ["rewritten"]


def test_a_clock_set_back_is_said_and_breaks_nothing(log: Log) -> None:
    late = chain.next_entry(
        log.entries[-1], at="2026-03-01T00:00:00Z", kind="note", subject="shop", payload={}, salt=bytes(32)
    )
    problems = chain.check_entries([*log.entries, late])
    assert [(problem.code, problem.breaks) for problem in problems] == [("clock", False)]


def test_a_receipt_cannot_be_issued_for_an_entry_that_is_not_there(log: Log) -> None:
    stranger = dataclasses.replace(log.entries[3], kind="another")
    with pytest.raises(ValueError, match="is not in this log"):
        receipt.issue_receipt(stranger, log.digests, at=stranger.at, key_fingerprint=shop_key().fingerprint)
