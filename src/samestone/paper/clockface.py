"""The clock face: one plan view of the head, hallmark at 6 o'clock, the same on screen and on paper."""

from __future__ import annotations

from collections.abc import Sequence

from samestone.paper.sheet import Mark, Number

RADIUS = 100
"""User units of the drawing that one girdle radius takes."""


def clock_face(cut: str, marks: Sequence[Mark], *, ratio: Number = 0, legend: bool = True) -> str:
    """The plan view as SVG text.

    The centre is (0, 0). A tap at (x, y) in user units is at r = hypot(x, y) / 100 girdle radii and at the angle
    atan2(-y, x), counter-clockwise from 3 o'clock; the root carries `data-radius="100"`. For a stone that is not round
    the girdle radius is a quarter of length plus width; `ratio` is length over width (0: the usual one of the cut).
    The length of a pear, marquise, oval or step cut runs from 6 to 12 o'clock. Every mark is a `g` with
    `data-category`, `data-kind`, `data-r`, `data-angle` and, where given, `data-id`. Classes: `outline`, `claw`,
    `hidden`, `damage`, `characteristic`, `agreed`, `legend`. Refuses an unknown category and numbers that are none
    (`BadSheet`).
    """
    raise NotImplementedError
