"""How is the stone of one picture turned in another?

A cut with eightfold symmetry offers eight answers, 45 degrees apart, that look alike. Correlating polar maps gives
the angle up to that symmetry; edges and characteristics then decide among the candidates, because facet errors and
marks break the symmetry. The losing candidates are a built-in control group: the winner's margin over
them says how much the answer is worth.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from samestone.imaging.view import (
    GIRDLE,
    SIDE,
    TURNS,
    Plane,
    View,
    correlate_turns,
    disc,
    enlarged,
    polar,
    turned,
)

STEP = 360 / TURNS
PATCH = 44
APART_DEG = 6.0

Floats = NDArray[Any]  # of float64


@dataclass(frozen=True, eq=False)
class Pattern:
    """A view, ready to be registered; `marks` is a half-size map of characteristics found in it."""

    view: View
    marks: Plane

    @cached_property
    def mark_rows(self) -> Plane:
        """The marks as polar rows."""
        return polar(enlarged(self.marks))


@dataclass(frozen=True)
class Registration:
    """`rotation_deg` turns A counter-clockwise onto B, `shift` then moves it, in view pixels.

    `likeness` is the mean squared correlation of patches after that, `margin` the log-odds against the best other
    turn, `consistent` and `edge_gap` what the facets say of the chosen turn and how far it is ahead in edges.
    """

    rotation_deg: float
    shift: tuple[float, float]
    likeness: float
    margin: float
    consistent: float = 0.0
    edge_gap: float = 0.0


# Log-odds per unit of correlation, by a conditional logit over the candidate turns of 720 simulated free pairs of one
# stone; six other numbers (patches, spots, softened marks ...) got no weight beside these. Fitted again on the
# candidates that these two then proposed (scripts/fit_turns.py) they are 44 and 20: not changed for that.
EDGE, MARKS = 38.0, 22.0


def register(a: Pattern, b: Pattern) -> Registration:
    """Find the turn of A onto B; the margin is the winner's log-odds less those of the best other candidate."""
    angles, edges, marks = candidate_turns(a, b)
    odds = [EDGE * edge + MARKS * mark for edge, mark in zip(edges, marks, strict=True)]
    k = int(np.argmax(odds))
    others = [j for j, angle in enumerate(angles) if abs((angle - angles[k] + 180) % 360 - 180) > APART_DEG]
    rotation, shift, likeness = refine_turn(a.view.detail, b.view.detail, angles[k])
    patches = match_patches(turned(a.view.detail_half, angles[k]), b.view.detail_half, PATCH // 2, 4)
    return Registration(
        rotation_deg=rotation,
        shift=shift,
        likeness=likeness,
        margin=odds[k] - max(odds[j] for j in others),
        consistent=_consistent(patches),
        edge_gap=edges[k] - max(edges[j] for j in others),
    )


def candidate_turns(a: Pattern, b: Pattern) -> tuple[list[float], list[float], list[float]]:
    """Angles in degrees, and how well edges and marks correlate at each."""
    curve = correlate_turns(a.view.edge_rows, b.view.edge_rows)
    angles = propose_turns(EDGE * curve + MARKS * correlate_turns(a.mark_rows, b.mark_rows), b.view.fold)
    marks = [mark_likeness(turned(a.marks, angle), b.marks) for angle in angles]
    return angles, [_near(curve, angle) for angle in angles], marks


def _near(curve: Floats, angle: float) -> float:
    """The curve's highest value within half a degree of an angle."""
    return float(curve[np.arange(round(angle / STEP) - 2, round(angle / STEP) + 3) % TURNS].max())


def propose_turns(curve: Floats, fold: int) -> list[float]:
    """Candidate turns in degrees: the fold's copies of the best folded peak, and the highest other peaks."""
    folded = curve.reshape(fold, TURNS // fold).sum(axis=0)
    start = int(np.argmax(folded))
    reach = int(4 / STEP)
    angles: list[float] = []
    for k in range(fold):
        centre = start + k * TURNS // fold
        window = curve[np.arange(centre - reach, centre + reach + 1) % TURNS]
        angles.append(_peak(curve, centre - reach + int(np.argmax(window))))
    rest = curve.copy()
    for angle in angles:
        rest[np.arange(round((angle - APART_DEG) / STEP), round((angle + APART_DEG) / STEP)) % TURNS] = -np.inf
    for _ in range(4 if fold == 8 else 8):
        top = int(np.argmax(rest))
        angles.append(_peak(curve, top))
        rest[np.arange(top - int(APART_DEG / STEP), top + int(APART_DEG / STEP) + 1) % TURNS] = -np.inf
    return angles


def _peak(curve: Floats, k: int) -> float:
    left, here, right = curve[(k - 1) % TURNS], curve[k % TURNS], curve[(k + 1) % TURNS]
    bend = left - 2 * here + right
    shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
    return float((k + np.clip(shift, -0.5, 0.5)) * STEP % 360)


def _mean_square(found: Floats) -> float:
    return float(np.mean(np.maximum(found[:, 2], 0) ** 2))


def _consistent(found: Floats) -> float:
    """As the mean square, but a patch counts only as far as it moved the way its neighbourhood did (a small lean)."""
    x, y, value, dx, dy = found.T
    design, moves = np.column_stack([np.ones_like(x), x / 100, y / 100]), np.column_stack([dx, dy])
    weight, field = np.maximum(value, 0) ** 2, np.zeros((3, 2))
    for scale in (3.0, 1.5, 0.8, 0.8):
        rest = ((moves - design @ field) ** 2).sum(axis=1)
        w = weight / (1 + rest / scale**2)
        field = np.linalg.solve(design.T @ (design * w[:, None]) + 1e-6 * np.eye(3), design.T @ (moves * w[:, None]))
    rest = ((moves - design @ field) ** 2).sum(axis=1)
    return float(np.mean(weight * np.exp(-rest / (2 * 0.7**2))))


def patch_likeness(a: Plane, b: Plane, patch: int = PATCH // 2, reach: int = 4) -> float:
    """Mean squared correlation of small patches, each allowed to move a little (tilt moves facets)."""
    return _mean_square(match_patches(a, b, patch, reach))


def match_patches(a: Plane, b: Plane, patch: int, reach: int, share: float = 0.96) -> Floats:
    """Rows (x, y, correlation, dx, dy): each patch of A and where in B it fits best; x, y from the centre."""
    side = a.shape[0]
    middle, limit = (side - 1) / 2, share * GIRDLE * side / SIDE
    starts = np.arange(reach + (side - 2 * reach) % patch // 2, side - patch - reach + 1, patch)
    rows = []
    for top in starts:
        for left in starts:
            x, y = left + (patch - 1) / 2 - middle, top + (patch - 1) / 2 - middle
            if np.hypot(x, y) > limit - patch * 0.35:
                continue
            window = b[top - reach : top + patch + reach, left - reach : left + patch + reach]
            surface = cv2.matchTemplate(window, a[top : top + patch, left : left + patch], cv2.TM_CCOEFF_NORMED)
            rows.append((x, y, *_best_place(surface, reach)))
    return np.array(rows)


def _best_place(surface: NDArray[Any], reach: int) -> tuple[float, float, float]:
    _, value, _, (column, row) = cv2.minMaxLoc(surface)
    if not np.isfinite(value):
        return 0.0, 0.0, 0.0
    dx = dy = 0.0
    if 0 < column < 2 * reach and 0 < row < 2 * reach:
        dx = _vertex(surface[row, column - 1], value, surface[row, column + 1])
        dy = _vertex(surface[row - 1, column], value, surface[row + 1, column])
    return float(value), column - reach + dx, row - reach + dy


def _vertex(left: float, here: float, right: float) -> float:
    bend = left - 2 * here + right
    return float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5)) if bend < -1e-9 else 0.0


def refine_turn(a: Plane, b: Plane, degrees: float) -> tuple[float, tuple[float, float], float]:
    """Turn, shift and mean patch correlation, from where the patches of the turned A fit in B."""
    shift = (0.0, 0.0)
    likeness = 0.0
    for _ in range(2):
        found = match_patches(turned(a, degrees, shift), b, PATCH, 6)
        likeness = float(np.mean(np.maximum(found[:, 2], 0) ** 2))
        turn, dx, dy = _rigid(found)
        degrees += turn
        shift = (shift[0] + dx, shift[1] + dy)
    return degrees % 360, shift, likeness


def _rigid(found: Floats) -> tuple[float, float, float]:
    """Small counter-clockwise turn in degrees and shift that explain the patches' moves, robustly."""
    x, y, value, dx, dy = found.T
    zero, one = np.zeros_like(x), np.ones_like(x)
    design = np.concatenate([np.column_stack([y, one, zero]), np.column_stack([-x, zero, one])])
    moves = np.concatenate([dx, dy])
    weight = np.tile(np.maximum(value, 0) ** 4, 2)
    answer: Floats = np.zeros(3)
    for scale in (3.0, 1.5, 0.7, 0.4, 0.4, 0.4):
        rest = moves - design @ answer
        w = weight / (1 + (rest / scale) ** 2)
        answer = np.linalg.solve(design.T @ (design * w[:, None]) + 1e-9 * np.eye(3), design.T @ (moves * w))
    return float(np.degrees(answer[0])), float(answer[1]), float(answer[2])


def mark_likeness(a: Plane, b: Plane) -> float:
    """Correlation of two half-size maps of characteristics inside the girdle."""
    inside = disc(0.95)[::2, ::2]
    x, y = a[inside], b[inside]
    x, y = x - x.mean(), y - y.mean()
    return float(x @ y / np.sqrt((x @ x) * (y @ y) + 1e-9))
