"""What may be wrong with a photograph of a stone: flags, each with one sentence and one remedy."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from samestone.imaging.outline import Outline

BLURRED_SHARE = 0.0075
SOFT_SHARE = 0.0055
SMALLEST_RADIUS_PX = 70.0
TILTED_DEG = 2.2
DISPLAY_GAMMA = 2.2
GLARE_SHARE = 0.012
CLIPPED_SHARE = 0.04
LOST_SHARE = 0.25
MOST_DAZZLE = 1.9  # under 309 domes of the set `calibrate` 2 had more


@dataclass(frozen=True)
class Flag:
    """A doubt about a photograph; `blocking` ones make it unusable for comparison (it then counts neither way)."""

    name: str
    sentence: str
    remedy: str
    blocking: bool = False


NO_STONE = Flag(
    "no stone", "No stone's outline was found.", "Fill half the frame or more with one stone, face up.", True
)
TWO_STONES = Flag("two stones", "More than one stone is in the picture.", "Leave one stone in the picture.", True)
BLURRED = Flag("blurred", "The picture is blurred.", "Focus on the girdle, close the iris, and take it again.", True)
SOFT = Flag("soft", "The picture is a little soft.", "Focus on the girdle if you take another.")
SMALL = Flag("too small", "The stone is too small in the picture.", "Come closer: 300 pixels across at least.", True)
CUT_OFF = Flag("cut off", "Part of the stone is outside the picture.", "Centre the stone and take it again.", True)
LOST = Flag("clipped", "Much of the stone is pure white or pure black.", "Change the exposure and take it again.", True)
CLIPPED = Flag("clipped", "Parts of the stone are pure white or pure black.", "Expose less, or soften the lamp.")
GLARE = Flag("glare", "A lamp is mirrored in the stone.", "Use a soft light from all around.")
TILTED = Flag("tilted", "The stone leans by about {0:.0f} degrees.", "Level the table before you take it again.")
NO_SCALE = Flag("no scale", "The picture holds no scale: lengths are in pixels.", "Give the microscope's scale.")
PRONGS = Flag("prongs hide {0:.0f}°", "Claws hide {0:.0f} degrees of the girdle.", "What they hide is not examined.")


def fill(flag: Flag, value: float) -> Flag:
    """The flag with its number written in."""
    return Flag(flag.name.format(value), flag.sentence.format(value), flag.remedy, flag.blocking)


def hidden_degrees(outline: Outline) -> float:
    """Sum of the girdle's hidden arcs."""
    return float(sum((end - start) % 360 or 360 for start, end in outline.hidden_deg))


def exposure_flags(stone: NDArray[Any], white: float) -> tuple[Flag, ...]:
    """Clipping and glare from the stone's own pixels (a two-dimensional cut-out's inside, flattened or not)."""
    bright, dark = float((stone >= 0.995 * white).mean()), float((stone <= 0.004 * white).mean())
    if bright + dark > LOST_SHARE:
        return (LOST,)
    flags = (CLIPPED,) if bright + dark > CLIPPED_SHARE else ()
    return (*flags, GLARE) if bright > GLARE_SHARE else flags


def dazzle(stone: NDArray[Any]) -> float:
    """How many times the brightest facets outshine most: 99th over 50th percentile of linear light, white being 1.

    Under a soft dome no facet can mirror anything much brighter than what most of them mirror (decision 68).
    """
    middle, high = np.percentile(stone, (50, 99)) ** DISPLAY_GAMMA
    return float((high + 0.003) / (middle + 0.003))


def is_cut_off(outline: Outline, width: int, height: int) -> bool:
    """Whether the girdle's ellipse leaves the frame by more than a hundredth of its radius."""
    (x, y), ellipse = outline.centre_px, outline.ellipse
    across = float(np.hypot(ellipse.major * np.cos(ellipse.tilt), ellipse.minor * np.sin(ellipse.tilt)))
    down = float(np.hypot(ellipse.major * np.sin(ellipse.tilt), ellipse.minor * np.cos(ellipse.tilt)))
    slack = 0.01 * outline.radius_px
    return min(x - across, y - down, width - 1 - x - across, height - 1 - y - down) < -slack


def has_structure(patch: NDArray[np.float32], inside: NDArray[np.bool_]) -> bool:
    """Whether there are facets: edges spread over the disc, unlike a coin, a drop or a finger tip."""
    smooth = cv2.GaussianBlur(patch, (0, 0), 1.5)
    steep = cv2.magnitude(
        cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=0.125), cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=0.125)
    )
    cells = cv2.resize(steep * inside, (14, 14), interpolation=cv2.INTER_AREA)
    weights = cv2.resize(inside.astype(np.float32), (14, 14), interpolation=cv2.INTER_AREA)
    full = weights > 0.8
    return float((cells[full] / weights[full] > 0.004).mean()) > 0.3
