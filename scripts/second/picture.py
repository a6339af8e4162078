"""One picture with its truth: traced, developed, written down."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from scripts.second import stone as solid
from scripts.second.camera import Camera, develop, log_ratios, mask_png, white_of
from scripts.second.features import Mark, stacked
from scripts.second.light import ambient
from scripts.second.plan import Shop, Specimen, Take, generator
from scripts.second.trace import CHANNELS, LIMIT, Scene, render, sight_line

EXPOSED = (2.2, 1.5)  # per cent near white: under hard lamps, and under a dome
WAVELENGTHS_UM = (0.61, 0.54, 0.46)  # where a camera's red, green and blue see most


def diamond_index(wavelength_um: float) -> float:
    """Index of refraction of diamond, Sellmeier's equation with the constants of Peter (1923)."""
    square = wavelength_um**2
    return float(np.sqrt(1 + 0.3306 * square / (square - 0.1750**2) + 4.3356 * square / (square - 0.1060**2)))


def pose_matrix(rotation_deg: float, tilt_deg: tuple[float, float]) -> Any:
    """From the stone's frame to the world: first turned about its axis, then tilted about the picture's x and y."""
    r, (a, b) = np.radians(rotation_deg), np.radians(tilt_deg)
    turn = np.array([[np.cos(r), -np.sin(r), 0], [np.sin(r), np.cos(r), 0], [0, 0, 1]])
    about_x = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
    about_y = np.array([[np.cos(b), 0, np.sin(b)], [0, 1, 0], [-np.sin(b), 0, np.cos(b)]])
    return about_y @ about_x @ turn


def make_scene(made: Specimen, take: Take, scale: float) -> Scene:
    """Everything the tracer needs; `scale` in pixels per radius at the girdle."""
    planes = np.ascontiguousarray(made.stone.planes)
    return Scene(
        planes=planes,
        girdle=made.stone.girdle,
        inscribed2=made.stone.inscribed**2,
        frosted=made.stone.proportions.frosted,
        pose=pose_matrix(take.rotation_deg, take.tilt_deg),
        place=np.array([take.place[0], -take.place[1]]) / scale,
        features=stacked([row for mark in made.features for row in mark.rows]),
        dirt=stacked([row for mark in take.dirt for row in mark.rows]),
        claws=stacked([row for claw in made.claws for row in claw["rows"]]),
        lamp=take.lamp,
        ambient=ambient(take.lamp),
        index=diamond_index(0.589),
    )


def project(scene: Scene, points: Any, side: int, scale: float, distance: float) -> Any:
    """Picture places (n, 2) of points (n, 3) in the stone's frame, as if nothing refracted."""
    world = np.atleast_2d(points) @ scene.pose.T + [*scene.place, 0]
    zoom = scale * distance / (distance - world[:, 2:])
    return (side - 1) / 2 + world[:, :2] * zoom * [1, -1]


def take_light(scene: Scene, camera: Camera, colours: bool, scale: float, seed: int) -> Any:
    """Light of a picture; with colours, red, green and blue come from rays of their own wavelength."""
    if not colours:
        return render(scene, camera.side, scale, camera.distance, 3, LIMIT, seed)
    light = np.zeros((camera.side, camera.side, CHANNELS))
    for k, wavelength in enumerate(WAVELENGTHS_UM):
        bent = scene._replace(index=diamond_index(wavelength))
        one = render(bent, camera.side, scale, camera.distance, 2, LIMIT, seed + k)
        # the lamp's colour stays: what is grey without marks is weighed as this colour is in the picture
        share = one[..., k] / np.maximum(one[..., :3].mean(axis=2), 1e-9)
        light[..., k] = one[..., k]
        light[..., 3:5] += one[..., 3:5] * share[..., None] / 3
        light[..., 5] += one[..., 5] / 3
    return light


def find_image(scene: Scene, centre: Any, side: int, scale: float, distance: float) -> tuple[int, float, float]:
    """Where a place inside is seen straight through the crown: the facet, x and y; facet -1 if it is not."""
    x, y = project(scene, centre, side, scale, distance)[0]
    middle = (side - 1) / 2
    facet = -1
    for _ in range(12):
        facet, p, d = sight_line(scene, x - middle, y - middle, scale, distance)
        if facet < 0:
            return -1, x, y
        step = (centre[2] - p[2]) / min(d[2], -1e-6)
        miss = scene.pose @ (centre - (np.array(p) + step * np.array(d)))
        x, y = x + 0.8 * scale * miss[0], y - 0.8 * scale * miss[1]
    return (facet if np.hypot(miss[0], miss[1]) * scale < 1.5 else -1), float(x), float(y)


