"""Inscriptions: digits drawn on a grainy girdle are read; what cannot be read is said, never guessed."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFont

from samestone.imaging.microscope import read_inscription
from samestone.imaging.photo import Photo


def girdle(text: str, cap_px: float, contrast: float, *, slope_deg: float = 0.0, seed: int = 1) -> Photo:
    """A grainy band between bright facets with characters on it."""
    rng = np.random.default_rng(seed)
    sheet = Image.new("L", (900, 300))
    font = ImageFont.load_default(size=cap_px / 0.72)
    ImageDraw.Draw(sheet).text((450, 150), text, fill=255, font=font, anchor="mm")
    y, x = np.mgrid[0:300, 0:900].astype(np.float32)
    on_band = np.abs(y - 150) < 1.7 * cap_px
    picture = np.where(on_band, 0.5, 0.75 + 0.1 * np.sin(x / 60)).astype(np.float32)
    picture += contrast * np.asarray(sheet, np.float32) / 255
    picture += cv2.GaussianBlur(rng.normal(0, 0.05, picture.shape).astype(np.float32), (0, 0), 1.5)
    turn = cv2.getRotationMatrix2D((449.5, 149.5), -slope_deg, 1.0)
    picture = cv2.warpAffine(cv2.GaussianBlur(picture, (0, 0), 0.9), turn, (900, 300), borderMode=cv2.BORDER_REPLICATE)
    return Photo((np.clip(picture, 0, 1) * 255).astype(np.uint8), "0" * 64, "PNG")


@pytest.mark.parametrize(
    ("text", "cap_px", "contrast", "slope_deg"),
    [("3908172", 30.0, 0.2, 0.0), ("5501674", 24.0, -0.2, 2.0), ("88260914", 34.0, 0.12, -3.0)],
)
def test_clear_digits_are_read_light_or_dark_level_or_not(
    text: str, cap_px: float, contrast: float, slope_deg: float
) -> None:
    reading = read_inscription(girdle(text, cap_px, contrast, slope_deg=slope_deg))
    assert (reading.readable, reading.text) == (True, text)
    assert reading.legibility >= 0.05
    assert reading.cap_height_px == pytest.approx(cap_px, rel=0.15)


@pytest.mark.parametrize("seed", range(4))
def test_a_bare_girdle_is_not_read(seed: int) -> None:
    reading = read_inscription(girdle(" ", 28.0, 0.2, seed=seed))
    assert not reading.readable
    assert reading.text == ""
    assert reading.reason


def test_characters_of_nine_pixels_are_refused_not_guessed() -> None:
    reading = read_inscription(girdle("4870356", 9.0, 0.25))
    assert reading.text == ""
    assert reading.reason
