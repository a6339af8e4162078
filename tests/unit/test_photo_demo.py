"""The simulated pictures that come with the program, against the renderer's truth of them."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from scripts.photo_packs import open_mask

from samestone import evidence
from samestone.imaging import compare_cleaning, compare_photos, open_photo, read_photo
from samestone.imaging.photo import Photo

PICTURES = files("samestone.simulate").joinpath("pictures")
NATURAL_LAYER, DIRT_LAYER = 1, 2


@pytest.fixture(scope="module")
def truth() -> dict[str, Any]:
    found: dict[str, Any] = json.loads(PICTURES.joinpath("demo.json").read_text(encoding="utf-8"))
    return found


@pytest.fixture(scope="module")
def photo() -> Callable[[str], Photo]:
    return lambda name: open_photo(PICTURES.joinpath(f"{name}.jpg").read_bytes())


@pytest.mark.parametrize("name", ["received", "cleaned", "loose", "pickup", "pickup_window", "lookalike"])
def test_the_girdle_is_where_it_is(name: str, truth: dict[str, Any], photo: Callable[[str], Photo]) -> None:
    reading, known = read_photo(photo(name)), truth[name]
    assert reading.outline is not None
    assert reading.usable
    assert np.hypot(*np.subtract(reading.outline.centre_px, known["centre_px"])) < 0.12
    assert reading.outline.diameter_max_px == pytest.approx(known["diameter_max_px"], rel=1.5e-3)
    assert reading.outline.diameter_min_px == pytest.approx(known["diameter_min_px"], rel=1.5e-3)


def test_picked_up_it_is_the_stone_that_was_cleaned(truth: dict[str, Any], photo: Callable[[str], Photo]) -> None:
    found = compare_photos(photo("cleaned"), photo("pickup"), "guided")
    turn = truth["pickup"]["rotation_deg"] - truth["cleaned"]["rotation_deg"]
    assert found.rotation_deg == pytest.approx(turn, abs=0.05)
    weighed = evidence.photographs.weigh_photographs(found)
    assert weighed.log10_lr is not None
    assert weighed.log10_lr.value > 1.3


def test_the_look_alike_is_not(photo: Callable[[str], Photo]) -> None:
    weighed = evidence.photographs.weigh_photographs(compare_photos(photo("cleaned"), photo("lookalike"), "guided"))
    assert weighed.log10_lr is not None
    assert weighed.log10_lr.value < -1


@pytest.mark.parametrize(
    ("name", "scores"),
    [
        ("pickup", {"likeness": 0.8060, "shared": 4.3860, "lone": 2.8372, "evidence": 8.0, "edge_gap": 0.5345}),
        ("lookalike", {"likeness": 0.0099, "shared": 0.4927, "lone": 4.8958, "evidence": -8.0, "edge_gap": 0.0524}),
    ],
)
def test_other_numbers_have_another_method_s_name(
    name: str, scores: dict[str, float], photo: Callable[[str], Photo]
) -> None:
    """Packets name the method that their picture line was made by. If this fails, the numbers of a pair have changed:
    give METHOD in imaging/comparison.py its next name, and the new figures here. No claim that they are right."""
    found = compare_photos(photo("cleaned"), photo(name))
    assert found.method == "samestone-photo/2"
    every = {**found.inclusion_scores, **found.facet_scores}
    assert {key: every[key] for key in scores} == pytest.approx(scores, rel=2e-3, abs=1e-4)


def test_another_lamp_is_noticed(photo: Callable[[str], Photo]) -> None:
    assert "Not comparable as guided" in compare_photos(photo("cleaned"), photo("pickup_window"), "guided").reason


def test_saved_again_it_is_refused(photo: Callable[[str], Photo]) -> None:
    out = io.BytesIO()
    Image.fromarray(photo("cleaned").pixels).save(out, "JPEG", quality=75)
    found = compare_photos(photo("cleaned"), open_photo(out.getvalue()))
    assert not found.usable
    assert "saved again" in found.reason


def test_dirt_that_went_is_told_from_marks_that_stay(truth: dict[str, Any], photo: Callable[[str], Photo]) -> None:
    found = compare_cleaning(photo("received"), photo("cleaned"))
    assert found.usable
    gone = [f for f in found.features if f.outcome == "not visible after"]
    stays = [f for f in found.features if f.outcome == "still there"]
    assert len(gone) >= 5
    assert len(stays) >= 3

    def near(feature: Any, letter: str) -> bool:
        known = [f for f in truth["received"]["features"] if f["id"].startswith(letter)]
        places = [(i["x_px"], i["y_px"], max(12.0, f["size_px"] / 2)) for f in known for i in f["images"]]
        return any(np.hypot(x - feature.x_px, y - feature.y_px) < reach for x, y, reach in places)

    # the mask holds all reflections too; scripts/render_pictures.py makes it (this one with 24 rays to a pixel)
    mask = open_mask(Path(__file__).with_name("received_mask.png"))

    def is_on(feature: Any, layer: int, reach: int = 4) -> bool:
        x, y = round(feature.x_px), round(feature.y_px)
        return bool(mask[y - reach : y + reach + 1, x - reach : x + reach + 1, layer].any())

    assert sum(is_on(f, DIRT_LAYER) for f in gone) >= 0.95 * len(gone)
    assert sum(is_on(f, NATURAL_LAYER) for f in stays) >= 0.8 * len(stays)
    assert not [f for f in gone if is_on(f, NATURAL_LAYER) and not is_on(f, DIRT_LAYER)]
    assert not [f for f in stays if near(f, "d") and not near(f, "n")]
    # films of grease in plain sight are told
    films = [f for f in truth["received"]["features"] if f["kind"] == "smear"]
    plain = [(i, f["size_px"] / 2) for f in films for i in f["images"] if i["contrast"] < -0.2]
    told = [any(np.hypot(i["x_px"] - f.x_px, i["y_px"] - f.y_px) < reach for f in gone) for i, reach in plain]
    assert len(told) >= 8
    assert sum(told) >= 0.9 * len(told)
    for mark in ("n1", "n6"):  # a crystal and a pinpoint that both pictures show
        assert any(near(f, mark) for f in stays)
    assert sum(near(f, "n") for f in stays) >= 3
    assert sum(near(f, "d") for f in stays) <= 0.2 * len(stays)
