"""How is the stone of one picture turned in another?

A cut with eightfold symmetry offers eight answers, 45 degrees apart, that look alike. Correlating polar maps gives
the angle up to that symmetry; small patches then decide among the candidates, because facet errors and
characteristics break the symmetry. The losing candidates are a built-in control group: the winner's margin over
them says how much the answer is worth.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from samestone.imaging.view import (
    GIRDLE,
    MIDDLE,
    SIDE,
    TURNS,
    Plane,
    View,
    correlate_turns,
    disc,
    polar,
    turned,
    without_cut,
)

STEP = 360 / TURNS
PATCH = 44
FOLDS = (8, 4, 2)
APART_DEG = 6.0

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Pattern:
    """A view's channels, ready to be registered; `marks` is an optional map of characteristics found in it."""

    view: View
    marks: Plane | None = None

    @cached_property
    def rows(self) -> dict[str, Plane]:
        """Polar maps of the channels; those ending in `_rest` have the cut's symmetry taken out."""
        rows = {name: polar(getattr(self.view, name)) for name in ("edge", "detail", "spot")}
        rows["spot_rest"] = without_cut(rows["spot"], self.fold_of(rows["edge"]))
        rows["detail_rest"] = without_cut(rows["detail"], self.fold_of(rows["edge"]))
        return rows

    @cached_property
    def halves(self) -> dict[str, Plane]:
        """Channels at half size."""
        return {name: _half(getattr(self.view, name)) for name in ("detail", "spot")}

    def half_turned(self, name: str, degrees: float) -> Plane:
        """A half-size channel turned counter-clockwise as seen."""
        plane = self.halves[name]
        middle = (plane.shape[0] - 1) / 2
        matrix = cv2.getRotationMatrix2D((middle, middle), degrees, 1.0)
        return cv2.warpAffine(plane, matrix, plane.shape[::-1], flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)

    @staticmethod
    def fold_of(edge_rows: Plane) -> int:
        """The cut's rotational symmetry: the largest fold whose copies still look alike."""
        curve = correlate_turns(edge_rows, edge_rows)
        likeness = {fold: float(curve[TURNS // fold]) for fold in FOLDS}
        best = max(likeness.values())
        return next((fold for fold in FOLDS if likeness[fold] >= 0.6 * best > 0), FOLDS[0])


@dataclass(frozen=True)
class Registration:
    """`rotation_deg` turns A counter-clockwise onto B, `shift` then moves it, in view pixels; `scores` of all turns."""

    rotation_deg: float
    shift: tuple[float, float]
    likeness: float
    margin: float
    scores: dict[float, float] = field(default_factory=dict)


def _half(plane: Plane) -> Plane:
    return cv2.resize(plane, (SIDE // 2, SIDE // 2), interpolation=cv2.INTER_AREA)


def register(a: Pattern, b: Pattern) -> Registration:
    """Find the turn of A onto B; the margin is the winner's score less the best other candidate's."""
    curves = {name: correlate_turns(a.rows[name], b.rows[name]) for name in a.rows}
    fold = Pattern.fold_of(b.rows["edge"])
    angles = propose_turns(curves["edge"] + 0.5 * curves["detail"] + curves["spot"], fold)
    scores = {angle: _score(a, b, angle, curves) for angle in angles}
    best = max(scores, key=lambda angle: scores[angle])
    others = [score for angle, score in scores.items() if abs((angle - best + 180) % 360 - 180) > APART_DEG]
    rotation, shift, likeness = refine_turn(a.view.detail, b.view.detail, best)
    return Registration(rotation, shift, likeness, scores[best] - max(others, default=0.0), scores)


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


def _score(a: Pattern, b: Pattern, angle: float, curves: dict[str, Floats]) -> float:
    k = round(angle / STEP) % TURNS
    near = np.arange(k - 2, k + 3) % TURNS
    total = float(curves["spot_rest"][near].max() + 0.5 * curves["detail_rest"][near].max())
    for name in ("detail", "spot"):
        total += patch_likeness(a.half_turned(name, angle), b.halves[name])
    if a.marks is not None and b.marks is not None:
        total += 1.5 * mark_likeness(turned(a.marks, angle), b.marks)
    return total


def patch_likeness(a: Plane, b: Plane, patch: int = PATCH // 2, reach: int = 4) -> float:
    """Mean squared correlation of small patches, each allowed to move a little (tilt moves facets)."""
    found = match_patches(a, b, patch, reach)
    return float(np.mean(np.maximum(found[:, 2], 0) ** 2))


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


def _best_place(surface: NDArray[np.float32], reach: int) -> tuple[float, float, float]:
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
    answer = np.zeros(3)
    for scale in (3.0, 1.5, 0.7, 0.4, 0.4, 0.4):
        rest = moves - design @ answer
        w = weight / (1 + (rest / scale) ** 2)
        answer = np.linalg.solve(design.T @ (design * w[:, None]) + 1e-9 * np.eye(3), design.T @ (moves * w))
    return float(np.degrees(answer[0])), float(answer[1]), float(answer[2])


def mark_likeness(a: Plane, b: Plane) -> float:
    """Correlation of two maps of characteristics inside the girdle."""
    inside = disc(0.95)
    x, y = a[inside], b[inside]
    return float(x @ y / np.sqrt((x @ x) * (y @ y) + 1e-12))


__all__ = ["MIDDLE", "Pattern", "Registration", "match_patches", "patch_likeness", "register"]
