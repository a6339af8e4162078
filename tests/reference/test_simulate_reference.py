"""The simulator's optics and geometry against published figures."""

from __future__ import annotations

import numpy as np
import pytest

from samestone.simulate.camera import Frame, direct_images, refract
from samestone.simulate.cutting import Proportions, round_brilliant, solid_from_planes
from samestone.simulate.photos import diamond_index
from samestone.simulate.stones import Stone


def test_index_of_diamond_and_its_dispersion() -> None:
    # R. Webster, Gems (5th ed.), table of constants: n(D) 2.417, dispersion B (686.7 nm) to G (430.8 nm) 0.044
    assert diamond_index(0.5893) == pytest.approx(2.417, abs=0.001)
    assert diamond_index(0.4308) - diamond_index(0.6867) == pytest.approx(0.044, abs=0.001)


def test_snell_and_total_reflection() -> None:
    # critical angle of diamond against air 24.4 degrees: arcsin(1/2.417), given so in gemmology handbooks
    n = diamond_index(0.5893)
    up = np.array([0.0, 0.0, 1.0])

    def from_inside(angle_deg: float) -> np.ndarray | None:
        a = np.radians(angle_deg)
        return refract(np.array([np.sin(a), 0.0, np.cos(a)]), -up, n)

    assert from_inside(24.3) is not None
    assert from_inside(24.6) is None
    out = from_inside(10.0)
    assert out is not None
    assert np.degrees(np.arcsin(out[0])) == pytest.approx(np.degrees(np.arcsin(n * np.sin(np.radians(10)))))


def test_apparent_place_under_a_flat_table() -> None:
    # paraxial apparent depth = depth / n (any optics textbook): a point d below the table seems d / n below it
    axes = np.vstack([np.eye(3), -np.eye(3)])
    block = solid_from_planes(axes, np.full(6, 5.0), ("x", "y", "table", "-x", "-y", "bottom"))
    frame = Frame((1001, 1001), 10.0, distance_mm=1000.0)
    point = np.array([0.5, 0.0, 2.0])
    seen = dict(direct_images(point, block, frame, 2.417))
    apparent = np.array([[0.5, 0.0, 5.0 - 3.0 / 2.417]])
    assert seen["table"] == pytest.approx(frame.project(apparent)[0], abs=0.05)


def test_weight_against_the_trade_formula() -> None:
    # carat = diameter^2 x depth x 0.0061 for round brilliants with a thin to medium girdle (common practice, no source
    # better than the trade's own tables); the formula is good to a few percent
    p = Proportions(6.50, girdle=0.022)
    stone = Stone("check", "round", p, np.zeros((64, 2)), round_brilliant(p), ())
    depth = float(np.ptp(stone.solid.corners()[:, 2]))
    assert stone.weight_ct == pytest.approx(6.50**2 * depth * 0.0061, rel=0.03)
