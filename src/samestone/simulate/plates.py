"""Flat things under the microscope, drawn rather than traced: a stage micrometer, letters on a girdle, a finger.

Pixel (0, 0) is the centre of the top-left pixel.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw, ImageFont
from scipy.ndimage import gaussian_filter, map_coordinates

from samestone.simulate.cutting import Floats

SIZE = (1600, 1200)
GLYPHS = "0123456789"


@dataclass(frozen=True)
class Ruling:
    """A stage micrometer as seen: 10 um divisions unless said otherwise, its angle, blur and the lens's faults."""

    um_per_px: float
    division_um: float = 10.0
    angle_deg: float = 0.0
    blur_px: float = 0.8
    barrel: float = 0.0  # radial distortion at the corner, as a fraction
    keystone: float = 0.0  # scale change from left to right edge, as a fraction
    line_um: float = 2.5


def _warped(ruling: Ruling) -> tuple[Floats, Floats]:
    w, h = SIZE
    x, y = np.meshgrid(np.arange(w) - (w - 1) / 2, np.arange(h) - (h - 1) / 2)
    r2 = (x**2 + y**2) / ((w / 2) ** 2 + (h / 2) ** 2)
    stretch = (1 + ruling.barrel * r2) * (1 + ruling.keystone * x / w)
    a = np.radians(ruling.angle_deg)
    u = (x * np.cos(a) - y * np.sin(a)) * stretch * ruling.um_per_px
    v = (x * np.sin(a) + y * np.cos(a)) * stretch * ruling.um_per_px
    return u, v


def draw_ruling(ruling: Ruling, rng: np.random.Generator) -> Floats:
    """Grey values 0..1 (1200, 1600): dark lines on a bright field, every fifth longer, every tenth longest."""
    u, v = _warped(ruling)
    n = np.round(u / ruling.division_um)
    off = np.abs(u - n * ruling.division_um)
    soft = 0.6 * ruling.um_per_px
    line = 1 / (1 + np.exp((off - ruling.line_um / 2) / soft * 3))
    reach = np.where(n % 10 == 0, 260.0, np.where(n % 5 == 0, 200.0, 150.0)) * max(1.0, ruling.um_per_px / 0.9)
    line = line * (np.abs(v) < reach)
    field = 0.82 * (1 - 0.08 * (u**2 + v**2) / np.max(u**2 + v**2))
    picture = gaussian_filter(field * (1 - 0.85 * line), ruling.blur_px)
    return np.asarray(np.clip(picture + rng.normal(0, 0.008, picture.shape), 0, 1))


@dataclass(frozen=True)
class Letters:
    """A girdle inscription as seen: text, cap height, contrast (negative: darker than the band), slope, blur."""

    text: str
    cap_px: float
    contrast: float
    slope_deg: float = 0.0
    blur_px: float = 0.8


def draw_letters(letters: Letters, rng: np.random.Generator) -> Floats:
    """Grey values 0..1 (480, 1280): a frosted girdle band between bright facets, with the letters lasered on it."""
    h, w = 480, 1280
    scale = 4
    font = ImageFont.load_default(size=letters.cap_px * scale / 0.72)
    sheet = Image.new("L", (w * scale // 2, h * scale // 2))
    draw = ImageDraw.Draw(sheet)
    draw.text((sheet.width / 2, sheet.height / 2), letters.text, fill=255, font=font, anchor="mm")
    ink = np.asarray(sheet, dtype=np.float64) / 255
    yy, xx = np.mgrid[0:h, 0:w].astype(np.float64)
    a = np.radians(letters.slope_deg)
    dx, dy = xx - w / 2, yy - h / 2
    across = dx * np.cos(a) - dy * np.sin(a)
    down = dx * np.sin(a) + dy * np.cos(a)
    where = [down * scale + sheet.height / 2, across * scale + sheet.width / 2]
    mark = map_coordinates(gaussian_filter(ink, scale / 2), where, order=1)
    half = max(1.6 * letters.cap_px, 40.0)
    band = np.where(np.abs(down) < half, 0.48, 0.78 + 0.1 * np.sin(across / 37.0))
    grain = gaussian_filter(rng.normal(0, 1, (h, w)), 1.6) * 0.06
    picture = gaussian_filter(band + grain * (np.abs(down) < half) + letters.contrast * mark, letters.blur_px)
    return np.asarray(np.clip(picture + rng.normal(0, 0.01, (h, w)), 0, 1))


def draw_finger(rng: np.random.Generator) -> Floats:
    """Display values 0..1 (640, 640, 3): a fingertip before the lens, out of focus."""
    yy, xx = np.mgrid[0:640, 0:640] / 640 - 0.5
    body = 1 / (1 + np.exp((np.hypot(xx * 1.1 + 0.1, (yy - 0.25) * 0.8) - 0.42) * 28))
    ridges = 0.02 * np.sin(np.hypot(xx, yy - 0.4) * 190)
    skin = np.stack([0.86 + ridges, 0.62 + ridges, 0.52 + ridges], axis=-1)
    picture = body[..., None] * skin + (1 - body[..., None]) * np.array([0.66, 0.66, 0.64])
    return np.asarray(np.clip(gaussian_filter(picture, (3, 3, 0)) + rng.normal(0, 0.01, picture.shape), 0, 1))
