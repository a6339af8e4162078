"""How the verdicts of this shop have done: the same stone looked at twice, different stones held against each other.

Nobody has proof of which stone went home: a job that was handed over counts as the same stone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from samestone import evidence
from samestone.shop.casefile import examination_record
from samestone.shop.life import Station
from samestone.shop.models import Examination, Stone

NEEDED = 10
"""Jobs from which on figures are shown; fewer would only look like figures."""
MOST = 40
"""Jobs looked at, the newest: each is held against each."""


@dataclass(frozen=True)
class OwnCalibration:
    """log10 LR, against a stone drawn at random, of every comparison."""

    same_values: tuple[float, ...]
    different_values: tuple[float, ...]
    needed: int = NEEDED

    @property
    def same(self) -> int:
        return len(self.same_values)

    @property
    def different(self) -> int:
        return len(self.different_values)

    @property
    def enough(self) -> bool:
        return self.same >= self.needed and self.different > 0

    @property
    def same_misleading(self) -> int:
        return sum(value < 0 for value in self.same_values)

    @property
    def different_misleading(self) -> int:
        return sum(value > 0 for value in self.different_values)

    @property
    def same_median(self) -> float:
        return median(self.same_values)

    @property
    def different_median(self) -> float:
        return median(self.different_values)


def own_calibration(population: Any) -> OwnCalibration:
    """Take-in against pick-up of each job that went home, and take-in of each against pick-up of every other."""
    pairs = _looks()
    same = [_log10_lr(was, now, population) for was, now in pairs]
    different = [
        _log10_lr(was, now, population)
        for mine, (was, _) in enumerate(pairs)
        for other, (_, now) in enumerate(pairs)
        if mine != other
    ]
    return OwnCalibration(_known(same), _known(different))


def _looks() -> list[tuple[Any, Any]]:
    """Both examinations of the newest stones that went home, as evidence reads them."""
    stones = Stone.objects.filter(piece__job__station=Station.PICKED_UP.value).order_by("-piece__job__closed_at", "pk")
    found = []
    for stone in stones[:MOST]:
        looks = [_last(stone, occasion) for occasion in (Examination.Occasion.TAKE_IN, Examination.Occasion.PICK_UP)]
        if None in looks:
            continue
        try:
            was, now = (evidence.read_examination(examination_record(look)) for look in looks if look)
        except evidence.BadRecord:
            continue  # a record that cannot be compared at the counter is not counted here either
        found.append((was, now))
    return found


def _last(stone: Stone, occasion: str) -> Examination | None:
    rows = Examination.objects.filter(stone=stone, occasion=occasion, finished_at__isnull=False)
    return rows.order_by("finished_at", "pk").last()


def _log10_lr(was: Any, now: Any, population: Any) -> float | None:
    verdict = evidence.compare(was, now, population=population)
    return verdict.random.value if verdict.blocks else None


def _known(values: Sequence[float | None]) -> tuple[float, ...]:
    return tuple(sorted(value for value in values if value is not None))
