"""Reading an inscription on the girdle: what it says, or that it cannot be read; never a guess.

A name tag, not a fingerprint: numbers are copied, also onto other stones.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from samestone.imaging.glyph import CAP_PX
from samestone.imaging.lettering import Character, read_strip
from samestone.imaging.photo import Photo

Plane = NDArray[np.float32]
Box = tuple[int, int, int, int]

LEAST_FIT = 0.66
"""Least correlation of a character with its picture; see docs/method/measuring-photos.md for the trials behind it."""
LEAST_LEAD = 0.05
"""Least lead of the best character over the second best, the legibility index; from the same trials."""
LETTER_LEAD = 0.10
"""Least lead where letters occur, for there are more of them to be taken for one another, and where the line or the
character fits no typeface well."""
FAMILIAR_FIT, CLOSE_FIT = 0.78, 0.74
"""Median fit of a line, and fit of a character, from which the typeface is one that is known. Without these, 2 of 410
strings in 21 other typefaces were read wrongly (simulated), with leads of 0.06 and 0.08."""
USUAL_FIT = 0.72
"""Least median fit of a line; grain alone reached 0.55."""
LEAST_CAP_PX = 11.0
"""Lower characters are not read, however clear they seem."""
FEWEST = 4
"""Fewer characters are not taken for an inscription: three scratches may look like 1, 1 and 7."""
SEARCHED_PX = 1600
"""Longest side of the picture in which the line of characters is sought."""
CAPS = (0.8, 0.87, 0.94, 1.0, 1.07, 1.15)
"""Heights tried, as shares of the height that the strokes' energy shows."""
NOTHING = "no line of characters stands out; more magnification and a lower light across the girdle may help"


@dataclass(frozen=True)
class InscriptionReading:
    """What the girdle says. `text` is empty when it is not readable; `doubtful` shows `?` for each unsure character."""

    text: str
    legibility: float
    """Smallest lead of a character over its rival; 0 when no line of characters was found."""
    cap_height_px: float
    readable: bool
    doubtful: str
    reason: str = ""


