"""The simulated world is what it says it is."""

from __future__ import annotations

import io
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image
from scipy.spatial import ConvexHull

from samestone import evidence, simulate
from samestone.simulate.blemish import draw_dirt
from samestone.simulate.camera import CameraModel, Frame, develop
from samestone.simulate.cutting import CUTS, Proportions, round_brilliant, solid_from_planes
from samestone.simulate.demo import demo_shots
from samestone.simulate.extra import true_angles
from samestone.simulate.light import Lamp, sky
from samestone.simulate.photos import View, facts_of
from samestone.simulate.record import true_sizes
from samestone.simulate.sets import SIZES, roles, stone_of, stone_shots
from samestone.simulate.stones import Stone


@pytest.fixture(scope="module")
def stone() -> Stone:
    return simulate.draw_stone("S1", np.random.default_rng(2))


def test_a_brilliant_has_the_proportions_it_was_given() -> None:
    p = Proportions(6.5, table=0.58, crown_deg=35.0, pavilion_deg=41.0, girdle=0.03)
    solid = round_brilliant(p)
    assert Counter(n.rstrip("0123456789ab ") for n in solid.names)["pavilion main"] == 8
    found = true_angles(Stone("x", "round", p, np.zeros((64, 2)), solid, ()))
    assert found["crown_deg"] == pytest.approx(35.0, abs=1e-6)
    assert found["pavilion_deg"] == pytest.approx(41.0, abs=1e-6)
    assert found["table_percent"] == pytest.approx(58.0, abs=1e-6)


@pytest.mark.parametrize("cut", sorted(CUTS))
def test_solids_are_closed(cut: str) -> None:
    stone = simulate.draw_stone("x", np.random.default_rng(5), cut=cut)
    hull = ConvexHull(stone.solid.corners())
    assert stone.weight_ct == pytest.approx(hull.volume * 3.515 / 200, rel=1e-9)


def test_impossible_proportions_are_refused() -> None:
    with pytest.raises(ValueError, match="table is 57"):
        Proportions(6.5, table=57)
    with pytest.raises(ValueError, match="no stone"):
        Proportions(6.5, crown_deg=75.0)
    with pytest.raises(ValueError, match="ordinary proportions"):
        solid_from_planes(np.eye(3), np.array([1.0, 1.0, -0.1]), ("a", "b", "c"))


def test_features_lie_inside_and_dust_outside(stone: Stone) -> None:
    for feature in stone.features:
        assert stone.solid.inside(feature.mesh.vertices).all(), feature.id
    dirt = draw_dirt(np.random.default_rng(3), stone.solid)
    dust = [d for d in dirt if d.kind == "dust"]
    assert dust
    assert not any(stone.solid.inside(np.array([d.centre_mm]))[0] for d in dust)


def test_twins_share_proportions_and_clones_facets_too(stone: Stone) -> None:
    twin = simulate.draw_twin("T", np.random.default_rng(8), stone)
    clone = simulate.draw_clone("C", np.random.default_rng(9), stone)
    assert twin.proportions == clone.proportions == stone.proportions
    assert not np.allclose(twin.facet_errors, stone.facet_errors)
    assert np.array_equal(clone.facet_errors, stone.facet_errors)
    assert {f.centre_mm for f in clone.features}.isdisjoint(f.centre_mm for f in stone.features)


def test_truth_turns_with_the_stone(stone: Stone) -> None:
    frame = Frame(um_per_px=11.0, distance_mm=90.0)
    before, after = (facts_of(stone, View("v", turn, frame=frame)) for turn in (0.0, 90.0))
    for a, b in zip(before["features"], after["features"], strict=True):
        assert (b["angle_deg"] - a["angle_deg"]) % 360 == pytest.approx(90.0, abs=0.011)
        assert b["r"] == a["r"]
    assert before["diameter_max_px"] == pytest.approx(after["diameter_max_px"], abs=0.01)
    # counter-clockwise as seen: what was at 3 o'clock is then at 12 o'clock, higher in the picture
    marks = [(a, b) for a, b in zip(before["features"], after["features"], strict=True) if a["images"] and b["images"]]
    (x0, y0), (x1, y1) = (((m["images"][0]["x_px"], m["images"][0]["y_px"])) for m in marks[0])
    assert (x1 - 319.5, y1 - 319.5) == pytest.approx((y0 - 319.5, -(x0 - 319.5)), abs=0.02)


