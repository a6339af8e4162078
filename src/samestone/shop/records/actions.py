"""What the records' pages write. Nothing here changes a finding; a person can be let go, their jobs' evidence stays."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Sequence
from typing import Any

from django.db import transaction

from samestone import gem
from samestone.shop import ledger, vault
from samestone.shop.kinship import same_stones
from samestone.shop.life import NotPossibleNow, Station
from samestone.shop.models import Entry, Job, Member, Person, Stone


class CannotForget(Exception):
    """A client with a piece in the house cannot be forgotten."""


class NotEarlier(Exception):
    """A stone can only be known from a job before this one."""


@transaction.atomic
def recognise_stone(stone: Stone, earlier: Stone, *, at: dt.datetime, by: Member) -> Entry:
    """Says that a stone is the one of an earlier job; whether the records agree is for the page to show."""
    if earlier.job.opened_at >= stone.job.opened_at:
        raise NotEarlier(f"{earlier.job.envelope} was not before {stone.job.envelope}.")
    if earlier in same_stones(stone):
        raise NotEarlier("It is known to be that one already.")
    details = {"stone": stone.pk, "earlier": earlier.pk, "earlier_job": earlier.job.envelope}
    return ledger.append("stone known from before", about=stone.job, at=at, by=by, details=details)


@transaction.atomic
def balance_grams(job: Job, items: Sequence[gem.metal.Item], *, at: dt.datetime, by: Member) -> gem.metal.Balance:
    """What came to the bench against what left it; written down whether it closes or not."""
    balance = gem.metal.balance_repair(items)
    details = {
        "items": [[item.what, item.way, f"{item.grams:g}", f"{item.u:g}"] for item in items],
        "missing_g": f"{balance.missing_g:.3f}",
        "u": f"{balance.u:.3f}",
        "closes": balance.closes,
        "sentence": balance.sentence,
    }
    ledger.append("grams balanced", about=job, at=at, by=by, details=details)
    return balance


@transaction.atomic
def note_attempt(job: Job, *, how: str, words: str, at: dt.datetime, by: Member) -> Entry:
    """The client was reminded that the piece is ready: how, and what came of it."""
    if job.station == Station.PICKED_UP.value:
        raise NotPossibleNow("It has been picked up.")
    return ledger.append("client reminded", about=job, at=at, by=by, details={"how": how, "words": words})


@transaction.atomic
def note_export(job: Job, content: bytes, *, to: str, reference: str, at: dt.datetime, by: Member) -> Entry:
    """A copy left the shop: for whom, under which reference, and its digest."""
    details = {"to": to, "reference": reference, "sha256": hashlib.sha256(content).hexdigest()}
    return ledger.append("record exported", about=job, at=at, by=by, details=details)


@transaction.atomic
def forget_person(person: Person, *, at: dt.datetime, by: Member) -> tuple[str, ...]:
    """Deletes the person and the papers that carry their name; returns the envelopes whose evidence stays.

    The papers' digests stay in the log, so that a paper the client brings back can still be checked. Raises
    `CannotForget` while a piece of theirs is in the house.
    """
    jobs = list(Job.objects.filter(person=person))
    if here := [job.envelope for job in jobs if job.station != Station.PICKED_UP.value]:
        raise CannotForget(f"Still in the house: {', '.join(here)}. Hand over or settle it first.")
    papers = sorted({digest for job in jobs for digest in papers_of(job)})
    envelopes = tuple(job.envelope for job in jobs)
    Job.objects.filter(person=person).exclude(collector="").update(collector="")
    person.delete()
    details: dict[str, Any] = {"jobs": list(envelopes), "papers_let_go": papers}
    ledger.append("person forgotten", about="shop", at=at, by=by, details=details)
    transaction.on_commit(lambda: vault.let_go(papers))
    return envelopes


def papers_of(job: Job) -> list[str]:
    """The digests of receipts, statements and packets of a job: they carry the client's name."""
    return [
        value
        for entry in ledger.history(job)
        for name, value in entry.payload.data.items()
        if name.endswith("_kept") and isinstance(value, str)
    ]
