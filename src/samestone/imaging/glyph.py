"""Pictures of single letters and digits at one height, to be laid on an inscription."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

CAP_PX = 28
"""Height of a capital or digit in the normalised picture."""
MARGIN_PX = 3
ALPHABET = "0123456789ABCDEFGHJKLMNPQRSTUVWXYZ"
"""I and O are left out: they cannot be told from 1 and 0, and are read as these."""
WEIGHTS = (250, 450, 800)
"""Weights of the drawing library's typeface, from thin to heavy."""


@dataclass(frozen=True, eq=False)
class Glyph:
    """One character in one typeface: strokes 1 on ground 0, a margin of ground around."""

    character: str
    picture: NDArray[np.float32]
    plain: bool
    """Of the outline typeface; the first look uses only these."""


@cache
def glyphs() -> tuple[Glyph, ...]:
    """All characters in two typefaces, one of them in three weights, a little blurred as lenses do."""
    drawn = [(character, outline_glyph(character), True) for character in ALPHABET]
    drawn += [(character, weighted_glyph(character, weight), False) for character in ALPHABET for weight in WEIGHTS]
    return tuple(Glyph(name, soften(picture), plain) for name, picture, plain in drawn)


def soften(picture: NDArray[np.float32]) -> NDArray[np.float32]:
    """Blurred about as much as lens and sampling blur an inscription of this height."""
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), 1.6), np.float32)


def outline_glyph(character: str) -> NDArray[np.float32]:
    """The character in the imaging library's own outline typeface."""
    canvas = Image.new("L", (400, 400))
    ImageDraw.Draw(canvas).text((120, 100), character, fill=255, font=ImageFont.load_default(size=200))
    return at_height(np.asarray(canvas, np.float32) / np.float32(255))


def weighted_glyph(character: str, weight: int) -> NDArray[np.float32]:
    """The character in the drawing library's typeface."""
    canvas = np.zeros((400, 400), np.uint8)
    cv2.putText(canvas, character, (100, 300), (255,), cv2.FontFace("sans"), 200, weight)
    return at_height(canvas.astype(np.float32) / np.float32(255))


def at_height(drawing: NDArray[np.float32]) -> NDArray[np.float32]:
    """The drawing cropped to its ink and scaled to CAP_PX, with the margin around."""
    rows, columns = np.flatnonzero(drawing.max(axis=1) > 0.5), np.flatnonzero(drawing.max(axis=0) > 0.5)
    ink = drawing[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    width = max(3, round(ink.shape[1] * CAP_PX / ink.shape[0]))
    small = cv2.resize(ink, (width, CAP_PX), interpolation=cv2.INTER_AREA)
    return np.pad(small, MARGIN_PX)
