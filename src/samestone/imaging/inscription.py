"""Reading an inscription on the girdle: what it says, or that it cannot be read; never a guess.

A name tag, not a fingerprint: numbers are copied, also onto other stones.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from samestone.imaging.glyph import CAP_PX, MARGIN_PX, glyphs
from samestone.imaging.photo import Photo

Plane = NDArray[np.float32]

LEAST_FIT = 0.55
"""Least correlation of a character with its picture; below it nothing was read right in trials."""
LEAST_MARGIN = 0.05
"""Least lead of the best character over the second best, the legibility index; see docs/method/measuring-photos.md."""
LETTER_HANDICAP = 0.04
"""Most inscriptions are numbers; a letter must fit better than a digit by this much."""
FEWEST = 3


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


UNREADABLE = "no line of characters stands out; more magnification and a lower light across the girdle may help"


@dataclass(frozen=True)
class Line:
    """A levelled strip that holds a line of characters, strokes positive, and their height in pixels."""

    strip: Plane
    cap_px: float


def read_inscription(photo: Photo) -> InscriptionReading:
    """Find the line of characters on the girdle, level it, and read it character by character.

    Each character is the one whose picture correlates best; the legibility index is the smallest lead over the second
    best. Below 18 px height, or when a character does not fit or lead enough, the inscription counts as unreadable.
    """
    grey = np.asarray(photo.grey, np.float32) / np.float32(photo.white)
    best = InscriptionReading("", 0.0, 0.0, False, "", UNREADABLE)
    for line in find_lines(grey):
        for strip in (line.strip, -line.strip):
            reading = read_line(Line(strip, line.cap_px))
            if (len(reading.doubtful) >= FEWEST, reading.legibility) > (len(best.doubtful) >= FEWEST, best.legibility):
                best = reading
    return best


def find_lines(grey: Plane) -> list[Line]:
    """The few places most like a line of text: a row of fine strokes, long and low, not reaching the picture's ends."""
    level = cv2.GaussianBlur(grey, (0, 0), 1.0)
    slope = girdle_slope(level)
    height, width = grey.shape
    turn = cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), slope, 1.0)
    upright = cv2.warpAffine(level, turn, (width, height), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    fine = upright - row_background(upright)
    lines = []
    for x, y, w, h in text_boxes(fine):
        if FEWEST * 0.4 * h < w < 0.9 * width and h >= 6:
            lines.append(cut_line(fine, (x, y, w, h)))
    return lines


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


def text_boxes(fine: Plane) -> list[tuple[int, int, int, int]]:
    """Boxes (x, y, w, h) of stretches dense in strokes, the most striking first; a few at several sizes of type."""
    boxes: list[tuple[float, tuple[int, int, int, int]]] = []
    for cap in (10, 16, 26, 42, 64):
        if cap * 2 > fine.shape[0]:
            continue
        stroke = cv2.GaussianBlur(fine, (0, 0), max(0.8, cap / 14)) - cv2.GaussianBlur(fine, (0, 0), cap / 3.5)
        energy = cv2.blur(stroke * stroke, (2 * cap, max(3, cap // 2)))
        quiet = np.median(energy, axis=1, keepdims=True) + float(np.median(energy))
        ratio = energy / np.maximum(quiet, 1e-9)
        mask = (ratio > 2.5).astype(np.uint8)
        mask = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((3, 2 * cap), np.uint8))
        count, _labels, stats, _ = cv2.connectedComponentsWithStats(mask)
        for i in range(1, count):
            x, y, w, h = (int(v) for v in stats[i, :4])
            if w > 1.5 * h and h < 3.5 * cap and w < 0.9 * fine.shape[1]:
                boxes.append((float(ratio[y : y + h, x : x + w].mean()) * np.sqrt(w * h), (x, y, w, h)))
    return [box for _, box in sorted(boxes, reverse=True)[:6]]


def cut_line(fine: Plane, box: tuple[int, int, int, int]) -> Line:
    """The strip around a box with its cap height, found from where the strokes' energy stands in the rows."""
    x, y, w, h = box
    left, right = max(0, x - h), min(fine.shape[1], x + w + h)
    top, bottom = max(0, y - h), min(fine.shape[0], y + 2 * h)
    inner = fine[top:bottom, x : x + w]
    noise = np.concatenate([fine[top:bottom, left:x], fine[top:bottom, x + w : right]], axis=1)
    rows = inner.var(axis=1) - (noise.var(axis=1) if noise.shape[1] > 4 else 0.0)
    rows = np.maximum(np.convolve(rows, np.ones(3) / 3, mode="same"), 0)
    inside = np.flatnonzero(rows > 0.3 * np.quantile(rows, 0.9))
    inside = inside[(inside > 0.1 * len(rows)) & (inside < 0.9 * len(rows))]
    if inside.size < 4:
        return Line(fine[top:bottom, left:right], float(h))
    first, last = int(inside[0]), int(inside[-1])
    cap = float(last - first + 1)
    pad = int(0.6 * cap)
    return Line(fine[max(0, top + first - pad) : top + last + 1 + pad, left:right], cap)


def read_line(line: Line) -> InscriptionReading:
    """Read a strip at the cap height found and at a few near it; the reading with the clearest characters."""
    tries = [read_at(line, line.cap_px * factor) for factor in (0.82, 0.91, 1.0, 1.1)]
    return max(tries, key=lambda reading: (len(reading.doubtful) >= FEWEST, reading.legibility))


def read_at(line: Line, cap_px: float) -> InscriptionReading:
    """Correlate all characters with the strip at one cap height, and read off the best chain."""
    scale = CAP_PX / cap_px
    strip = cv2.resize(line.strip, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
    if strip.shape[0] < CAP_PX + 2 * MARGIN_PX or strip.shape[1] < 2 * CAP_PX or strip.shape[1] > 6000:
        return InscriptionReading("", 0.0, cap_px, False, "", UNREADABLE)
    scores, widths, characters = score_characters(strip)
    places = best_chain(scores.max(axis=0), widths[scores.argmax(axis=0)])
    found = [lead_at(scores, characters, x) for x in places]
    return judge(found, cap_px)


def score_characters(strip: Plane) -> tuple[Plane, NDArray[np.intp], list[str]]:
    """Best correlation of each character at each column (of the glyph's middle), over faces and small heights."""
    by_character: dict[str, Plane] = {}
    width_of: dict[str, int] = {}
    for glyph in glyphs():
        match = cv2.matchTemplate(strip, glyph.picture, cv2.TM_CCOEFF_NORMED)
        middle = max(0, match.shape[0] // 2 - 8), match.shape[0] // 2 + 9
        score = np.full(strip.shape[1], -1.0, np.float32)
        start = glyph.picture.shape[1] // 2
        score[start : start + match.shape[1]] = match[middle[0] : middle[1]].max(axis=0)
        if not glyph.character.isdigit():
            score -= LETTER_HANDICAP
        known = by_character.get(glyph.character)
        by_character[glyph.character] = score if known is None else np.maximum(known, score)
        width_of.setdefault(glyph.character, glyph.picture.shape[1] - 2 * MARGIN_PX)
    characters = list(by_character)
    return np.stack(list(by_character.values())), np.array([width_of[c] for c in characters]), characters


def best_chain(score: Plane, widths: NDArray[np.intp]) -> list[int]:
    """Columns of the characters: the chain with the largest sum of (correlation - 0.4), kept a character's width apart.

    Dynamic programming from left to right; the next character stands 0.45 to 1.3 cap heights further.
    """
    gain = score - np.float32(0.4)
    total, back = gain.copy(), np.full(score.size, -1)
    near, far = int(0.45 * CAP_PX), int(1.3 * CAP_PX)
    for x in range(near, score.size):
        low = max(0, x - far)
        previous = int(low + np.argmax(total[low : x - near + 1]))
        if total[previous] > 0:
            total[x], back[x] = gain[x] + total[previous], previous
    del widths
    x = int(np.argmax(total))
    chain = []
    while x >= 0:
        chain.append(x)
        x = int(back[x])
    return chain[::-1]


def lead_at(scores: Plane, characters: list[str], x: int) -> tuple[str, float, float]:
    """The best character at a place, its correlation, and its lead over the best other one within two columns."""
    near = scores[:, max(0, x - 2) : x + 3].max(axis=1)
    first, second = np.argsort(near)[::-1][:2]
    return characters[first], float(near[first]), float(near[first] - near[second])


def judge(found: list[tuple[str, float, float]], cap_px: float) -> InscriptionReading:
    """Keep what fits; say whether all of it is sure."""
    found = [one for one in found if one[1] > 0.45]
    if len(found) < FEWEST:
        return InscriptionReading("", 0.0, cap_px, False, "", UNREADABLE)
    sure = [fit >= LEAST_FIT and lead >= LEAST_MARGIN for _, fit, lead in found]
    doubtful = "".join(c if ok else "?" for (c, _, _), ok in zip(found, sure, strict=True))
    legibility = min(lead for _, _, lead in found)
    if all(sure):
        return InscriptionReading(doubtful, legibility, cap_px, True, doubtful)
    reason = f"{sure.count(False)} of {len(found)} characters cannot be told from others"
    return InscriptionReading("", legibility, cap_px, False, doubtful, reason)
