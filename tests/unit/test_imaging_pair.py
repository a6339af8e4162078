"""Two pictures seen at once: the network in two halves, and what it makes of the simulated demo pictures."""

from __future__ import annotations

from dataclasses import replace
from importlib.resources import files

import numpy as np
import pytest

from samestone.imaging import open_photo
from samestone.imaging.characteristic import load_weights
from samestone.imaging.network import run_in_halves, run_network
from samestone.imaging.pair import see_both
from samestone.imaging.registration import register
from samestone.imaging.study import Study


def study(name: str) -> Study:
    return Study(open_photo(files("samestone.simulate").joinpath("pictures", f"{name}.jpg").read_bytes()))


@pytest.fixture(scope="module")
def cleaned() -> Study:
    return study("cleaned")


def test_in_halves_it_is_the_same_network() -> None:
    """Also shows that a pixel sees no farther than the halves overlap."""
    planes = np.random.default_rng(4).normal(0, 0.3, (22, 280, 280)).astype(np.float32)
    weights = load_weights("pairs.npz")
    whole = run_network(planes, weights)
    assert np.abs(run_in_halves(planes, weights) - whole).max() < 1e-5 * np.abs(whole).max()


def test_the_same_stone_speaks_for_one_and_another_for_two(cleaned: Study) -> None:
    pickup, other = study("pickup"), study("lookalike")
    found = {b: see_both(cleaned, b, register(cleaned.pattern, b.pattern)).evidence.sum() for b in (pickup, other)}
    assert found[pickup] > 5
    assert found[other] < -3


def test_laid_on_wrongly_the_same_stone_speaks_for_two(cleaned: Study) -> None:
    pickup = study("pickup")
    right = register(cleaned.pattern, pickup.pattern)
    wrong = replace(right, rotation_deg=(right.rotation_deg + 90) % 360)
    assert see_both(cleaned, pickup, wrong).evidence.sum() < -3


def test_marks_of_both_lie_in_the_frame_of_the_first(cleaned: Study) -> None:
    pickup = study("pickup")
    maps = see_both(cleaned, pickup, register(cleaned.pattern, pickup.pattern))
    both, alone = np.minimum(maps.natural, maps.natural_in_b), cleaned.maps[0]
    sure = both > 0.7
    assert sure.sum() > 50
    assert alone[sure].mean() > 10 * alone[~sure].mean()


def test_dirt_is_told_where_the_two_are_known_to_be_one(cleaned: Study) -> None:
    received = study("received")
    laid = register(received.pattern, cleaned.pattern)
    dirt = see_both(received, cleaned, laid, one_stone=True).dirt
    assert (dirt > 0.65).sum() > 100
    back = register(cleaned.pattern, received.pattern)
    assert (see_both(cleaned, received, back, one_stone=True).dirt > 0.65).sum() < 0.1 * (dirt > 0.65).sum()
