"""Small stones in a row, place by place: counted from the left as the piece is worn, from the hallmark onwards."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from samestone.shop.models import Stone

MOST = 200
_RUN = re.compile(r"(\d{1,3})(?:\s*[-–]\s*(\d{1,3}))?")


@dataclass(frozen=True)
class Place:
    """One place of a row and the stones that it belongs to; `other` where they are not of the row's usual material."""

    number: int
    stone: Stone
    other: bool


def read_places(text: str) -> tuple[int, ...]:
    """The places of “1-2, 4”, in order; raises `ValueError` in words."""
    found: list[int] = []
    for part in filter(None, (one.strip() for one in text.split(","))):
        run = _RUN.fullmatch(part)
        first, last = (int(run[1]), int(run[2] or run[1])) if run else (1, 0)
        if not 1 <= first <= last <= MOST:
            raise ValueError(f"“{part}” is no place; expected numbers from 1 to {MOST}, such as 1-2, 4-6.")
        found += range(first, last + 1)
    twice = {number for number in found if found.count(number) > 1}
    if twice:
        raise ValueError(f"Place {min(twice)} is named twice.")
    return tuple(sorted(found))


def write_places(places: Iterable[int]) -> str:
    """The same as text, runs joined: `1-2, 4`.

    >>> write_places(read_places("4, 1 - 2"))
    '1-2, 4'
    """
    runs: list[list[int]] = []
    for number in sorted(places):
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    return ", ".join(str(first) if first == last else f"{first}-{last}" for first, last in runs)


def position_map(stones: Iterable[Stone]) -> tuple[Place, ...]:
    """Every place of the row that is known, in order."""
    placed = [(number, stone) for stone in stones for number in read_places(stone.places)]
    usual = _commonest([stone.material for _, stone in placed])
    return tuple(
        Place(number, stone, stone.material != usual) for number, stone in sorted(placed, key=lambda one: one[0])
    )


def _commonest(materials: list[str]) -> str:
    return max(materials, key=materials.count, default="")
