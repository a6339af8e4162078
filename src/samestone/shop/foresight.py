"""What would tell most next: one quiet line beside the question, from what this examination has found so far.

It knows this examination's own record alone, so it may stand on the blind look of a pick-up.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from samestone import evidence
from samestone.shop.casefile import examination_record
from samestone.shop.models import Examination
from samestone.shop.suspicion import doubts

# The question of an examination that answers what evidence plans, and the words for it.
_QUESTIONS = {
    "diameters": ("diameter", "the diameters"),
    "depth": ("depth", "the depth"),
    "table": ("table", "the table"),
    "weight": ("weight", "the weight"),
    "uv_long_wave": ("uv-long", "long-wave ultraviolet"),
    "girdle_finish": ("girdle", "the girdle"),
    "culet": ("culet", "the culet"),
    "inscription": ("inscription", "an inscription"),
    "characteristics": ("characteristics", "the marks in the stone"),
    "photographs": ("pictures", "pictures"),
}
_PROPERTIES = {"diameters": "diameter_min_mm", "depth": "depth_mm", "table": "table_percent", "weight": "weight_ct"}


@dataclass(frozen=True)
class NextLook:
    """The examination that is worth most for its time; `log10_lr` is what it is expected to add, if it is one stone."""

    question: str
    words: str
    minutes: float
    log10_lr: float


def next_looks(examination: Examination) -> tuple[NextLook, ...]:
    """What could still be looked at now, the best per minute first; empty where nothing is worth its time.

    Leaves out what was said not to be visible, and what needs the stone out of its setting.
    """
    try:
        read = evidence.read_examination(examination_record(examination))
    except evidence.BadRecord:
        return ()  # the question page itself says what is wrong with a record
    blind = set(examination.not_examined.current().values_list("what", flat=True))
    pictures = list(examination.photographs.current().filter(usable=True).select_related("instrument"))
    if len(pictures) > len(doubts(pictures)):
        blind.add("photographs")
    if examination.setting == "set":
        blind.add("weight_ct")
    planned = evidence.find.next_examinations(read, population=_population())
    return tuple(
        NextLook(*_QUESTIONS[one.what], one.minutes, one.random)
        for one in planned
        if one.what in _QUESTIONS and _PROPERTIES.get(one.what, one.what) not in blind
    )


def next_look(examination: Examination) -> NextLook | None:
    """The best of them, for an examination that is still open."""
    if examination.finished_at:
        return None
    return next(iter(next_looks(examination)), None)


@lru_cache(maxsize=1)
def _population() -> Any:
    return evidence.load_population()
