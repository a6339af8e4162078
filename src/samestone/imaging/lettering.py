"""A levelled strip of characters, read by laying the picture of every character on every place."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from samestone.imaging.glyph import CAP_PX, glyphs

Plane = NDArray[np.float32]

WORTH = 0.42
"""Correlation above which a character lengthens the chain; noise beside an inscription reaches about this."""
PITCHES = np.arange(0.56, 1.25, 0.04)
"""Distances between characters that are tried, in cap heights."""
UNEVEN = 0.08
"""What a step that departs from the pitch by a tenth of the cap height costs."""
FAINT = 0.6
"""Strokes fainter than this share of the strongest count less."""
LETTER_EDGE = 0.04
"""Most inscriptions are numbers: one character must fit this much better as a letter before letters are considered."""


@dataclass(frozen=True)
class Character:
    """One character: what fits best, its correlation, and its lead over the second best."""

    name: str
    fit: float
    lead: float


@dataclass(frozen=True)
class Scores:
    """Best correlation of each character around each column of its middle."""

    names: list[str]
    values: Plane
    """(characters, columns)."""


def read_strip(strip: Plane, *, thorough: bool) -> list[Character]:
    """The characters of a strip whose capitals stand CAP_PX high, strokes positive; none when nothing stands out.

    thorough: in all typefaces, letters too; otherwise digits in one typeface. A place where a character must be but
    none fits is given as an unsure one.
    """
    if strip.shape[1] < 2 * CAP_PX or strip.shape[1] > 6000:
        return []
    scores = score_characters(strip, thorough=thorough)
    digits = np.array([name.isdigit() for name in scores.names])
    best = scores.values[digits].max(axis=0)
    if thorough and not digits.all():
        best = np.maximum(best, scores.values[~digits].max(axis=0) - LETTER_EDGE)
    pitches = PITCHES if thorough else PITCHES[::3]
    _, places = max((best_chain(best, pitch * CAP_PX) for pitch in pitches), key=lambda chain: chain[0])
    return name_places(scores, digits, places)


def score_characters(strip: Plane, *, thorough: bool) -> Scores:
    """Correlate the pictures of the characters with the strip; a few rows up or down are allowed."""
    by_name: dict[str, Plane] = {}
    faintness = faint_places(strip)
    for glyph in glyphs():
        if not thorough and not (glyph.character.isdigit() and glyph.plain):
            continue
        match = cv2.matchTemplate(strip, glyph.picture, cv2.TM_CCOEFF_NORMED)
        middle = match.shape[0] // 2
        score = np.full(strip.shape[1], -1.0, np.float32)
        start = glyph.picture.shape[1] // 2
        score[start : start + match.shape[1]] = match[max(0, middle - 6) : middle + 7].max(axis=0)
        score *= faintness
        known = by_name.get(glyph.character)
        by_name[glyph.character] = score if known is None else np.maximum(known, score)
    return Scores(list(by_name), np.stack(list(by_name.values())))


def faint_places(strip: Plane) -> Plane:
    """1 where a column's surroundings hold strokes as strong as the strip's strongest, less where they are fainter.

    A correlation alone does not see strength: grain beside the inscription may have a character's form.
    """
    rows = strip[CAP_PX // 2 : -CAP_PX // 2]
    power = cv2.blur((rows - rows.mean(axis=0, keepdims=True).mean()) ** 2, (CAP_PX // 2, 1)).mean(axis=0)
    quiet = float(np.quantile(power, 0.1))
    strength = np.sqrt(np.maximum(power - quiet, 0))
    return np.asarray(np.minimum(1.0, strength / (FAINT * max(float(np.quantile(strength, 0.9)), 1e-9))), np.float32)


def best_chain(score: Plane, pitch: float) -> tuple[float, list[int]]:
    """The chain with the largest sum of what its characters fit better than WORTH: that sum and the middles.

    Dynamic programming from left to right; steps that depart from the pitch cost.
    """
    gain = score - np.float32(WORTH)
    steps = np.arange(int(0.7 * pitch), int(1.35 * pitch) + 1)
    cost = UNEVEN * np.abs(steps - pitch) / (0.1 * CAP_PX)
    total, back = gain.astype(np.float64), np.full(score.size, -1)
    for x in range(int(steps[0]), score.size):
        reach = steps[: np.searchsorted(steps, x, side="right")]
        before = total[x - reach] - cost[: reach.size]
        k = int(np.argmax(before))
        if before[k] > 0:
            total[x], back[x] = gain[x] + before[k], x - int(reach[k])
    x = int(np.argmax(total))
    sum_of_all, chain = float(total[x]), []
    while x >= 0:
        chain.append(x)
        x = int(back[x])
    return sum_of_all, chain[::-1]


def name_places(scores: Scores, digits: NDArray[np.bool_], places: list[int]) -> list[Character]:
    """Name each place: as digits when no place fits clearly better as a letter, else among all characters."""
    near = np.stack([scores.values[:, max(0, x - 2) : x + 3].max(axis=1) for x in places])
    numeric = bool((near[:, digits].max(axis=1) >= near.max(axis=1) - LETTER_EDGE).all())
    candidates = np.flatnonzero(digits) if numeric else np.arange(len(scores.names))
    found: list[Character] = []
    for k in range(len(places)):
        order = candidates[np.argsort(near[k, candidates])[::-1]]
        first, second = float(near[k, order[0]]), float(near[k, order[1]])
        found.append(Character(scores.names[order[0]], first, first - second))
    return found
