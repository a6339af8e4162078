"""How the verdicts of this shop have done: the same stone looked at twice, different stones held against each other.

Nobody has proof of which stone went home: a job that was handed over counts as the same stone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

from samestone import evidence
from samestone.shop.casefile import examination_record
from samestone.shop.life import Station
from samestone.shop.models import Examination, Stone

MOST = 60
"""Stones looked at, the newest: each is held against each."""
REACH = 5
"""log10 LR drawn to either side; what lies beyond is drawn at the end."""


@dataclass(frozen=True)
class OwnCalibration:
    """What the jobs so far say; `refused` in words where there are too few."""

    found: Any = None
    refused: str = ""

    @property
    def missed(self) -> str:
        """How often one stone was spoken against."""
        return _share(sum(self.found.same < 0), len(self.found.same), self.found.missed)

    @property
    def alarmed(self) -> str:
        """How often two stones were spoken for as one."""
        return _share(sum(self.found.other > 0), len(self.found.other), self.found.alarmed)

    @property
    def cllr(self) -> str:
        return f"{evidence.performance.cllr(self.found.same, self.found.other):.3f}"

    @property
    def cllr_min(self) -> str:
        return f"{evidence.performance.cllr_min(self.found.same, self.found.other):.3f}"


def own_calibration(population: Any) -> OwnCalibration:
    """Take-in against pick-up of each stone that went home, and against the pick-up of every other."""
    try:
        return OwnCalibration(evidence.performance.calibrate_shop(looked_at_twice(), population=population))
    except evidence.performance.TooFewRepeats as error:
        return OwnCalibration(refused=str(error))


def looked_at_twice() -> list[tuple[Any, Any]]:
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


def _share(count: int, of: int, share: tuple[float, float, float]) -> str:
    _, low, high = share
    return f"{count} of {of}; 95 % range {100 * low:.1f} to {100 * high:.1f} %"


def draw_ratios(same: Sequence[float], different: Sequence[float]) -> str:
    """Two rows of bars over log10 LR as SVG: one stone above the line, two stones below it, each to its own height."""
    rows = ((same, "one stone, looked at twice", -1, "#0b5558"), (different, "two different stones", 1, "#8a2617"))
    parts = [
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 900 330" role="img" font-size="15" fill="#23211e">',
        "<title>log10 LR of every comparison of this shop</title>",
        '<rect width="900" height="330" fill="#fffdf8"/>',
    ]
    for values, label, way, colour in rows:
        parts.append(f'<text x="20" y="{30 if way < 0 else 312}">{escape(label)}</text>')
        counts = _bins(values)
        for place, count in counts.items():
            height = 105 * count / max(counts.values())
            top = 165 - height if way < 0 else 165
            parts.append(
                f'<rect x="{_x(place) - 13:.1f}" y="{top:.1f}" width="26" height="{height:.1f}" fill="{colour}" '
                f'fill-opacity="{0.9 if way < 0 else 0.6}"/>'
            )
    parts.append('<path d="M20 165H880M450 40V290" stroke="#23211e" fill="none"/>')
    parts += [
        f'<text x="{_x(tick):.0f}" y="183" text-anchor="middle" font-size="12">{tick:+d}</text>'
        for tick in range(-REACH, REACH + 1)
        if tick
    ]
    return "".join([*parts, "</svg>"])


def _bins(values: Sequence[float]) -> dict[float, int]:
    """Counts in steps of two fifths of log10 LR, by the middle of the step."""
    counts: dict[float, int] = {}
    for value in values:
        held = min(max(float(value), -REACH), REACH - 1e-9)
        middle = (held // 0.4) * 0.4 + 0.2
        counts[middle] = counts.get(middle, 0) + 1
    return counts


def _x(log10_lr: float) -> float:
    return 450 + 82 * log10_lr
