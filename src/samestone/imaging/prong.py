"""The prongs around a set stone, seen face-up: where, how wide, how far they still reach over the crown.

Only the part just outside the girdle is measured: there a prong's two sides stand against the card, not against the
stone's own reflections of it. Even light and a card of another colour than the metal are needed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from samestone.imaging.photo import Photo
from samestone.imaging.reading import read_photo

Array = NDArray[np.float64]

AZIMUTHS = 2880
STRIP = np.linspace(1.03, 1.10, 25)
"""Where widths are read, in girdle radii; in GROUPS rows, so that a mirror-like rim stands out of the card's grain."""
GROUPS = 5
FLOOR = 1.0
"""Least colour distance (CIE Lab) that is taken for metal: polished white metal mirrors the card almost perfectly."""
BEYOND = np.linspace(1.40, 1.50, 9)
"""A shoulder of the shank still shows here, a prong does not."""
INSIDE = np.linspace(1.06, 0.70, 73)
LEAST_WIDTH, LARGEST_WIDTH = 0.05, 0.70
"""Widths of a prong in girdle radii (common practice, no source)."""
WORN_REACH, BROKEN_REACH = 0.33, 0.24
"""A prong that reaches over the crown by less than these shares of its width is flagged worn or broken; whole ones
reach over by about half (common practice, no source)."""
UNLIKE = 0.2
"""Prongs of one head are made alike; widths that differ by more than this share come from light, not from metal."""
UNEVEN_GAPS = 1.35
"""Prongs of one head stand evenly; a gap this many times the narrowest one asks for a prong that was not seen."""
UNEVEN_CARD = 8.0
"""A card whose lightness (CIE L*) changes more than this around the stone is lit from one side: a dome's changes by 2
to 4, goosenecks' by 10 (simulated)."""


class NoProngs(ValueError):
    """No prongs can be measured in this picture: what was found, what to do next."""


@dataclass(frozen=True)
class Prong:
    """One prong; angle counter-clockwise as seen from 3 o'clock."""

    angle_deg: float
    width_px: float
    u_px: float
    reach: float
    """How far it covers the crown, in its own widths."""
    sure: bool = True
    """Whether the light allows a word about the tip."""

    @property
    def flags(self) -> tuple[str, ...]:
        """`broken` where the girdle's edge shows across the prong, `worn` where its tip is short; else nothing."""
        if not self.sure:
            return ()
        if self.reach < BROKEN_REACH:
            return ("broken",)
        return ("worn",) if self.reach < WORN_REACH else ()


@dataclass(frozen=True)
class ProngReading:
    """All prongs of one picture, in order of their angle."""

    prongs: tuple[Prong, ...]
    flags: tuple[str, ...] = ()
    """`uneven_light`: the card is lit from one side, or the widths differ so much that the light must be the reason.
    `prong_missing`: fewer than three, or gaps between neighbours that differ as if one had not been seen."""

    @property
    def doubt(self) -> str:
        """What the flags ask for, for a person; empty where there are none."""
        if not self.flags:
            return ""
        found = "A prong may not have been seen" if "prong_missing" in self.flags else "The widths cannot be relied on"
        return f"{found}: the light is too hard. Take the picture under diffuse light all round, and count the prongs."


def measure_prongs(photo: Photo) -> ProngReading:
    """Find the prongs outside the girdle and measure their widths at right angles to the radius.

    A prong with parallel sides that stand Δφ apart at radius r is 2·r·sin(Δφ/2) wide; the median over 25 radii counts,
    its uncertainty from their spread and the edges' blur. Refuses (`NoProngs`) a picture without a girdle outline, and
    one whose surroundings are too uneven to tell metal from card.
    """
    outline = read_photo(photo).outline
    if outline is None:
        raise NoProngs("no girdle outline was found. Photograph the stone face-up, whole and sharp.")
    ring = Surroundings.of(photo, outline.centre_px, outline.radius_px)
    spans = [span for span in find_spans(ring.covered(STRIP)) if ring.is_prong(span)]
    if not spans:
        raise NoProngs("no prongs stand out against the card. Use even light and a card of another colour.")
    prongs = [ring.measure(span) for span in spans]
    whole = tuple(sorted((p for p in prongs if p is not None), key=lambda p: p.angle_deg))
    flags = flag_light(whole, ring.card)
    return ProngReading(tuple(replace(prong, sure=not flags) for prong in whole), flags)


