"""Side views of an exact polyhedron, projected apart from the measuring code's own model."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from samestone.gem.solid import Proportions, build_round
from samestone.imaging.brilliant import SideView, brilliant_corners, corner_slopes
from samestone.imaging.microscope import NoSilhouette, measure_silhouette

STONE = Proportions(57.0, 34.2, 40.9, 3.0, 52.0, 78.0)


def side_view(azimuth_deg: float) -> NDArray[np.float32]:
    """A dark outline on a bright ground: pinhole camera 16 diameters away, 420 px to the diameter, a little noise."""
    a, fine = np.radians(azimuth_deg), 4
    corners = np.asarray(build_round(STONE).corners)
    along = corners[:, 0] * np.cos(a) - corners[:, 1] * np.sin(a)
    away = corners[:, 0] * np.sin(a) + corners[:, 1] * np.cos(a)
    size = 420 / (1 + away / 16)
    flat = np.column_stack([320 + along * size, 200 - corners[:, 2] * size])
    hull = cv2.convexHull(flat.astype(np.float32))
    sheet = np.zeros((440 * fine, 640 * fine), np.uint8)
    cv2.fillConvexPoly(sheet, np.rint(((hull + 0.5) * fine - 0.5) * 256).astype(np.int32), 255, shift=8)
    covered = cv2.resize(sheet, (640, 440), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    light = 0.85 * (1 - 0.93 * cv2.GaussianBlur(covered, (0, 0), 0.9))
    return np.asarray(light + np.random.default_rng(int(azimuth_deg)).normal(0, 0.006, light.shape), np.float32)


def test_three_turned_views_give_the_proportions() -> None:
    reading = measure_silhouette([side_view(azimuth) for azimuth in (7.0, 31.0, 100.0)])
    assert reading.pavilion_angle_deg.value == pytest.approx(STONE.pavilion_angle_deg, abs=0.15)
    assert reading.crown_angle_deg.value == pytest.approx(STONE.crown_angle_deg, abs=0.3)
    assert reading.depth_percent.value == pytest.approx(STONE.depth, abs=0.3)
    assert reading.table_percent.value == pytest.approx(STONE.table, abs=0.8)
    assert reading.diameter_px.value == pytest.approx(420, rel=0.008)
    assert reading.flags == ()


def test_dust_on_the_ground_far_from_the_stone_changes_nothing() -> None:
    views = [side_view(azimuth) for azimuth in (7.0, 31.0)]
    clean = measure_silhouette(views)
    for view in views:
        view[60:66, 520:526] = 0.2
    dusty = measure_silhouette(views)
    assert dusty.rms_px == pytest.approx(clean.rms_px, abs=0.02)
    assert dusty.pavilion_angle_deg.value == pytest.approx(clean.pavilion_angle_deg.value, abs=0.02)
    assert dusty.table_percent.value == pytest.approx(clean.table_percent.value, abs=0.1)


def test_slopes_of_the_outline_are_its_differences() -> None:
    """Distances from the hull as functions of scale, proportions and pose: analytic against central differences."""
    known = np.array([800.0, 57.0, 34.5, 41.0, 3.0, 52.0, 78.0, 0.05, 0.3, 0.012, 0.03, 500.0, 400.0])
    turn = np.linspace(0, 2 * np.pi, 200)
    points = np.column_stack([500 + 420 * np.cos(turn), 430 + 250 * np.sin(turn)])

    def misses(x: NDArray[np.float64]) -> NDArray[np.float64]:
        return SideView.of(brilliant_corners(x[1:8]), x[0], x[7], x[8:]).misses(points)

    view = SideView.of(brilliant_corners(known[1:8]), known[0], known[7], known[8:])
    slopes = np.hstack(view.slopes(points, corner_slopes(known[1:8])))
    steps = [0.01, 0.01, 0.01, 0.01, 0.01, 0.05, 0.05, 1e-4, 1e-5, 1e-5, 1e-5, 1e-3, 1e-3]
    for k, step in enumerate(steps):
        move = np.eye(1, known.size, k).ravel() * step
        numeric = (misses(known + move) - misses(known - move)) / (2 * step)
        agree = np.abs(numeric - slopes[:, k]) < 1e-4 * max(1.0, float(np.abs(numeric).max()))
        assert agree.mean() > 0.97, "but for points whose nearest side changes within the step"


def test_a_bright_empty_ground_and_a_cut_off_stone_are_refused() -> None:
    with pytest.raises(NoSilhouette, match="no dark stone"):
        measure_silhouette([np.full((200, 300), 0.8, np.float32)])
    with pytest.raises(NoSilhouette, match="cut off"):
        measure_silhouette([side_view(7.0)[:, 200:]])


def test_a_ball_and_a_box_are_refused() -> None:
    y, x = np.mgrid[0:440, 0:640]
    ball = np.hypot(x - 320, y - 220) < 150
    box = (np.abs(x - 320) < 200) & (np.abs(y - 220) < 110)
    for shape in (ball, box):
        with pytest.raises(NoSilhouette, match="no round brilliant"):
            measure_silhouette([cv2.GaussianBlur(np.where(shape, 0.05, 0.8).astype(np.float32), (0, 0), 1.0)])
