"""Which findings rest on an instrument that failed a check. They count neither way until they are repeated.

A check of one kind speaks for itself: a zero that is right every morning does not clear a gauge that is wrong at 5 mm.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from typing import TypeVar

from django.utils import timezone

from samestone import metrology
from samestone.shop.instrument import as_check
from samestone.shop.models import Examination, Instrument, InstrumentCheck, Photograph, Reaction, Reading

Row = TypeVar("Row", Reading, Reaction, Photograph)
Diary = dict[str, list[InstrumentCheck]]


def doubts(rows: Iterable[Row]) -> dict[int, str]:
    """Why each suspect reading, reaction or picture is suspect, by its id; the others are left out."""
    measured = [row for row in rows if row.instrument_id]
    diaries = _diaries({row.instrument for row in measured if row.instrument})
    found = {}
    for row in measured:
        if row.instrument and (why := _doubt(diaries[_key(row.instrument)], row.instrument.name, row.at)):
            found[row.pk] = why
    return found


def doubt_of(tool: Instrument, at: dt.datetime) -> str:
    """Why something found with this instrument at this moment is suspect; empty where it is not."""
    return _doubt(_diaries({tool})[_key(tool)], tool.name, at)


def fell_into_doubt(look: Examination, since: dt.datetime) -> bool:
    """Whether a check that failed after `since` has put a finding of this look in doubt."""
    rows = [*look.readings.current().select_related("instrument")]
    reactions = [*look.reactions.current().select_related("instrument")]
    pictures = [*look.photographs.current().select_related("instrument")]
    names = {row.instrument.name for row in (*rows, *reactions, *pictures) if row.instrument}
    failed = InstrumentCheck.objects.filter(passed=False, at__gt=since, instrument__name__in=names)
    return failed.exists() and bool(doubts(rows) or doubts(reactions) or doubts(pictures))


def doubtful_since(row: Instrument) -> dt.datetime | None:
    """The earliest moment from which a finding of this instrument can be in doubt; None where no check failed."""
    starts = []
    diary = _diaries({row})[_key(row)]
    for checks in diary.values():
        for failed in (check for check in checks if not check.passed):
            good = [check.at for check in checks if check.passed and check.at < failed.at]
            starts.append(max(good, default=dt.datetime.min.replace(tzinfo=dt.UTC)))
    return min(starts, default=None)


def failed_instruments() -> frozenset[int]:
    """The instruments in use whose newest check of some kind failed: nothing should be measured with them now."""
    newest: dict[tuple[str, str, str], InstrumentCheck] = {}
    for check in InstrumentCheck.objects.select_related("instrument").order_by("at", "pk"):
        newest[(*_key(check.instrument), check.kind)] = check
    bad = {(name, kind) for (name, kind, _), check in newest.items() if not check.passed}
    return frozenset(row.pk for row in Instrument.objects.filter(retired_at=None) if _key(row) in bad)


def _key(row: Instrument) -> tuple[str, str]:
    return row.name, row.kind


def _diaries(instruments: Iterable[Instrument]) -> dict[tuple[str, str], Diary]:
    """Every check of these instruments, by instrument and kind of check; one query."""
    found: dict[tuple[str, str], Diary] = {_key(row): defaultdict(list) for row in instruments}
    names = {name for name, _ in found}
    for check in InstrumentCheck.objects.filter(instrument__name__in=names).select_related("instrument"):
        if (key := _key(check.instrument)) in found:
            found[key][check.kind].append(check)
    return found


def _doubt(diary: Diary, name: str, at: dt.datetime) -> str:
    for kind, checks in diary.items():
        failed = [check for check in checks if not check.passed]
        if not failed or metrology.diary.standing_at(at, around(checks, at)) != "suspect":
            continue
        nearest = min(failed, key=lambda check: abs(check.at - at))
        return f"the {name} failed its check ({kind}, {timezone.localtime(nearest.at):%-d %b %Y})"
    return ""


def around(checks: list[InstrumentCheck], at: dt.datetime) -> list[metrology.diary.Check]:
    """The checks next to a moment, on both sides, and all that share their times: no others bear on it."""
    before = max((check.at for check in checks if check.at <= at), default=None)
    after = min((check.at for check in checks if check.at > at), default=None)
    return [as_check(check) for check in checks if check.at in (before, after)]
