"""Lamps as radiance over the sphere of directions, z towards the lens."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from samestone.simulate.cutting import Floats


@dataclass(frozen=True)
class Lamp:
    """A lamp: dome, tent, ring, gooseneck, window, darkfield, backlight or uv; azimuth_deg is its bright side.

    `uneven` is by how much a dome's bright side outshines its mean, `rise` by how much its rim outshines its top.
    """

    kind: str = "dome"
    azimuth_deg: float = 40.0
    hole_deg: float = 11.0
    colour: tuple[float, float, float] = (1.0, 1.0, 1.0)
    card: tuple[float, float, float] = (0.62, 0.61, 0.60)
    uneven: float = 0.28
    rise: float = 0.42


def _step(x: Floats, edge: float, width: float) -> Floats:
    """0 below the edge, 1 above, smooth over width."""
    return np.asarray(1 / (1 + np.exp(-np.clip((x - edge) / width * 4, -60, 60))))


def _towards(azimuth_deg: float, elevation_deg: float) -> Floats:
    a, e = np.radians(azimuth_deg), np.radians(elevation_deg)
    return np.array([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)])


def _spot(directions: Floats, azimuth_deg: float, elevation_deg: float, radius_deg: float) -> Floats:
    off = np.degrees(np.arccos(np.clip(directions @ _towards(azimuth_deg, elevation_deg), -1, 1)))
    return 1 - _step(off, radius_deg, radius_deg * 0.25)


def _dome(lamp: Lamp, d: Floats, zenith: Floats) -> Floats:
    azimuth = np.arctan2(d[..., 1], d[..., 0])
    towards = np.cos(azimuth - np.radians(lamp.azimuth_deg))
    sky = (0.66 + lamp.rise * np.sin(np.radians(zenith)) ** 2) * (1 + lamp.uneven * towards)
    return np.asarray(sky * _step(zenith, lamp.hole_deg, 1.5) * (1 - _step(zenith, 90, 3)) + 0.03)


def _tent(lamp: Lamp, d: Floats, zenith: Floats) -> Floats:
    """A softbox tent: bright panels, darker seams, a wide lens opening."""
    azimuth = np.degrees(np.arctan2(d[..., 1], d[..., 0])) - lamp.azimuth_deg
    panels = 0.55 + 0.45 * _step(np.cos(np.radians(azimuth * 3)), -0.2, 0.5)
    side = 1 + 0.5 * np.cos(np.radians(azimuth))
    return np.asarray(0.75 * panels * side * _step(zenith, lamp.hole_deg, 2.0) * (1 - _step(zenith, 84, 4)) + 0.05)


def _others(lamp: Lamp, d: Floats, zenith: Floats) -> Floats:
    a = lamp.azimuth_deg
    below = 1 - _step(zenith, 90, 3)
    if lamp.kind == "ring":
        return np.asarray(6.0 * _step(zenith, 24, 1.5) * (1 - _step(zenith, 34, 1.5)) + 0.10 * below)
    if lamp.kind == "gooseneck":
        return np.asarray(38.0 * (_spot(d, a, 48, 6) + 0.8 * _spot(d, a + 155, 40, 6)) + 0.16 * below)
    if lamp.kind == "window":
        return np.asarray(7.0 * _spot(d, a, 35, 22) + 0.28 * _step(zenith, lamp.hole_deg, 3) * below + 0.04)
    if lamp.kind == "darkfield":
        return np.asarray(2.6 * _step(zenith, 62, 4) * (1 - _step(zenith, 112, 4)) + 0.015)
    if lamp.kind == "backlight":
        return np.asarray(1.0 * _spot(d, a, -90, 24))
    if lamp.kind == "uv":
        return np.asarray(0.003 * below)
    raise ValueError(f"lamp is {lamp.kind!r}; known: dome, tent, ring, gooseneck, window, darkfield, backlight, uv")


def sky(lamp: Lamp, rows: int = 192) -> Floats:
    """Radiance (rows, 2*rows, 3), row by zenith angle, column by azimuth measured from +y towards +x."""
    zenith = (np.arange(rows) + 0.5) * np.pi / rows
    phi = (np.arange(2 * rows) + 0.5) * np.pi / rows
    t, p = np.meshgrid(zenith, phi, indexing="ij")
    d = np.stack([np.sin(p) * np.sin(t), np.cos(p) * np.sin(t), np.cos(t)], axis=-1)
    shade = {"dome": _dome, "tent": _tent}.get(lamp.kind, _others)(lamp, d, np.degrees(t))
    return np.asarray(np.clip(shade, 0, None)[..., None] * np.array(lamp.colour))
