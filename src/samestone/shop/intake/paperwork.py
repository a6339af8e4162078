"""The receipt and the label: rows → plain values → paper; the receipt is kept byte for byte."""

from __future__ import annotations

import datetime as dt

from django.db import transaction

from samestone.shop import ledger, vault
from samestone.shop.intake import queries
from samestone.shop.models import Entry, Job, Member


class NotReadyForPaper(Exception):
    """Something that a receipt must say is not recorded yet."""


def missing_for_receipt(job: Job) -> tuple[str, ...]:
    """What a receipt must say and is not recorded yet."""
    needed = ("piece", "stones", "clean") if job.express else ("piece", "stones", "condition", "work")
    return tuple(
        queries.QUESTIONS[step.question] for step in queries.steps(job) if step.question in needed and not step.done
    )


@transaction.atomic
def give_receipt(job: Job, *, at: dt.datetime, by: Member) -> Entry:
    """A receipt for everything recorded so far: the paper in the vault, its digest and number in the log."""
    if missing := missing_for_receipt(job):
        raise NotReadyForPaper("A receipt needs first: " + ", ".join(missing) + ".")
    receipt = ledger.issue_receipt(job, at=at)
    paper = b""
    details = {"receipt": receipt.as_json(), "receipt_kept": vault.store(paper)}
    return ledger.append("receipt given", about=job, at=at, by=by, details=details)


def kept_receipt(job: Job) -> bytes | None:
    """The newest receipt as it was given."""
    entry = ledger.history(job, "receipt given").last()
    return vault.read(entry.payload.data["receipt_kept"]) if entry else None


def label(job: Job) -> bytes:
    raise NotReadyForPaper("no label yet")
