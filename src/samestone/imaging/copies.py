"""Is one picture a copy of the other? A copy proves nothing.

Two exposures of a stone that was moved between them share neither their framing to a few hundredths of a pixel nor
their grain; a file saved again, resized or relit shares the first, a turned one the second.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from samestone.imaging.registration import PATCH as PATCH_PX
from samestone.imaging.registration import Registration, match_patches, patch_likeness, propose_turns
from samestone.imaging.study import Study
from samestone.imaging.view import TURNS, Plane, View, correlate_turns, disc, polar, turned

STEP = 360 / TURNS
SAME_TURN_DEG = 0.04
SAME_FRAME = 0.0006
RIGID_PX = 0.055
ALIKE = 0.62
SAME_GRAIN = 0.2
MIRROR_GAIN = 0.12
CLEARLY_TURNED = 4.0  # log-odds from which a turn is so sure that no mirror image needs to be tried

SAME_FILE = "The two files are the same file: a copy proves nothing."
SAVED_AGAIN = "One picture is the other one saved again, or nothing was moved between the two: a copy proves nothing."
TURNED_AGAIN = "One picture is the other one turned and saved again (same grain): a copy proves nothing."
MIRRORED = "One picture is mirrored: take it again without the camera's mirror setting."


def name_copy(a: Study, b: Study, registration: Registration) -> str:
    """A sentence when one picture is the other's copy or mirror image, else nothing."""
    if a.photo.digest == b.photo.digest:
        return SAME_FILE
    if registration.likeness > ALIKE and is_rigid(a.view.detail, b.view.detail, registration):
        if has_same_framing(a, b, registration):
            return SAVED_AGAIN
        if grain_likeness(a, b, registration) > SAME_GRAIN:
            return TURNED_AGAIN
    doubtful = registration.margin < CLEARLY_TURNED
    return MIRRORED if doubtful and is_mirrored(a.view, b.view, registration) else ""


def is_rigid(a: Plane, b: Plane, registration: Registration) -> bool:
    """Whether all patches lie where the turn puts them, to a few hundredths of a pixel: nothing leaned otherwise."""
    found = match_patches(turned(a, registration.rotation_deg, registration.shift), b, PATCH_PX, 3)
    good = found[found[:, 2] > 0.8]
    return len(good) > 0.5 * len(found) and float(np.median(np.hypot(good[:, 3], good[:, 4]))) < RIGID_PX


def has_same_framing(a: Study, b: Study, registration: Registration) -> bool:
    """Whether the stone fills the same place of the frame and is not turned."""
    turn = abs((registration.rotation_deg + 180) % 360 - 180)
    return turn < SAME_TURN_DEG and max(abs(x - y) for x, y in zip(_framing(a), _framing(b), strict=True)) < SAME_FRAME


def grain_likeness(a: Study, b: Study, registration: Registration) -> float:
    """Correlation of the finest structure where both pictures are smooth, A turned onto B."""
    first = turned(a.encoded, registration.rotation_deg, registration.shift)
    wide = [cv2.GaussianBlur(plane, (0, 0), 4) for plane in (first, b.encoded)]
    steep = [cv2.magnitude(cv2.Sobel(p, cv2.CV_32F, 1, 0), cv2.Sobel(p, cv2.CV_32F, 0, 1)) for p in wide]
    steepest, inside = np.maximum(*steep), disc(0.95)
    calm = inside & (steepest < np.percentile(steepest[inside], 12))
    x, y = (_grain(plane, calm) for plane in (first, b.encoded))
    return float((x * y).mean() / np.sqrt((x * x).mean() * (y * y).mean() + 1e-12))


def _grain(plane: Plane, calm: NDArray[np.bool_]) -> NDArray[Any]:
    """What a slight blur takes away, where it is calm; rare strong values (edges) are clipped."""
    fine: NDArray[Any] = (plane - cv2.GaussianBlur(plane, (0, 0), 1.6))[calm]
    most = 4.5 * float(np.median(np.abs(fine)))
    return np.asarray(np.clip(fine, -most, most))


def _framing(study: Study) -> tuple[float, float, float]:
    width, height = study.photo.width, study.photo.height
    x, y = study.stone.centre_px
    return (x + 0.5) / width, (y + 0.5) / height, study.stone.radius_px / width


def is_mirrored(a: View, b: View, registration: Registration) -> bool:
    """Whether A's mirror image fits B clearly better than A does."""
    mirror = View(np.ascontiguousarray(a.light[::-1]))
    curve = correlate_turns(mirror.edge_rows, b.edge_rows) + correlate_turns(polar(mirror.spot), polar(b.spot))
    direct = _best_likeness(a, b, [registration.rotation_deg])
    return _best_likeness(mirror, b, propose_turns(curve, 8)[:8]) > direct + MIRROR_GAIN


def _best_likeness(a: View, b: View, angles: list[float]) -> float:
    return max(patch_likeness(turned(a.detail_half, angle), b.detail_half) for angle in angles)
