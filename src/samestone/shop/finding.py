"""Examinations and what they find: begun, filled row by row, finished. Used by every stage that looks at a stone."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any, TypeVar, cast

from django.db import transaction

from samestone.shop import ledger
from samestone.shop.life import NotPossibleNow, Station
from samestone.shop.models import Examination, Finding, Member, Stone

Found = TypeVar("Found", bound=Finding)


class ExaminationFinished(Exception):
    """Something was to be added to an examination that is finished; start another one."""


class TakenBackAlready(Exception):
    """A finding that has been replaced or taken back before."""


@transaction.atomic
def begin_examination(
    stone: Stone, occasion: str, *, at: dt.datetime, by: Member, declared_changes: Sequence[str] = ()
) -> Examination:
    """The open examination of a stone on this occasion, set or loose as it is now; begun when there is none.

    Raises `NotPossibleNow` once the piece has gone home: its record stays as it was.
    """
    there = Examination.objects.filter(
        stone=stone, occasion=occasion, setting=stone.setting, finished_at__isnull=True
    ).last()
    if there is not None:
        return there
    if stone.job.station == Station.PICKED_UP.value:
        raise NotPossibleNow("It has gone home; its record stays as it was. Open a new job for what follows.")
    begun = Examination.objects.create(
        stone=stone,
        occasion=occasion,
        setting=stone.setting,
        at=at,
        by=by,
        declared_changes=list(declared_changes),
    )
    ledger.append("examination begun", about=stone.job, at=at, by=by, rows=[begun])
    return begun


@transaction.atomic
def finish_examination(examination: Examination, *, at: dt.datetime, by: Member) -> Examination:
    """Nothing can be added afterwards; finished twice, it stays as it was."""
    now = Examination.objects.select_for_update().get(pk=examination.pk)
    if now.finished_at is None:
        now.finished_at = at
        now.save()
        ledger.append("examination finished", about=now.job, at=at, by=by, rows=[now])
    return now


@transaction.atomic
def record_finding(
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
    if once and (there := _rows(table).filter(once=once).first()):
        return cast("Found", there)
    _refuse_finished(examination)
    if replaces is not None:
        _refuse_replaced(replaces)
    row = _rows(table).create(examination=examination, at=at, by=by, once=once, replaces=replaces, **fields)
    kind = f"{table._meta.verbose_name} {'corrected' if replaces else 'recorded'}"
    ledger.append(kind, about=examination.job, at=at, by=by, rows=[row])
    return cast("Found", row)


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
    withdrawal = _rows(type(row)).create(**same, at=at, by=by, replaces=row, withdrawn=True)
    ledger.append(f"{row._meta.verbose_name} taken back", about=row.examination.job, at=at, by=by, rows=[withdrawal])
    return cast("Found", withdrawal)


def _rows(table: type[Finding]) -> Any:
    """The manager of a table that is known only when running."""
    return table._default_manager


def _refuse_finished(examination: Examination) -> None:
    finished = Examination.objects.values_list("finished_at", flat=True).get(pk=examination.pk)
    if finished:
        raise ExaminationFinished(f"This examination was finished at {finished:%d %b %H:%M}. Start another one.")


def _refuse_replaced(row: Finding) -> None:
    if _rows(type(row)).filter(replaces=row.pk).exists():
        raise TakenBackAlready("This was corrected or taken back already; look at what stands there now.")
