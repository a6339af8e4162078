"""Two examinations of one stone → what the evidence says. The only module of the shop that judges."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from samestone import evidence
from samestone.shop.casefile import examination_record
from samestone.shop.models import Examination, Stone


class CannotCompare(Exception):
    """An examination is missing, or its record cannot be used; says what to do next."""


def examinations_of(stone: Stone) -> tuple[Examination, Examination]:
    """The take-in's examination and the newest finished one at pick-up."""
    before = _newest(stone, Examination.Occasion.TAKE_IN)
    after = _newest(stone, Examination.Occasion.PICK_UP)
    if before is None:
        raise CannotCompare(
            f"The {stone.position} stone was not examined at take-in: there is nothing to compare with."
        )
    if after is None:
        raise CannotCompare(f"Examine the {stone.position} stone again first.")
    return before, after


def compare_examinations(before: Examination, after: Examination) -> dict[str, Any]:
    """The verdict as its JSON document."""
    records = examination_record(before), examination_record(after)
    try:
        was, now = (evidence.read_examination(record) for record in records)
    except evidence.BadRecord as error:
        raise CannotCompare(f"The record cannot be used: {error}") from error
    return evidence.compare(was, now, population=_population()).as_json()


def _newest(stone: Stone, occasion: str) -> Examination | None:
    finished = Examination.objects.filter(stone=stone, occasion=occasion, finished_at__isnull=False)
    return finished.order_by("finished_at", "pk").last()


@lru_cache(maxsize=1)
def _population() -> Any:
    return evidence.load_population()
