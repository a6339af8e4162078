"""Writing what an examination found: one row, one entry, never changed. Used by every stage that looks at a stone."""

from __future__ import annotations

import datetime as dt
from typing import Any, TypeVar

from django.db import transaction

from samestone.shop import ledger
from samestone.shop.models import Examination, Finding, Member

Found = TypeVar("Found", bound=Finding)


class ExaminationFinished(Exception):
    """Something was to be added to an examination that is finished; start another one."""


class TakenBackAlready(Exception):
    """A finding that has been replaced or taken back before."""


@transaction.atomic
def record_finding(  # noqa: PLR0913 - what, where, when, who, and the two ways to say it twice
    table: type[Found],
    examination: Examination,
    *,
    at: dt.datetime,
    by: Member,
    once: str | None = None,
    replaces: Found | None = None,
    **fields: Any,
) -> Found:
    """Adds a row of `table` (Reading, Reaction, Observation, NotExamined, Photograph, Mark) and its entry.

    `once` is a token from the form: the same form sent twice gives the same row. `replaces` names the row that this
    one corrects. Raises `ExaminationFinished`, `TakenBackAlready`.
    """
    if once and (there := table.objects.filter(once=once).first()):
        return there
    _refuse_finished(examination)
    if replaces is not None:
        _refuse_replaced(replaces)
    row: Found = table.objects.create(examination=examination, at=at, by=by, once=once, replaces=replaces, **fields)
    kind = f"{table._meta.verbose_name} {'corrected' if replaces else 'recorded'}"
    ledger.append(kind, about=examination.job, at=at, by=by, rows=[row])
    return row


@transaction.atomic
def take_back(row: Found, *, at: dt.datetime, by: Member) -> Found:
    """Undo: a new row that withdraws `row`. What was written stays in the log, marked as taken back."""
    _refuse_finished(row.examination)
    _refuse_replaced(row)
    same = {
        field.attname: getattr(row, field.attname)
        for field in row._meta.concrete_fields
        if field.name not in {"id", "at", "by", "once", "replaces", "withdrawn"}
    }
    withdrawal = type(row).objects.create(**same, at=at, by=by, replaces=row, withdrawn=True)
    ledger.append(f"{row._meta.verbose_name} taken back", about=row.examination.job, at=at, by=by, rows=[withdrawal])
    return withdrawal  # type: ignore[no-any-return]


def _refuse_finished(examination: Examination) -> None:
    finished = Examination.objects.values_list("finished_at", flat=True).get(pk=examination.pk)
    if finished:
        raise ExaminationFinished(f"This examination was finished at {finished:%d %b %H:%M}. Start another one.")


def _refuse_replaced(row: Finding) -> None:
    if type(row).objects.filter(replaces=row).exists():  # type: ignore[attr-defined]
        raise TakenBackAlready("This was corrected or taken back already; look at what stands there now.")
