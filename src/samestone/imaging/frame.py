"""A frame of the live camera, or a picture of no particular view: is it sharp, is it lit, how does the stone lie?

Quick enough to be asked several times a second on a small frame; nothing learned takes part.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from samestone.imaging import quality
from samestone.imaging.focus import measure_blur
from samestone.imaging.level import lean_towards
from samestone.imaging.outline import Outline
from samestone.imaging.photo import Photo
from samestone.imaging.quality import Flag
from samestone.imaging.registration import STEP
from samestone.imaging.study import Study
from samestone.imaging.view import TURNS, Plane, correlate_turns, disc

# Shares of the shorter side. A plain picture has fewer edges than a stone's face, and the blur that is measured in it
# comes out smaller; set on simulated silhouettes and faces, blurred by known amounts.
BLURRED_SIDE_SHARE = 0.0023
SOFT_SIDE_SHARE = 0.0014
EMPTY_SHARE = 0.97
# An outline less certain than this share of its radius is no girdle: stones face up stay below 0.005 (sets `tune` and
# `extra`, simulated), a ring seen from the side comes to 0.03.
VAGUE_SHARE = 0.01
# Twice the standard deviation of each part of the lean: below, its direction is mostly chance.
DIRECTED_LEAN_DEG = 1.2
NOTHING_SEEN = Flag("clipped", "Nearly all of the picture is pure white or black.", "Change the exposure.", True)


@dataclass(frozen=True)
class FrameReading:
    """How one frame stands.

    `sharpness` and `light` run from 0 to 1: 1 is as sharp as can be told, `light` is the mean brightness as encoded.
    `lean_deg` is the angle between stone and line of sight; `turn_deg` the counter-clockwise turn, as seen, that lays
    the cut's facets as in the reference, the smallest of those that the cut's symmetry allows. `low_side_deg` says
    about where the girdle lies farthest from the lens, counter-clockwise from 3 o'clock. Each is None where it cannot
    be told, or where no stone was asked for.
    """

    outline: Outline | None
    sharpness: float
    light: float
    flags: tuple[Flag, ...]
    lean_deg: float | None = None
    turn_deg: float | None = None
    low_side_deg: float | None = None

    @property
    def blocking(self) -> tuple[Flag, ...]:
        """What makes the picture useless."""
        return tuple(flag for flag in self.flags if flag.blocking)


def read_frame(photo: Photo, reference: Photo | None = None) -> FrameReading:
    """Find the stone, face up, in a live frame and say what is still wrong with it.

    `reference` is an earlier photograph: of it only the lie of the facets is used, never a mark, so the answer does
    not depend on whether it is the same stone.
    """
    study = Study(photo)
    flags = tuple(flag for flag in study.flags if flag is not quality.NO_SCALE)
    if study.outline is None or study.outline.u_px > VAGUE_SHARE * study.outline.radius_px:
        return FrameReading(None, 0.0, _light(photo), (quality.NO_STONE,))
    if quality.NO_STONE in flags:
        return FrameReading(None, 0.0, _light(photo), flags)
    light = float(study.encoded[disc(0.95)].mean())
    sharpness = min(1.0, quality.SOFT_SHARE / max(study.blur_share, 1e-6))
    if any(flag.blocking for flag in flags):
        return FrameReading(study.outline, sharpness, light, flags)
    turn = _turn(study, reference) if reference is not None else None
    x, y = lean_towards(study.view.detail_half, study.view.fold)
    lean = float(np.hypot(x, y))
    low_side = float(np.degrees(np.arctan2(y, x)) % 360) if lean >= DIRECTED_LEAN_DEG else None
    return FrameReading(study.outline, sharpness, light, flags, lean, turn, low_side)


def read_plain(photo: Photo) -> FrameReading:
    """Judge a picture in which no girdle need be seen: blur over its middle, and whether anything is to be seen."""
    height, width = photo.grey.shape
    middle = photo.grey[height // 8 : -(height // 8), width // 8 : -(width // 8)]
    share = float(((middle >= 0.995 * photo.white) | (middle <= 0.004 * photo.white)).mean())
    if share > EMPTY_SHARE or float(middle.std()) < 0.004 * photo.white:
        return FrameReading(None, 0.0, _light(photo), (NOTHING_SEEN,))
    patch = middle.astype(np.float32) * np.float32(255 / photo.white)
    everywhere = np.ones(patch.shape, bool)  # no card is seen beside such a subject: no noise is taken away
    blur = measure_blur(patch, everywhere, ~everywhere) / min(height, width)
    flags: tuple[Flag, ...] = (quality.CLIPPED,) if share > quality.LOST_SHARE else ()
    if blur > BLURRED_SIDE_SHARE:
        flags = (quality.BLURRED, *flags)
    elif blur > SOFT_SIDE_SHARE:
        flags = (quality.SOFT, *flags)
    return FrameReading(None, min(1.0, SOFT_SIDE_SHARE / max(blur, 1e-6)), _light(photo), flags)


def _light(photo: Photo) -> float:
    return float(photo.grey.mean() / photo.white)


def _turn(study: Study, reference: Photo) -> float | None:
    then = _facets(reference)
    if then is None:
        return None
    fold = study.view.fold
    curve = correlate_turns(study.view.edge_rows, then).reshape(fold, TURNS // fold).sum(axis=0)
    whole = 360 / fold
    return float((np.argmax(curve) * STEP + whole / 2) % whole - whole / 2)


@lru_cache(maxsize=4)
def _facets(photo: Photo) -> Plane | None:
    """The polar map of an earlier picture's facet edges; None without a stone in it."""
    study = Study(photo)
    return study.view.edge_rows if study.usable else None
