"""Prongs drawn around a stone: number, places and widths come back; a stone without prongs is refused."""

from __future__ import annotations

import numpy as np
import pytest
from tests.unit.drawn_stone import draw

from samestone.imaging.microscope import NoProngs, measure_prongs
from samestone.imaging.photo import Photo

RADIUS = 260
WIDTH_PX = 0.15 * RADIUS


@pytest.mark.parametrize(("seed", "claws"), [(3, 4), (5, 6)])
def test_number_places_and_widths_come_back(seed: int, claws: int) -> None:
    reading = measure_prongs(draw(seed, claws=claws, radius=RADIUS).photo)
    turned = sorted(-prong.angle_deg % 360 for prong in reading.prongs)
    assert len(turned) == claws
    drawn_within = np.degrees(0.2)
    for number, angle in enumerate(turned):
        assert -0.5 < angle - number * 360 / claws < drawn_within + 0.5
    for prong in reading.prongs:
        assert prong.width_px == pytest.approx(WIDTH_PX, rel=0.03)
        assert abs(prong.width_px - WIDTH_PX) < 3 * prong.u_px
    assert reading.flags == ()


def test_a_stone_without_prongs_is_refused() -> None:
    with pytest.raises(NoProngs, match="no prongs"):
        measure_prongs(draw(4, radius=RADIUS).photo)


@pytest.mark.parametrize("hidden", [1, 2])
def test_prongs_that_do_not_stand_evenly_ask_for_diffuse_light(hidden: int) -> None:
    """Prongs painted over with the card, as one that mirrors it would look: never silently fewer."""
    drawing = draw(5, claws=6, radius=RADIUS)
    grey = drawing.grey.copy()
    y, x = np.mgrid[0 : grey.shape[0], 0 : grey.shape[1]].astype(float)
    away = np.hypot(x - drawing.centre[0], y - drawing.centre[1])
    turn = np.degrees(np.arctan2(drawing.centre[1] - y, x - drawing.centre[0])) % 360
    for prong in measure_prongs(drawing.photo).prongs[:hidden]:
        beside = np.abs((turn - prong.angle_deg + 180) % 360 - 180) < 15
        grey[beside & (away > 1.01 * RADIUS)] = np.median(grey[:40, :40])
    reading = measure_prongs(Photo(grey, "painted over", "PNG"))
    assert len(reading.prongs) == 6 - hidden
    assert "prong_missing" in reading.flags
    assert "diffuse light" in reading.doubt
    assert not any(prong.flags for prong in reading.prongs)