def flag_light(prongs: tuple[Prong, ...], card: NDArray[np.float32]) -> tuple[str, ...]:
    """What speaks against the light, from the prongs' widths and gaps and the card's lightness around the stone."""
    widths = np.array([prong.width_px for prong in prongs])
    angles = np.array([prong.angle_deg for prong in prongs])
    gaps = np.diff(np.concatenate([angles, angles[:1] + 360]))
    unlike = widths.size > 1 and float(np.ptp(widths)) > UNLIKE * float(np.median(widths))
    flags = ["uneven_light"] if unlike or float(np.ptp(card[:, 0])) > UNEVEN_CARD else []
    if len(prongs) < 3 or float(gaps.max()) > UNEVEN_GAPS * float(gaps.min()):
        flags.append("prong_missing")
    return tuple(flags)


Span = tuple[int, int]
"""First and last column of a stretch; the last may pass the end, the columns go round."""


def find_spans(covered: NDArray[np.bool_]) -> list[Span]:
    """Stretches of columns that something covers, gaps of a degree closed, going round the circle."""
    gap = AZIMUTHS // 360
    closed = np.convolve(np.concatenate([covered[-gap:], covered, covered[:gap]]), np.ones(2 * gap + 1))
    covered = closed[2 * gap : 2 * gap + AZIMUTHS] > gap
    if covered.all() or not covered.any():
        return []
    start = int(np.flatnonzero(~covered)[0])
    turned = np.roll(covered, -start).astype(np.int8)
    steps = np.diff(np.concatenate([[0], turned, [0]]))
    firsts, lasts = np.flatnonzero(steps == 1), np.flatnonzero(steps == -1) - 1
    return [(int(a) + start, int(b) + start) for a, b in zip(firsts, lasts, strict=True)]


