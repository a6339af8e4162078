"""Damage seen after the take-in: was it there, is it new, or could it not be seen then? Pure: places in, words out."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

KINDS = frozenset({"chip", "nick", "bruise", "abrasion", "cavity", "scratch", "crack"})
# Two people who place the same damage on a drawing agree within this. Common practice, no source.
SAME_DEG, SAME_R = 15.0, 0.2
# A claw or a bezel hides the rim, not the middle of the stone. Common practice, no source.
RIM = 0.75

WAS_THERE = "was there at take-in"
HIDDEN = "new, or was hidden at take-in: cannot say"
NOT_LOOKED = "the condition was not recorded at take-in: cannot say"
NEW = "new since take-in"


@dataclass(frozen=True)
class Spot:
    """A place on the clock face: girdle radii, degrees counter-clockwise from 3 o'clock."""

    r: float
    angle_deg: float


@dataclass(frozen=True)
class Arc:
    """A hidden part of the rim, counter-clockwise from start to end."""

    start_deg: float
    end_deg: float


def judge_damage(now: Spot, *, then: Iterable[Spot], hidden: Iterable[Arc], looked: bool) -> str:
    """What can be said of damage that is seen now, the drawing placed as the stone sat at take-in."""
    if any(_near(now, spot) for spot in then):
        return WAS_THERE
    if not looked:
        return NOT_LOOKED
    if now.r >= RIM and any(_within(now.angle_deg, arc) for arc in hidden):
        return HIDDEN
    return NEW


def _near(one: Spot, other: Spot) -> bool:
    apart = abs((one.angle_deg - other.angle_deg + 180) % 360 - 180)
    return apart <= SAME_DEG and abs(one.r - other.r) <= SAME_R


def _within(angle_deg: float, arc: Arc) -> bool:
    return (angle_deg - arc.start_deg) % 360 <= (arc.end_deg - arc.start_deg) % 360
