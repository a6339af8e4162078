"""What cleaning changed: every feature of the picture as received, looked for in the cleaned one.

“Not visible after” is what the second picture shows, never that it is gone for good; the jeweller confirms by eye.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from samestone import imaging
from samestone.shop import ledger, vault
from samestone.shop.models import Examination, Photograph, Stone
from samestone.shop.photo_reading import FACE_UP

LOOKED = "cleaning looked through"
WENT, STAYED = "not visible after", "still there"
MOST = 12  # of each outcome; more rings than that hide the stone
RIM = 0.93  # beyond it the girdle and the claws look like features
APART = 0.09  # girdle radii; nearer ones share a ring
SPREAD = (0.4, 0.25, APART)
NEARLY_SURE = 0.9
GIRDLE = 40.0  # its radius in a plate of 100


class NothingToCompare(Exception):
    """There are no two pictures, or they cannot be laid on each other; says why and what to do."""


@dataclass(frozen=True)
class Plate:
    """A picture laid so that the girdle fills the circle of radius 40 in a square of 100, turned as the first."""

    photo: Photograph
    x: float
    y: float
    width: float
    height: float
    turn_deg: float


@dataclass(frozen=True)
class Spot:
    """One feature: where it lies on both plates, where on the clock face (cleaned picture), what was said of it."""

    number: int
    went: bool
    x: float
    y: float
    r: str
    angle_deg: str
    said: str

    @property
    def close_up(self) -> str:
        """The square around it, as an SVG view box."""
        return f"{self.x - 9:.2f} {self.y - 9:.2f} 18 18"

    @property
    def above(self) -> str:
        """Where its number stands."""
        return f"{self.y - 3.4:.2f}"

    @property
    def outcome(self) -> str:
        return WENT if self.went else STAYED


@dataclass(frozen=True)
class Changes:
    """Both plates and what went and stayed."""

    before: Plate
    after: Plate
    spots: tuple[Spot, ...]

    def spot(self, number: str) -> Spot | None:
        """The one with this number."""
        return next((spot for spot in self.spots if str(spot.number) == number), None)


def find_changes(stone: Stone) -> Changes:
    """Compares the newest usable pictures as received and after cleaning; raises `NothingToCompare`."""
    before = _newest(stone, Examination.Occasion.RECEIVED)
    after = _newest(stone, Examination.Occasion.TAKE_IN)
    if before is None or after is None:
        which = "as received" if before is None else "face-up after cleaning"
        raise NothingToCompare(f"There is no usable picture {which}: take one first.")
    compared = _compare(before.digest, after.digest)
    if not compared.usable:
        raise NothingToCompare(compared.reason)
    said = _answers(stone, before, after)
    spots = tuple(
        _spot(number, one, compared.rotation_deg, said.get(number, ""))
        for number, one in enumerate(_shown(compared), start=1)
    )
    return Changes(_plate(before, 0.0), _plate(after, compared.rotation_deg), spots)


def _shown(compared: Any) -> list[Any]:
    clear: list[Any] = []
    for one in sorted(compared.features, key=lambda one: -one.probability):
        if one.r < RIM and all(_apart(one, other) > APART for other in clear):
            clear.append(one)
    chosen = [one for outcome in (WENT, STAYED) for one in _spread([f for f in clear if f.outcome == outcome])]
    return sorted(chosen, key=lambda one: (one.outcome == STAYED, one.angle_deg))


def _spread(features: list[Any]) -> list[Any]:
    """The most probable few; of those that are nearly sure, far from each other first, for many lie side by side."""
    chosen: list[Any] = []
    for apart in SPREAD:
        for one in features if apart == APART else [f for f in features if f.probability > NEARLY_SURE]:
            if len(chosen) < MOST and all(_apart(one, other) > apart for other in chosen):
                chosen.append(one)
    return chosen


def _apart(one: Any, other: Any) -> float:
    """Distance of two features in girdle radii."""
    turn = math.radians(one.angle_deg - other.angle_deg)
    return math.sqrt(max(0.0, one.r**2 + other.r**2 - 2 * one.r * other.r * math.cos(turn)))


def _spot(number: int, one: Any, turn_deg: float, said: str) -> Spot:
    angle = math.radians(one.angle_deg)
    return Spot(
        number,
        one.outcome == WENT,
        round(50 + GIRDLE * one.r * math.cos(angle), 2),
        round(50 - GIRDLE * one.r * math.sin(angle), 2),
        f"{one.r:.2f}",
        f"{(one.angle_deg + turn_deg) % 360:.0f}",
        said,
    )


def _plate(photo: Photograph, turn_deg: float) -> Plate:
    read = photo.reading
    radius = (float(read["diameter_max_px"]) + float(read["diameter_min_px"])) / 4
    x, y = (float(text) + 0.5 for text in read["centre_px"])
    zoom = GIRDLE / radius
    left, top = round(50 - x * zoom, 3), round(50 - y * zoom, 3)
    return Plate(photo, left, top, round(photo.width * zoom, 3), round(photo.height * zoom, 3), round(turn_deg, 2))


def _newest(stone: Stone, occasion: str) -> Photograph | None:
    rows = Photograph.objects.current().filter(
        examination__stone=stone, examination__occasion=occasion, view__in=FACE_UP, usable=True
    )
    return next((row for row in reversed(rows) if "centre_px" in row.reading), None)


@lru_cache(maxsize=8)
def _compare(before: str, after: str) -> Any:
    """By the digests of the two files: the same bytes always say the same."""
    return imaging.compare_cleaning(*(imaging.open_photo(vault.read(digest)) for digest in (before, after)))


def _answers(stone: Stone, before: Photograph, after: Photograph) -> dict[int, str]:
    """What was said of each spot of these two pictures, the last word counting."""
    found = {}
    for entry in ledger.history(stone.job, LOOKED):
        told = entry.payload.data
        if (told["before"], told["after"]) == (before.pk, after.pk):
            found[told["number"]] = told["said"]
    return found