@dataclass(frozen=True)
class Surroundings:
    """The colours around the girdle, unrolled: columns are azimuths, rows radii."""

    image: NDArray[np.float32]
    """(H, W, 3) in CIE Lab."""
    centre: tuple[float, float]
    radius: float
    card: NDArray[np.float32]
    """Colour of the card along the azimuths, (AZIMUTHS, 3)."""
    scatter: float
    """Robust spread of the card's colour distance."""

    @classmethod
    def of(cls, photo: Photo, centre: tuple[float, float], radius: float) -> Surroundings:
        pixels = photo.pixels if photo.pixels.ndim == 3 else cv2.cvtColor(photo.pixels, cv2.COLOR_GRAY2RGB)
        lab = cv2.cvtColor(pixels.astype(np.float32) / np.float32(photo.white), cv2.COLOR_RGB2LAB)
        soft = np.asarray(cv2.GaussianBlur(lab, (0, 0), 0.8), np.float32)
        strip = fine(unroll(soft, centre, radius, STRIP).mean(axis=0))
        card = smooth_card(strip)
        distance = np.linalg.norm(strip - card, axis=1)
        return cls(soft, centre, radius, card, 1.4826 * float(np.median(distance[distance < 4 * np.median(distance)])))

    def distance(self, radii: Array) -> NDArray[np.float32]:
        """Colour distance from the card of the mean over some radii, (AZIMUTHS,), CIE Lab units."""
        colour = fine(unroll(self.image, self.centre, self.radius, radii).mean(axis=0))
        return np.asarray(np.linalg.norm(colour - self.card, axis=1), np.float32)

    def covered(self, radii: Array) -> NDArray[np.bool_]:
        """Columns where something other than the card shows."""
        return np.asarray(self.distance(radii) > self.floor)

    @property
    def floor(self) -> float:
        return max(5 * self.scatter, FLOOR)

    def is_prong(self, span: Span) -> bool:
        """Neither too narrow nor too wide, and not a shoulder that goes on outwards."""
        width = 2 * np.sin(np.pi * (span[1] - span[0] + 1) / AZIMUTHS)
        if not LEAST_WIDTH < width < LARGEST_WIDTH:
            return False
        if self.radius * BEYOND[-1] > min(self.centre) * 1.02:
            return True
        columns = np.arange(*span) % AZIMUTHS
        return float(self.covered(BEYOND)[columns].mean()) < 0.25

    def measure(self, span: Span) -> Prong | None:
        """Width from the outermost edges at each radius; reach of the tip over the crown."""
        margin = max(12, (span[1] - span[0]) // 4)
        columns = np.arange(span[0] - margin, span[1] + margin + 1)
        found = []
        for radii in np.array_split(STRIP, GROUPS):
            edge = outer_edges(self.distance(radii)[columns % AZIMUTHS], floor=1.2 * self.floor)
            if edge is not None:
                found.append((float(radii.mean()), edge))
        if len(found) < GROUPS // 2:
            return None
        angle = 2 * np.pi / AZIMUTHS
        widths = np.array([2 * r * self.radius * np.sin(angle * (b - a) / 2) for r, (a, b) in found])
        middle = float(np.median([(a + b) / 2 for _, (a, b) in found])) + columns[0]
        width = float(np.median(widths))
        spread = 1.4826 * float(np.median(np.abs(widths - width)))
        return Prong(
            angle_deg=middle * 360 / AZIMUTHS % 360,
            width_px=width,
            u_px=float(np.hypot(spread / 2, np.hypot(0.7, 0.01 * width))),
            reach=self.reach(middle, width),
        )

    def reach(self, middle: float, width: float) -> float:
        """How far the metal goes on inside the girdle, in widths of the prong: to the innermost strong step."""
        half = max(2, int(0.15 * width / self.radius / (2 * np.pi) * AZIMUTHS))
        columns = np.arange(int(middle) - half, int(middle) + half + 1) % AZIMUTHS
        inside = np.median(unroll(self.image, self.centre, self.radius, INSIDE)[:, columns], axis=1)
        metal = np.median(inside[INSIDE > 1.02], axis=0)
        away = np.linalg.norm(inside - metal, axis=1)
        step = np.convolve(away, np.repeat([1.0, -1.0], 3), mode="same")
        usable = (INSIDE < 1.02) & (1 - 0.75 * width / self.radius < INSIDE)
        tip = INSIDE[usable][step[usable] >= 0.6 * step[usable].max()].min()
        return float((1 - tip) * self.radius / width)


def unroll(image: NDArray[np.float32], centre: tuple[float, float], radius: float, radii: Array) -> NDArray[np.float32]:
    """The image along circles: (rows, AZIMUTHS, channels); columns counter-clockwise as seen from 3 o'clock."""
    angle = np.arange(AZIMUTHS) * 2 * np.pi / AZIMUTHS
    x = (centre[0] + radius * radii[:, None] * np.cos(angle)).astype(np.float32)
    y = (centre[1] - radius * radii[:, None] * np.sin(angle)).astype(np.float32)
    return np.asarray(cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32)


def smooth_card(strip: NDArray[np.float32]) -> NDArray[np.float32]:
    """The card's colour along the azimuths: two harmonics, fitted again without what departs from it."""
    angle = np.arange(AZIMUTHS) * 2 * np.pi / AZIMUTHS
    waves = np.column_stack([np.ones(AZIMUTHS), *(f(k * angle) for k in (1, 2) for f in (np.cos, np.sin))])
    card = np.broadcast_to(np.median(strip, axis=0), strip.shape)
    for limit in (25.0, 12.0, 8.0, 6.0):
        gap = np.linalg.norm(strip - card, axis=1)
        near = gap < max(limit, 3 * float(np.median(gap)) if limit > 20 else limit)
        if near.mean() < 0.2:
            break
        solution, *_ = np.linalg.lstsq(waves[near], strip[near], rcond=None)
        card = waves @ solution
    return np.asarray(card, np.float32)


def outer_edges(row: NDArray[np.float32], *, floor: float) -> tuple[float, float] | None:
    """Columns of the outermost half-height crossings from the left and from the right; None when nothing stands out."""
    left = first_crossing(row, floor)
    right = first_crossing(row[::-1], floor)
    if left is None or right is None:
        return None
    right = row.size - 1 - right
    return (left, right) if right > left else None


def first_crossing(row: NDArray[np.float32], floor: float) -> float | None:
    """Where the row first rises to half of the first crest that stands above the floor."""
    above = np.flatnonzero(row > floor)
    if above.size == 0 or above[0] == 0:
        return None
    first = int(above[0])
    crest = first
    while crest < row.size - 1 and row[crest + 1] >= row[crest]:
        crest += 1
    level = 0.5 * float(row[crest])
    crossing = crest
    while crossing > 0 and row[crossing - 1] >= level:
        crossing -= 1
    if crossing == 0:
        return None
    before, after = float(row[crossing - 1]), float(row[crossing])
    return crossing - 1 + (level - before) / max(after - before, 1e-6)


def fine(colour: NDArray[np.float32]) -> NDArray[np.float32]:
    """Colours along the azimuths, (AZIMUTHS, 3), smoothed over a few columns, going round."""
    around = np.concatenate([colour[-8:], colour, colour[:8]])
    return np.asarray(cv2.GaussianBlur(around, (1, 11), sigmaX=0, sigmaY=1.5)[8:-8], np.float32)