def describe(
    mark: Mark, name: str, image: tuple[int, float, float], ratio: Any, known: dict[str, Any]
) -> dict[str, Any]:
    """A mark's entry in the truth."""
    facet, x, y = image
    size_px = mark.size_um / known["um_per_px"]
    dx, dy = x - known["centre_px"][0], known["centre_px"][1] - y
    entry: dict[str, Any] = {"id": name, "kind": mark.kind, "finish": mark.finish, "size_px": round(size_px, 2)}
    entry["r"] = round(float(np.hypot(dx, dy)) * 2 / known["diameter_max_px"], 4)
    entry["angle_deg"] = round(float(np.degrees(np.arctan2(dy, dx))) % 360, 2)
    entry["depth_mm"] = known["depth_mm"](mark.centre)
    entry["images"] = []
    if facet >= 0:
        j, i = np.meshgrid(np.arange(ratio.shape[1]), np.arange(ratio.shape[0]))
        spot = ratio[(j - x) ** 2 + (i - y) ** 2 <= max(1.5, size_px / 2) ** 2]
        if spot.size:
            seen = {"facet": known["names"][facet], "x_px": round(x, 2), "y_px": round(y, 2)}
            seen |= {"contrast": round(float(spot.mean()), 4), "peak": round(float(np.abs(spot).max()), 4)}
            entry["images"].append(seen)
    return entry


def make_picture(made: Specimen, take: Take, shop: Shop, number: int, folder: Path) -> dict[str, Any]:
    """Writes JPEG, truth and mask; returns the line of the index."""
    side, distance = shop.camera.side, shop.camera.distance
    scale = take.diameter_px / 2
    seed = 10 * number + int(take.view[1])
    scene = make_scene(made, take, scale)
    light = take_light(scene, shop.camera, made.colours, scale, seed)
    corners = project(scene, solid.corners_of(made.stone), side, scale, distance)
    within = np.zeros((side, side), np.uint8)
    cv2.fillConvexPoly(within, cv2.convexHull(np.rint(corners).astype(np.int32)), 1)
    white = white_of(light, (within > 0) & (light[..., 5] < 0.5), EXPOSED[take.lamp_kind == "dome"])
    on_features, on_dirt = log_ratios(light, white, shop.camera)
    truth = make_truth(made, take, scene, (corners, side, scale, distance), (on_features, on_dirt))
    path = folder / made.name / f"{take.view}.jpg"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.with_suffix(".png").write_bytes(mask_png(on_features, on_dirt, light[..., 5]))
    path.with_suffix(".json").write_text(json.dumps(truth))
    path.write_bytes(develop(light, white, shop.camera, generator(6, seed)))
    return index_line(made, take)


def index_line(made: Specimen, take: Take) -> dict[str, Any]:
    return {
        "picture": f"{made.name}/{take.view}.jpg",
        "stone": made.name,
        "role": made.role,
        "of": made.of,
        "view": take.view,
        "protocol": "guided" if take.view in ("V4", "V5", "V6") else "free",
        "lamp": take.lamp_kind,
        "make": made.shop,
        "claws": len(made.claws),
        "rotation_deg": round(take.rotation_deg, 4),
        "tilt_deg": [round(t, 4) for t in take.tilt_deg],
    }


def make_truth(
    made: Specimen, take: Take, scene: Scene, seen: tuple[Any, int, float, float], ratios: tuple[Any, Any]
) -> dict[str, Any]:
    corners, side, scale, distance = seen
    centre, longest, shortest = solid.caliper(corners)
    radius_mm = made.stone.proportions.diameter_mm / 2
    top = made.stone.planes[0, 3]
    known = {
        "centre_px": [round(v, 3) for v in centre],
        "diameter_max_px": round(longest, 3),
        "diameter_min_px": round(shortest, 3),
        "um_per_px": 1000 * radius_mm / scale,
    }
    more: dict[str, Any] = {"names": (*made.stone.names, *["girdle"] * made.stone.proportions.girdle_planes)}
    more |= {"depth_mm": lambda c: round(float(top - c[2]) * radius_mm, 4)}
    listed = [
        describe(m, f"{letter}{k + 1}", find_image(scene, m.centre, side, scale, distance), ratio, known | more)
        for letter, marks, ratio in (("n", made.features, ratios[0]), ("d", take.dirt, ratios[1]))
        for k, m in enumerate(marks)
    ]
    claws = [
        {
            "angle_deg": round((claw["angle_deg"] + take.rotation_deg) % 360, 3),
            "width_um": claw["width_um"],
            "state": "whole",
        }
        for claw in made.claws
    ]
    return {
        "simulated": True,
        "stone": made.name,
        "cut": "round",
        "view": take.view,
        **known,
        "rotation_deg": round(take.rotation_deg, 4),
        "tilt_deg": [round(t, 4) for t in take.tilt_deg],
        "lamp": take.lamp_kind,
        "make": made.shop,
        "lamp_azimuth_deg": round(float(take.lamp[13]), 2),
        "claws": claws,
        "features": listed,
    }
