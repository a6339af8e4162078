"""Characteristics: marks in a photograph that are not explained by the cut.

A small learned network (network.py) says for every place of the standard view how much looks like a natural mark, and
how much like dirt. Its peaks are offered to the jeweller, who confirms or rejects them. What a peak is worth as a
probability was counted on pictures that nothing was learned on (scripts/calibrate_photos.py reliability).
"""

from __future__ import annotations

import io
import json
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import cv2
import numpy as np
from numpy.typing import NDArray

from samestone.imaging.network import chances, run_network
from samestone.imaging.outline import Outline
from samestone.imaging.symmetry import mirror_axis_deg, symmetry_breaks
from samestone.imaging.view import GIRDLE, MIDDLE, SIDE, Plane, View, disc

NATURAL, DIRT = "natural", "dirt"
CLASSES = (NATURAL, DIRT)
HALF = SIDE // 2
SHOWN = 0.3  # peaks of the maps from here on are listed
MARKS, CLEANING = "marks", "cleaning"  # what marks are listed from: one picture, or one before and one after
APART_PX = 4
EDGE = 0.97
RADIUS = 10  # the plane that holds the distance from the centre, last


@dataclass(frozen=True)
class Characteristic:
    """A mark at (x_px, y_px); `r` in girdle radii, `angle_deg` counter-clockwise, 0 at 3 o'clock.

    `kind` is "natural" (in the stone) or "dirt"; `probability` that it is that and no play of the facets.
    """

    kind: str
    x_px: float
    y_px: float
    r: float
    angle_deg: float
    probability: float


@lru_cache(maxsize=4)
def load_weights(name: str) -> dict[str, NDArray[np.float32]]:
    """A network's weights as shipped; docs/method/imaging.md says on what they were learned."""
    data = files("samestone.imaging").joinpath("data", name).read_bytes()
    with np.load(io.BytesIO(data)) as stored:
        return {name: stored[name].astype(np.float32) for name in stored.files}


@lru_cache(maxsize=1)
def load_reliability() -> dict[str, dict[str, tuple[float, float]]]:
    """Per source and kind: slope and offset from the log-odds of a peak to those of there being what it says."""
    found: dict[str, dict[str, tuple[float, float]]] = json.loads(
        files("samestone.imaging").joinpath("data", "reliability.json").read_text("utf-8")
    )
    return found


def probability_of(peak: float, source: str, kind: str) -> float:
    """How probable it is that a peak of a map is what it says, by Platt's logistic (1999).

    A source that nothing was counted for is taken at its word.
    """
    slope, offset = load_reliability().get(source, {}).get(kind, (1.0, 0.0))
    odds = np.log(max(peak, 1e-6) / max(1 - peak, 1e-6))
    return float(min(1 / (1 + np.exp(-slope * odds - offset)), 0.99))


def network_inputs(view: View) -> Plane:
    """Eleven half-size planes: detail and level (four sub-pixels each), darker and brighter than symmetry, radius."""
    inside = disc(0.97)
    level = (view.light - view.light[inside].mean()) / 1.5
    light_half = cv2.resize(view.light, (HALF, HALF), interpolation=cv2.INTER_AREA)
    darker, brighter = symmetry_breaks(light_half, mirror_axis_deg(view.edge_rows), view.fold)
    rows, columns = np.mgrid[0:HALF, 0:HALF].astype(np.float32)
    radius = np.hypot(columns - (HALF - 1) / 2, rows - (HALF - 1) / 2) / np.float32(GIRDLE / 2)
    planes = [
        *_sub_pixels(np.clip(view.detail, -4, 4) / 2),
        *_sub_pixels(np.clip(level, -2, 2)),
        darker,
        brighter,
        radius,
    ]
    return np.stack(planes).astype(np.float32)


def _sub_pixels(plane: Plane) -> list[Plane]:
    return [plane[top::2, left::2] for top in (0, 1) for left in (0, 1)]


def mark_maps(planes: Plane) -> Plane:
    """What looks like a natural mark and like dirt, 0 to 1, 2 x 280 x 280, zero outside the girdle."""
    maps = chances(run_network(planes, load_weights("marks.npz")))
    maps[:, ~disc(EDGE)[::2, ::2]] = 0
    return maps


def list_marks(maps: Plane, outline: Outline, source: str = MARKS) -> tuple[Characteristic, ...]:
    """Peaks of the maps, most probable first, in the picture's own pixels."""
    marks = [mark for k, kind in enumerate(CLASSES) for mark in _peaks(maps[k], kind, outline, source)]
    return tuple(sorted(marks, key=lambda mark: -mark.probability))


def _peaks(plane: Plane, kind: str, outline: Outline, source: str) -> list[Characteristic]:
    smooth = cv2.GaussianBlur(plane, (0, 0), 0.7)
    top = cv2.dilate(smooth, np.ones((2 * APART_PX + 1, 2 * APART_PX + 1), np.uint8))
    rows, columns = np.nonzero((smooth >= top) & (smooth > SHOWN))
    marks = []
    zoom = outline.radius_px / GIRDLE
    for row, column in zip(rows, columns, strict=True):
        window = plane[max(0, row - 2) : row + 3, max(0, column - 2) : column + 3].astype(float)
        dy, dx = np.mgrid[0 : window.shape[0], 0 : window.shape[1]]
        x = 2 * (max(0, column - 2) + (dx * window).sum() / window.sum()) + 0.5 - MIDDLE
        y = 2 * (max(0, row - 2) + (dy * window).sum() / window.sum()) + 0.5 - MIDDLE
        marks.append(
            Characteristic(
                kind=kind,
                x_px=float(outline.centre_px[0] + zoom * x),
                y_px=float(outline.centre_px[1] + zoom * y),
                r=float(np.hypot(x, y) / GIRDLE),
                angle_deg=float(np.degrees(np.arctan2(-y, x)) % 360),
                probability=probability_of(float(plane[row, column]), source, kind),
            )
        )
    return marks
