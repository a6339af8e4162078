"""The girdle's outline, blur and flags on drawings whose truth is known."""

from __future__ import annotations

import itertools

import cv2
import numpy as np
import pytest
from tests.unit.drawn_stone import Drawing, draw

from samestone.imaging.caliper import measure_contour
from samestone.imaging.nick import excursions
from samestone.imaging.photo import Photo
from samestone.imaging.rim import ANGLES, Curve
from samestone.imaging.study import Study


def errors(drawing: Drawing) -> tuple[float, float, float]:
    outline = Study(drawing.photo).stone
    off = float(np.hypot(*np.subtract(outline.centre_px, drawing.centre)))
    return off, outline.diameter_max_px / drawing.longest - 1, outline.diameter_min_px / drawing.shortest - 1


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"radius": 120, "side": 400},
        {"radius": 310},
        {"claws": 4},
        {"claws": 6, "radius": 230},
        {"contrast": 0.4},
        {"noise": 7.0},
        {"side": 1500, "radius": 640},
        {"elongation": 1.03},
    ],
)
def test_centre_and_diameters(changes: dict[str, float]) -> None:
    off, longest, shortest = errors(draw(3, **changes))  # type: ignore[arg-type]
    assert off < 0.05
    assert abs(longest) < 0.0007
    assert abs(shortest) < 0.0007


def test_an_oval_is_outlined_too() -> None:
    off, longest, shortest = errors(draw(1, elongation=1.35, radius=230))
    assert off < 0.3
    assert abs(longest) < 0.003
    assert abs(shortest) < 0.003


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize(
    "changes",
    [
        {"bevel": 0.3, "elongation": 1.3},
        {"bevel": 0.35, "elongation": 1.02},
        {"bevel": 0.15, "elongation": 1.1, "noise": 6.0},
    ],
)
def test_straight_sides_and_sharp_corners(seed: int, changes: dict[str, float]) -> None:
    off, longest, shortest = errors(draw(seed, radius=190, **changes))  # type: ignore[arg-type]
    assert off < 0.15
    assert abs(longest) < 0.0025
    assert abs(shortest) < 0.0025


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_rim_out_of_focus_is_placed_too(seed: int) -> None:
    off, longest, shortest = errors(draw(seed, blur=4))
    assert off < 0.2
    assert abs(longest) < 0.003
    assert abs(shortest) < 0.003


def test_the_stated_uncertainty_holds_and_grows_as_less_is_seen() -> None:
    share, stated = [], []
    for claws in (0, 6):
        for seed in range(8):
            drawing = draw(seed, claws=claws, noise=4.0)
            outline = Study(drawing.photo).stone
            share += [(outline.diameter_max_px - drawing.longest) / outline.u_px]
            share += [(outline.diameter_min_px - drawing.shortest) / outline.u_px]
            stated.append(outline.u_px)
    assert np.mean(np.abs(share) < 2) >= 0.9
    assert np.abs(share).max() < 3.5
    assert np.median(stated[8:]) > np.median(stated[:8])


def test_claws_are_reported_as_hidden_arcs() -> None:
    assert Study(draw(2).photo).stone.hidden_deg == ()
    arcs = Study(draw(2, claws=4).photo).stone.hidden_deg
    assert len(arcs) == 4
    assert all(5 < (end - start) % 360 < 16 for start, end in arcs)


def test_blur_grows_steadily_and_noise_is_not_sharpness() -> None:
    for noise in (0.5, 5.0):
        found = [Study(draw(5, blur=blur, noise=noise).photo).blur_share for blur in (0.5, 1, 1.5, 2.5, 4, 6, 9)]
        assert all(a < b for a, b in itertools.pairwise(found)), found


def flags(grey: np.ndarray) -> list[str]:
    return [flag.name for flag in Study(Photo(np.ascontiguousarray(grey), "", "PNG")).flags if flag.blocking]


def test_a_good_picture_has_no_blocking_flag() -> None:
    assert flags(draw(4).grey) == []


def test_blurred_is_blocking() -> None:
    assert flags(draw(4, blur=7).grey) == ["blurred"]


@pytest.mark.parametrize("shade", [0, 128, 255])
def test_an_even_frame_holds_no_stone(shade: int) -> None:
    assert flags(np.full((400, 600), shade, np.uint8)) == ["no stone"]


def test_noise_a_coin_and_a_finger_are_no_stone() -> None:
    rng = np.random.default_rng(1)
    assert flags(rng.integers(0, 255, (400, 500), dtype=np.uint8)) == ["no stone"]
    for shape in (((300, 300), (170, 170)), ((300, 250), (120, 280))):
        plain = np.full((600, 600), 150, np.float32)
        cv2.ellipse(plain, shape[0], shape[1], 0, 0, 360, 205, -1)
        noisy = cv2.GaussianBlur(plain, (0, 0), 2) + rng.normal(0, 2, plain.shape)
        assert flags(np.clip(noisy, 0, 255).astype(np.uint8)) == ["no stone"]


def test_two_stones_are_refused() -> None:
    left = draw(6, side=900, radius=190, centre=(220, 350)).grey
    right = draw(7, side=900, radius=180, centre=(660, 500)).grey
    assert flags(np.where(np.arange(900)[None, :] < 440, left, right)) == ["two stones"]


def test_a_stone_outside_the_frame_and_one_too_small() -> None:
    assert "cut off" in flags(draw(8, side=640, radius=230, centre=(460, 320)).grey)
    assert "too small" in flags(draw(8, side=640, radius=58).grey)


def test_most_of_it_white_is_refused() -> None:
    bright = np.clip(draw(4).grey.astype(int) * 3 - 100, 0, 255).astype(np.uint8)
    assert "clipped" in flags(bright)


def test_a_nick_lowers_the_smallest_diameter_only() -> None:
    calipers = measure_contour(Curve(3.0, 4.0, 100 + nick()).points)
    assert calipers.shortest == pytest.approx(199.0, abs=0.05)
    assert calipers.longest == pytest.approx(200.0, abs=0.01)
    assert calipers.centre == pytest.approx((3.0, 4.0), abs=0.1)


def nick() -> np.ndarray:
    """A chord one pixel deep across a rim of 100 pixels radius, off the circle."""
    chord = 99 / np.cos((ANGLES - 1.0 + np.pi) % (2 * np.pi) - np.pi)
    return np.where(np.cos(ANGLES - 1.0) > 0, np.minimum(100, chord), 100) - 100


def test_a_nick_is_trusted_an_inner_edge_is_not() -> None:
    everywhere, cut = np.ones(720, bool), nick()
    deep = cut < -0.2
    assert excursions(cut, everywhere, 100)[deep].all()
    assert not excursions(cut, everywhere, 100)[cut > -0.1].any()
    spoilt = np.where(np.arange(720) == np.argmin(cut), -3.0, cut)  # one wrong edge in it, itself not trusted
    assert excursions(spoilt, everywhere, 100)[deep].sum() == deep.sum() - 1
    jump = np.where(np.abs(ANGLES - 2) < 0.1, -1.0, 0.0)  # an inner facet edge seen in place of the rim
    assert not excursions(jump, everywhere, 100).any()
    slide = np.where((ANGLES > 2) & (ANGLES < 2.2), -5 * (ANGLES - 2), 0.0)  # and one that runs away from the rim
    assert not excursions(slide, everywhere, 100).any()
    first_half = ~(deep & (ANGLES > 1.0))  # deepest where it is lost: it may as well be an inner edge
    assert not excursions(cut, first_half, 100).any()
