"""The second renderer (scripts/second) against closed forms: it must be right on its own, for it checks the first."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import pytest
from scripts.second import features, light, picture, plan, stone, trace

SIDE, SCALE, DISTANCE = 120, 50.0, 2000.0


@pytest.fixture(scope="module")
def made() -> plan.Specimen:
    return plan.specimen(4, 64)


def scene_of(made: plan.Specimen, lamp: Any, tilt: tuple[float, float] = (0.0, 0.0), **other: Any) -> trace.Scene:
    take = plan.Take("V4", "dome", lamp, 33.0, tilt, (3.0, -2.0), 2 * SCALE, [])
    bare = {"features": np.zeros((0, trace.COLUMNS)), "claws": np.zeros((0, trace.COLUMNS)), "frosted": False}
    return picture.make_scene(made, take, SCALE)._replace(**bare | other)


def furnace() -> Any:
    lamp = np.zeros(light.LENGTH)
    lamp[0] = -1
    return lamp


def test_snell_and_fresnel_follow_their_closed_forms() -> None:
    n = 2.417
    assert trace.reflectance(1.0, 1 / n)[0] == pytest.approx(((n - 1) / (n + 1)) ** 2)
    brewster = np.arctan(n)  # the polarisation in the plane of incidence is not reflected at all
    rs = ((np.cos(brewster) - n * np.sin(brewster)) / (np.cos(brewster) + n * np.sin(brewster))) ** 2
    assert trace.reflectance(np.cos(brewster), 1 / n)[0] == pytest.approx(rs / 2)
    critical = np.arcsin(1 / n)
    assert trace.reflectance(np.cos(critical + 1e-4), n)[0] == 1.0
    assert trace.reflectance(np.cos(critical - 1e-4), n)[0] < 1.0
    angle = np.radians(40)
    d, up = (np.sin(angle), 0.0, -np.cos(angle)), (0.0, 0.0, 1.0)
    _, behind = trace.reflectance(np.cos(angle), 1 / n)
    bent = trace.refracted(d, up, np.cos(angle), behind, 1 / n)
    assert np.linalg.norm(bent) == pytest.approx(1)
    assert bent[0] == pytest.approx(np.sin(angle) / n)


def test_the_index_is_that_of_the_sodium_line() -> None:
    """2.4173 at 589 nm; value of the handbooks, from memory."""
    assert picture.diamond_index(0.5893) == pytest.approx(2.4173, abs=2e-4)


def test_a_white_furnace_leaves_the_stone_invisible(made: plan.Specimen) -> None:
    lit = trace.render(scene_of(made, furnace(), (3.0, -2.0)), SIDE, SCALE, DISTANCE, 2, 2000, 1)
    assert np.abs(lit[..., :5] - 1).max() <= trace.LEAST  # what is left when a ray is given up; some go round for long


def test_a_short_walk_loses_little(made: plan.Specimen) -> None:
    lit = trace.render(scene_of(made, furnace()), SIDE, SCALE, DISTANCE, 2, trace.LIMIT, 1)
    assert lit[..., :3].max() < 1 + 1e-9
    assert lit[..., 0].mean() > 0.99


def test_features_only_take_and_dirt_keeps_apart(made: plan.Specimen) -> None:
    ball = trace.ELLIPSOID, np.array([0.2, 0.1, -0.1]), np.full(3, 0.05), np.eye(3), (1.0, 0.0)
    row = features.stacked([features.row_of(*ball)])
    lit = trace.render(scene_of(made, furnace(), features=row), SIDE, SCALE, DISTANCE, 2, trace.LIMIT, 1)
    taken = lit[..., 3] - lit[..., 0]
    assert taken.min() > -1e-9
    assert taken.max() > 0.6
    assert np.allclose(lit[..., 4], lit[..., :3].mean(axis=2))
    x, y = picture.find_image(scene_of(made, furnace()), ball[1], SIDE, SCALE, DISTANCE)[1:]
    assert taken[round(y), round(x)] > 0.6


def test_the_outline_is_where_the_picture_has_it(made: plan.Specimen) -> None:
    """The outline of the corners against the pixels that the card shows through no more, tilted, near camera."""
    lamp = furnace()
    lamp[0], lamp[2], lamp[9:12] = light.WINDOW, 0.0, 1.0
    dark = scene_of(made, lamp, (2.0, 1.5))  # nothing shines; what the stone adds is seen by a feature of its own
    haze = [trace.HAZE, 0, 0, 0, 2.0, *np.eye(3).ravel() / 2, 50.0, 1.0, 0, 0]
    seen = dark._replace(features=np.array([haze]), ambient=np.ones(3), lamp=lamp)
    lit = trace.render(seen, SIDE, SCALE, 30.0, 3, trace.LIMIT, 1)
    corners = picture.project(seen, stone.corners_of(made.stone), SIDE, SCALE, 30.0)
    (cx, cy), widest, narrowest = stone.caliper(corners)
    inside = lit[..., 0] > 0.3
    area = cv2.contourArea(cv2.convexHull(corners.astype(np.float32)))
    assert inside.sum() == pytest.approx(area, rel=0.01)
    rows, columns = np.nonzero(inside)
    assert (columns.mean(), rows.mean()) == pytest.approx((cx, cy), abs=0.15)
    assert np.ptp(columns) + 1 == pytest.approx(np.ptp(corners[:, 0]), abs=1.2)
    assert narrowest <= 2 * np.sqrt(area / np.pi) <= widest


def test_roles_are_shared_out_as_planned() -> None:
    listed = plan.roles(64)
    kinds = [role for role, _ in listed]
    assert [kinds.count(k) for k in ("plain", "clean", "twin", "clone")] == [39, 9, 8, 8]
    models = [model for _, model in listed if model >= 0]
    assert len(set(models)) == 16
    assert all(listed[m][0] in ("plain", "clean") for m in models)


def test_a_clone_is_cut_alike_and_a_twin_is_not() -> None:
    listed = plan.roles(64)
    for role in ("twin", "clone"):
        number = next(k for k, (kind, _) in enumerate(listed) if kind == role)
        copy, model = plan.specimen(number, 64), plan.specimen(listed[number][1], 64)
        assert copy.stone.proportions == model.stone.proportions
        facets = min(copy.stone.girdle, model.stone.girdle, 57)
        alike = np.allclose(copy.stone.planes[:facets], model.stone.planes[:facets])
        assert alike == (role == "clone")
        assert copy.shop == model.shop
        assert [m.kind for m in copy.features] != [m.kind for m in model.features]