def read_inscription(photo: Photo) -> InscriptionReading:
    """Find the line of characters on the girdle, level it, and read it character by character.

    Each character is the one whose picture correlates best; the legibility index is the smallest lead over the second
    best. Below 11 px height, or when a character does not fit or lead enough, or when strokes are left over, the
    inscription counts as unreadable.
    """
    grey = np.asarray(photo.grey, np.float32) / np.float32(photo.white)
    shrink = min(1.0, SEARCHED_PX / max(grey.shape))
    small = cv2.resize(grey, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    fine = level_girdle(np.asarray(small, np.float32))
    readings = [read_box(fine, box, shrink) for box in text_boxes(fine)]
    return max(readings, key=rank, default=InscriptionReading("", 0.0, 0.0, False, "", NOTHING))


def rank(reading: InscriptionReading) -> tuple[bool, int, float]:
    """Order among readings of several places: the readable one, then the one with most sure characters."""
    return reading.readable, len(reading.doubtful.replace("?", "")), reading.legibility


def level_girdle(grey: Plane) -> Plane:
    """The picture turned so that the girdle runs level, without what changes slowly along it."""
    slope = girdle_slope(np.asarray(cv2.GaussianBlur(grey, (0, 0), 1.0), np.float32))
    height, width = grey.shape
    turn = cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), slope, 1.0)
    upright = cv2.warpAffine(grey, turn, (width, height), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(upright - row_background(np.asarray(upright, np.float32)), np.float32)


def girdle_slope(grey: Plane) -> float:
    """Slope of the girdle's edges in degrees (positive: falling to the right), from the strong steep gradients."""
    gx, gy = cv2.Sobel(grey, cv2.CV_32F, 1, 0), cv2.Sobel(grey, cv2.CV_32F, 0, 1)
    weight = gx**2 + gy**2
    strong = (weight > np.quantile(weight[::3, ::3], 0.97)) & (np.abs(gy) > 2 * np.abs(gx))
    if strong.sum() < 50:
        return 0.0
    double = np.arctan2(-2 * (gx * gy)[strong].sum(), (gy**2 - gx**2)[strong].sum())
    return float(np.degrees(double / 2))


def row_background(upright: Plane) -> Plane:
    """The girdle without its inscription: medians along the rows, wider than any character."""
    small = cv2.resize(upright, None, fx=0.25, fy=1.0, interpolation=cv2.INTER_AREA)
    half = max(15, small.shape[1] // 12)
    padded = np.pad(small, ((0, 0), (half, half)), mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1, axis=1)[:, ::8]
    medians = np.median(windows[..., ::4], axis=2).astype(np.float32)
    wide = cv2.resize(medians, (upright.shape[1], upright.shape[0]), interpolation=cv2.INTER_LINEAR)
    return np.asarray(wide, np.float32)


def text_boxes(fine: Plane) -> list[Box]:
    """Up to four boxes (x, y, w, h) of stretches dense in upright strokes, the most striking first.

    Steep strokes change the light along the row; the girdle's edges, level by now, do not.
    """
    slope = cv2.Sobel(cv2.GaussianBlur(fine, (0, 0), 1.0), cv2.CV_32F, 1, 0)
    found: list[tuple[float, Box]] = []
    for cap in (10, 20, 40):
        energy = cv2.blur(slope * slope, (2 * cap, max(3, cap // 3)))
        quiet = np.maximum(np.median(energy, axis=1, keepdims=True), np.median(energy))
        excess = energy / np.maximum(quiet, 1e-12)
        mask = (excess > 1 + 0.25 * (np.max(excess) - 1)).astype(np.uint8)
        mask = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((3, 3 * cap), np.uint8))
        count, _labels, stats, _centres = cv2.connectedComponentsWithStats(mask)
        for x, y, w, h in (tuple(int(v) for v in stats[i, :4]) for i in range(1, count)):
            if 1.5 * h < w < 0.97 * fine.shape[1] and 0.4 * cap < h < 3 * cap:
                gain = float(np.log(np.maximum(excess[y : y + h, x : x + w], 1)).mean())
                found.append((gain * float(np.sqrt(w * h)), (x, y, w, h)))
    return [box for _, box in sorted(found, reverse=True)[:4]]


def read_box(fine: Plane, box: Box, shrink: float) -> InscriptionReading:
    """Read the strip around a box, light on dark or dark on light, at several heights; keep what fits best."""
    top, cap, left, right = text_rows(fine, box)
    tries: list[tuple[float, float, list[Character]]] = []
    for share in CAPS:
        height = cap * share
        strip = cut_strip(fine, (top + cap / 2, left, right), height)
        for sign in (1, -1):
            characters = read_strip(np.asarray(sign * strip, np.float32), thorough=False)
            tries.append((sum(c.fit - 0.4 for c in characters), height * sign, characters))
    _, signed, _ = max(tries, key=lambda one: one[0])
    height = abs(signed)
    strip = cut_strip(fine, (top + cap / 2, left, right), height) * np.float32(np.sign(signed))
    return judge(read_strip(np.asarray(strip, np.float32), thorough=True), height / shrink)


def text_rows(fine: Plane, box: Box) -> tuple[float, float, int, int]:
    """First row and height of the characters in a box, from the rows' stroke energy; columns with a margin."""
    x, y, w, h = box
    left, right = max(0, x - 2 * h), min(fine.shape[1], x + w + 2 * h)
    top, bottom = max(0, y - h), min(fine.shape[0], y + 2 * h)
    slope = cv2.Sobel(cv2.GaussianBlur(fine, (0, 0), 1.0), cv2.CV_32F, 1, 0)
    rows = (slope[top:bottom, x : x + w] ** 2).mean(axis=1)
    rows = np.convolve(np.pad(rows, 1, mode="edge"), np.ones(3) / 3, mode="valid")
    level = float(np.quantile(rows, 0.1)) + 0.2 * (float(np.quantile(rows, 0.9)) - float(np.quantile(rows, 0.1)))
    inside = np.flatnonzero(rows > level)
    return top + float(inside[0]), float(inside[-1] - inside[0] + 1), left, right


def cut_strip(fine: Plane, place: tuple[float, int, int], cap: float) -> Plane:
    """A strip two cap heights high around a middle row, scaled so that characters stand CAP_PX high."""
    middle, left, right = place
    scale = CAP_PX / cap
    size = (int((right - left) * scale), 2 * CAP_PX)
    place_in = np.array([[1 / scale, 0, left], [0, 1 / scale, middle - cap]], np.float64)
    softened = cv2.GaussianBlur(fine, (0, 0), 0.45 / scale) if scale < 0.8 else fine
    how = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpAffine(softened, place_in, size, flags=how, borderMode=cv2.BORDER_REPLICATE), np.float32)


def judge(found: list[Character], cap_px: float) -> InscriptionReading:
    """Say what was read, and whether all of it is sure."""
    if len(found) < FEWEST or float(np.median([c.fit for c in found])) < 0.5:
        return InscriptionReading("", 0.0, cap_px, False, "", NOTHING)
    familiar = float(np.median([c.fit for c in found])) >= FAMILIAR_FIT and all(c.name.isdigit() for c in found)
    sure = [
        c.fit >= LEAST_FIT and c.lead >= (LEAST_LEAD if familiar and c.fit >= CLOSE_FIT else LETTER_LEAD) for c in found
    ]
    doubtful = "".join(c.name if ok else "?" for c, ok in zip(found, sure, strict=True))
    legibility = max(0.0, min(c.lead for c in found))
    if cap_px < LEAST_CAP_PX:
        reason = f"the characters are only {cap_px:.0f} px high; {LEAST_CAP_PX:.0f} are needed. Use more magnification."
        return InscriptionReading("", legibility, cap_px, False, doubtful, reason)
    if float(np.median([c.fit for c in found])) < USUAL_FIT:
        return InscriptionReading("", legibility, cap_px, False, doubtful, "what looks like characters is too faint")
    if not all(sure):
        reason = f"{sure.count(False)} of {len(found)} characters cannot be told from others"
        return InscriptionReading("", legibility, cap_px, False, doubtful, reason)
    return InscriptionReading(doubtful, legibility, cap_px, True, doubtful)
