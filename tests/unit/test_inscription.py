"""Inscriptions: digits drawn on a grainy girdle are read; what cannot be read is said, never guessed."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFont

from samestone.imaging.microscope import read_inscription
from samestone.imaging.photo import Photo


def girdle(
    text: str, cap_px: float, contrast: float, *, slope_deg: float = 0.0, seed: int = 1, slant: float = 0.0
) -> Photo:
    """A grainy band between bright facets with characters on it; slant: what their tops lean over, in heights."""
    rng = np.random.default_rng(seed)
    sheet = Image.new("L", (900, 300))
    font = ImageFont.load_default(size=cap_px / 0.72)
    ImageDraw.Draw(sheet).text((450, 150), text, fill=255, font=font, anchor="mm")
    lean = np.array([[1, slant, -150 * slant], [0, 1, 0]], np.float32)
    drawn = np.asarray(cv2.warpAffine(np.asarray(sheet, np.float32), lean, (900, 300)), np.float32)
    y, x = np.mgrid[0:300, 0:900].astype(np.float32)
    on_band = np.abs(y - 150) < 1.7 * cap_px
    picture = np.where(on_band, 0.5, 0.75 + 0.1 * np.sin(x / 60)).astype(np.float32)
    picture += contrast * drawn / 255
    picture += cv2.GaussianBlur(rng.normal(0, 0.05, picture.shape).astype(np.float32), (0, 0), 1.5)
    turn = cv2.getRotationMatrix2D((449.5, 149.5), -slope_deg, 1.0)
    soft = cv2.GaussianBlur(picture, (0, 0), 0.9)
    picture = np.asarray(cv2.warpAffine(soft, turn, (900, 300), borderMode=cv2.BORDER_REPLICATE), np.float32)
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


@pytest.mark.parametrize("text", ["96683941", "6820608712", "4179410", "3558269"])
@pytest.mark.parametrize("slant", [0.12, 0.25, 0.4])
def test_slanted_digits_are_read_rightly_or_not_at_all(text: str, slant: float) -> None:
    for seed in (1, 2):
        assert read_inscription(girdle(text, 26.0, 0.15, seed=seed, slant=slant)).text in {text, ""}
