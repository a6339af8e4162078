"""What an examination writes: the findings, each once, and its end."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from django.db import transaction

from samestone.shop.examine.question import BY_NAME, LOOSE_ONLY, questions_for
from samestone.shop.finding import finish_examination, record_finding, take_back
from samestone.shop.models import Examination, Instrument, Mark, Member, NotExamined, Observation, Reaction, Reading

# Findings that are marks on the clock face, by the name that the record uses.
CATEGORY = {"characteristics": "characteristic"}


@transaction.atomic
def record_readings(
    examination: Examination,
    indications: Mapping[str, list[str]],
    *,
    instrument: Instrument,
    at: dt.datetime,
    by: Member,
    once: str | None = None,
) -> list[Reading]:
    """The indications of one or more properties, as typed; what was read before in this examination is replaced."""
    rows = []
    for what, typed in indications.items():
        before = examination.readings.current().filter(property=what).last()
        if before and (before.indications, before.instrument_id) == (typed, instrument.pk):
            rows.append(before)
            continue
        row = record_finding(
            Reading,
            examination,
            at=at,
            by=by,
            once=f"{once[:32]}{len(rows)}" if once else None,
            replaces=before,
            property=what,
            indications=typed,
            instrument=instrument,
        )
        _no_longer_missing(examination, what, at=at, by=by)
        rows.append(row)
    return rows


@transaction.atomic
def record_reaction(
    examination: Examination, test: str, *, at: dt.datetime, by: Member, once: str | None = None, **fields: Any
) -> Reaction:
    """What the stone did under a lamp or a probe: strength and colour, or result; lamp and distance where known."""
    before = examination.reactions.current().filter(test=test).last()
    row: Reaction = record_finding(Reaction, examination, at=at, by=by, once=once, replaces=before, test=test, **fields)
    _no_longer_missing(examination, test, at=at, by=by)
    return row


@transaction.atomic
def record_observation(
    examination: Examination, what: str, value: str, *, at: dt.datetime, by: Member, once: str | None = None
) -> Observation:
    """Something seen and named."""
    before = examination.observations.current().filter(what=what).last()
    row: Observation = record_finding(
        Observation, examination, at=at, by=by, once=once, replaces=before, what=what, value=value
    )
    _no_longer_missing(examination, what, at=at, by=by)
    return row


@transaction.atomic
def place_characteristic(
    examination: Examination, *, at: dt.datetime, by: Member, once: str | None = None, **fields: Any
) -> Mark:
    """A mark in or on the stone: kind, r, angle_deg. “None seen” and “not examined” are taken back."""
    row: Mark = record_finding(Mark, examination, at=at, by=by, once=once, category="characteristic", **fields)
    for none_seen in examination.observations.current().filter(what="characteristics"):
        take_back(none_seen, at=at, by=by)
    _no_longer_missing(examination, "characteristics", at=at, by=by)
    return row


@transaction.atomic
def record_not_examined(
    examination: Examination, what: str, why: str, *, at: dt.datetime, by: Member, once: str | None = None
) -> NotExamined:
    """A blind spot and its reason; what stood there in this examination before is taken back."""
    for rows in (
        examination.readings.current().filter(property=what),
        examination.reactions.current().filter(test=what),
        examination.observations.current().filter(what=what),
        examination.marks.current().filter(category=CATEGORY.get(what, "")),
    ):
        for row in rows:
            take_back(row, at=at, by=by)
    before = examination.not_examined.current().filter(what=what).last()
    blind: NotExamined = record_finding(
        NotExamined, examination, at=at, by=by, once=once, replaces=before, what=what, why=why
    )
    return blind


@transaction.atomic
def finish(examination: Examination, *, rest: str = "", at: dt.datetime, by: Member) -> Examination:
    """Closes the examination; what was not answered is written down as not examined, because of `rest`."""
    answered = answered_whats(examination)
    if examination.setting == "set":
        for what in BY_NAME[LOOSE_ONLY].whats:
            if what not in answered:
                record_not_examined(examination, what, "set", at=at, by=by)
    for question in questions_for(examination.setting, examination.occasion):
        for what in question.whats:
            if what not in answered and rest:
                record_not_examined(examination, what, rest, at=at, by=by)
    return finish_examination(examination, at=at, by=by)


def answered_whats(examination: Examination) -> frozenset[str]:
    """Everything that was found in this examination, or said not to have been looked at."""
    found = {
        *examination.readings.current().values_list("property", flat=True),
        *examination.reactions.current().values_list("test", flat=True),
        *examination.observations.current().values_list("what", flat=True),
        *examination.not_examined.current().values_list("what", flat=True),
    }
    if examination.photographs.current().exists():
        found.add("photographs")
    if examination.marks.current().filter(category="characteristic").exists():
        found.add("characteristics")
    return frozenset(found)


def _no_longer_missing(examination: Examination, what: str, *, at: dt.datetime, by: Member) -> None:
    for row in examination.not_examined.current().filter(what=what):
        take_back(row, at=at, by=by)
