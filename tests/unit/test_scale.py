"""Stage micrometers drawn from their formula: the scale comes back, and blurred rulings are refused."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from samestone.imaging.microscope import ScaleReading, Unresolved, measure_scale


def micrometer(
    um_per_px: float, *, angle_deg: float = 0.0, blur: float = 1.0, bend: float = 0.0, light_lines: bool = False
) -> NDArray[np.float32]:
    """10 µm rulings, fifth and tenth ones longer; drawn three times finer, light unevenly."""
    h, w, fine = 480, 720, 3
    y, x = (v / fine for v in np.mgrid[0 : h * fine, 0 : w * fine].astype(np.float32))
    x, y = x + (0.5 / fine - 0.5) - (w - 1) / 2, y + (0.5 / fine - 0.5) - (h - 1) / 2
    stretch = 1 + bend * (x * x + y * y) / (w / 2) ** 2
    a = np.radians(angle_deg)
    s = (x * np.cos(a) - y * np.sin(a)) * stretch * um_per_px
    t = (x * np.sin(a) + y * np.cos(a)) * stretch
    number = np.rint(s / 10)
    reach = np.where(number % 10 == 0, 190, np.where(number % 5 == 0, 160, 110))
    line = (np.abs(s - 10 * number) < 1.2) & (np.abs(t) < reach)
    picture = cv2.resize(np.where(line, 0.2, 0.8).astype(np.float32), (w, h), interpolation=cv2.INTER_AREA)
    picture = cv2.GaussianBlur(picture, (0, 0), blur) * np.linspace(0.85, 1.1, w, dtype=np.float32)
    picture = 1 - picture if light_lines else picture
    return np.asarray(picture + np.random.default_rng(7).normal(0, 0.008, picture.shape), np.float32)


@pytest.mark.parametrize(
    ("um_per_px", "angle_deg", "blur", "bend", "light_lines"),
    [
        (0.5263, 7.8, 1.1, -0.001, False),
        (0.8, -15.0, 1.0, 0.003, True),
        (1.3, 88.0, 0.8, 0.0, False),
        (1.0, 4.0, 2.4, 0.001, False),
        (1.7, -6.0, 1.9, 0.001, False),
    ],
)
def test_scale_within_a_ten_thousandth_and_three_u(
    um_per_px: float, angle_deg: float, blur: float, bend: float, light_lines: bool
) -> None:
    reading = measured(um_per_px, angle_deg=angle_deg, blur=blur, bend=bend, light_lines=light_lines)
    assert reading.um_per_px == pytest.approx(um_per_px, rel=1e-4)
    assert abs(reading.um_per_px - um_per_px) < 3 * reading.u
    assert reading.u < 5e-4 * um_per_px


@pytest.mark.parametrize(
    ("angle_deg", "crossed", "division_px"),
    [(0.0, True, 9.1), (31.0, True, 11.3), (12.0, False, 88.0), (60.0, False, 6.0)],
)
def test_crossed_rulings_and_wide_ones_at_any_angle(angle_deg: float, crossed: bool, division_px: float) -> None:
    um_per_px = 100 / division_px
    picture = full_field(um_per_px, division_um=100, angle_deg=angle_deg, crossed=crossed)
    reading = measure_scale(picture, division_um=100.0)
    assert reading.um_per_px == pytest.approx(um_per_px, rel=1e-4)
    assert abs(reading.um_per_px - um_per_px) < 3 * reading.u


def full_field(um_per_px: float, *, division_um: float, angle_deg: float, crossed: bool) -> NDArray[np.float32]:
    """Lines as wide as a quarter of the gap all over the picture, in one direction or two; bright on dark."""
    h, w, fine = 480, 720, 4
    y, x = ((v + 0.5) / fine - 0.5 for v in np.mgrid[0 : h * fine, 0 : w * fine].astype(np.float64))
    a = np.radians(angle_deg)
    x, y = x - (w - 1) / 2, y - (h - 1) / 2
    along, across = x * np.cos(a) - y * np.sin(a), x * np.sin(a) + y * np.cos(a)
    line = np.abs((along * um_per_px / division_um + 0.3) % 1 - 0.5) < 0.125
    if crossed:
        line |= np.abs((across * um_per_px / division_um) % 1 - 0.5) < 0.125
    picture = cv2.resize(np.where(line, 0.8, 0.15).astype(np.float32), (w, h), interpolation=cv2.INTER_AREA)
    noise = np.random.default_rng(11).normal(0, 0.01, picture.shape)
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), 1.0) + noise, np.float32)


def test_clear_tenth_lines_do_not_hide_finer_rulings_between_them() -> None:
    """Tenth lines twice as dark as the rulings, which 3.4 px apart are just too close: not ten times the scale."""
    _, x = np.mgrid[0:480, 0:720]
    number = x / 3.4
    tenth = np.abs((number / 10) % 1 - 0.5) < 0.03
    picture = 0.8 - 0.06 * np.cos(2 * np.pi * number) - 0.4 * tenth
    picture += np.random.default_rng(5).normal(0, 0.008, picture.shape)
    with pytest.raises(Unresolved):
        measure_scale(cv2.GaussianBlur(picture.astype(np.float32), (0, 0), 0.6), division_um=10.0)


def measured(um_per_px: float, **drawn: float | bool) -> ScaleReading:
    return measure_scale(micrometer(um_per_px, **drawn), division_um=10.0)  # type: ignore[arg-type]


def test_twice_the_division_is_twice_the_scale() -> None:
    picture = micrometer(0.9)
    once, twice = (measure_scale(picture, division_um=d).um_per_px for d in (10.0, 20.0))
    assert twice == pytest.approx(2 * once, rel=1e-12)


@pytest.mark.parametrize(("um_per_px", "blur"), [(2.0, 3.0), (1.8, 2.6), (2.5, 2.0)])
def test_rulings_blurred_into_one_tone_are_refused_not_taken_for_fifth_lines(um_per_px: float, blur: float) -> None:
    with pytest.raises(Unresolved):
        measured(um_per_px, blur=blur)


def test_a_picture_without_rulings_is_refused() -> None:
    with pytest.raises(Unresolved):
        measure_scale(np.random.default_rng(1).normal(0.5, 0.02, (300, 400)).astype(np.float32), division_um=10.0)


def test_a_division_of_no_length_is_misuse() -> None:
    with pytest.raises(ValueError, match="positive length"):
        measure_scale(micrometer(1.0), division_um=0.0)