def test_half_of_the_stones_to_learn_on_are_copies_of_the_others() -> None:
    count = Counter(role for role, _ in roles("tune"))
    assert count["clone"] == SIZES["tune"] / 2
    assert count["clean"] >= 0.1 * SIZES["tune"] / 2
    assert sorted(model for role, model in roles("tune") if role == "clone") == list(range(SIZES["tune"] // 2))


@pytest.mark.parametrize("name", ["tune", "calibrate"])
def test_copies_stand_under_the_lamp_of_what_they_copy(name: str) -> None:
    first, copy = next((model, k) for k, (_, model) in enumerate(roles(name)) if model >= 0)
    one, other, apart = (list(stone_shots(name, k))[4].view.lamp for k in (first, copy, first + 1))
    assert one == other != apart


@pytest.mark.parametrize("name", ["calibrate", "final"])
def test_every_set_holds_enough_hard_stones(name: str) -> None:
    count = Counter(role for role, _ in roles(name))
    for hard in ("twin", "clone", "clean"):
        assert count[hard] >= 0.1 * SIZES[name]
    assert sum(count.values()) == SIZES[name]


def test_sets_are_repeatable_and_do_not_share_stones() -> None:
    again, first, other = stone_of("tune", 3)[0], stone_of("tune", 3)[0], stone_of("final", 3)[0]
    assert again.weight_ct == first.weight_ct
    assert other.weight_ct != first.weight_ct


def test_records_are_read_and_centre_on_the_truth(stone: Stone) -> None:
    rng = np.random.default_rng(1)
    weights = []
    for _ in range(40):
        record = simulate.draw_examination(stone, simulate.Bench(scale_u_ct=0.01), rng)
        evidence.read_examination(record)
        reading = next(r for r in record["readings"] if r["property"] == "weight_ct")
        weights.append(np.mean([float(v) for v in reading["indications"]]))
    # the mean of 40 records: 0.01 ct x sqrt(0.2 + 0.8 / 3) / sqrt(40) = 0.0011 ct standard uncertainty
    assert np.mean(weights) == pytest.approx(true_sizes(stone)["weight_ct"], abs=0.0044)


def test_a_set_stone_is_not_weighed(stone: Stone) -> None:
    record = simulate.draw_examination(stone, simulate.Bench(), np.random.default_rng(1), setting="set")
    assert "weight_ct" not in {r["property"] for r in record["readings"]}
    evidence.read_examination(record)


def test_a_week_without_mistakes_and_a_week_of_nothing_else() -> None:
    honest = list(simulate.draw_weeks(np.random.default_rng(4), simulate.Bench(), weeks=1, jobs_a_week=5))
    assert {job.truth for job in honest} == {"same"}
    wrong = list(simulate.draw_weeks(np.random.default_rng(4), simulate.Bench(), weeks=1, jobs_a_week=5, mistaken=1.0))
    assert {job.truth for job in wrong} == {"mistaken"}
    with pytest.raises(ValueError, match="weeks 0"):
        next(simulate.draw_weeks(np.random.default_rng(4), simulate.Bench(), weeks=0))


def test_lamps_are_known_and_the_dome_has_its_hole() -> None:
    dome = sky(Lamp("dome", hole_deg=12))[..., 0]
    assert dome[0].max() < 0.2 * dome[len(dome) // 4].mean()
    with pytest.raises(ValueError, match="known: dome"):
        sky(Lamp("candle"))


def test_the_camera_exposes_for_the_stone() -> None:
    light = np.full((120, 120, 3), 3.7)
    values = develop(light, replace(CameraModel(), exposure=0.5, vignette=0.0), np.random.default_rng(0))
    # 0.5 linear is 0.735 on the sRGB curve (IEC 61966-2-1)
    assert values.mean() == pytest.approx(0.735, abs=0.003)


def test_demo_pictures_show_what_their_truth_says() -> None:
    truth = simulate.demo_truth()
    for name, facts in truth.items():
        image = Image.open(io.BytesIO(simulate.demo_picture(name)))
        assert b"simulated" in image.info["comment"]
        assert facts["simulated"] is True
    # the dark crystal is dark where it is said to be, and not where it was before the stone was turned
    for name in ("cleaned", "loose", "pickup"):
        grey = np.asarray(Image.open(io.BytesIO(simulate.demo_picture(name))).convert("L"), dtype=float)
        place = truth[name]["features"][0]["images"][0]
        x, y = round(place["x_px"]), round(place["y_px"])
        around = grey[y - 25 : y + 26, x - 25 : x + 26]
        assert grey[y - 3 : y + 4, x - 3 : x + 4].mean() < 0.5 * np.median(around), name
    with pytest.raises(ValueError, match="choose one of"):
        simulate.demo_picture("unknown")


def test_demo_truth_is_what_the_program_still_computes() -> None:
    truth = simulate.demo_truth()
    for shot in demo_shots():
        now = facts_of(shot.stone, shot.view)
        assert truth[shot.path]["centre_px"] == pytest.approx(now["centre_px"], abs=0.002)
        assert [f["id"] for f in truth[shot.path]["features"]] == [f["id"] for f in now["features"]]


def test_a_traced_picture_agrees_with_the_computed_place() -> None:
    pytest.importorskip("mitsuba")
    from samestone.simulate.photos import Studio

    shot = next(s for s in demo_shots() if s.path == "loose")
    bare = replace(shot.stone, features=shot.stone.features[:1])
    frame = Frame((96, 96), 80.0, distance_mm=100.0)
    view = replace(shot.view, frame=frame, samples=8, dispersion=False, camera=CameraModel())
    photo = Studio("scalar_rgb", depth=6).photograph(bare, view)
    image = photo.truth["features"][0]["images"][0]
    where = np.argwhere(photo.mask > 0)
    nearest = np.hypot(where[:, 1] - image["x_px"], where[:, 0] - image["y_px"]).min()
    assert nearest < 1.5
