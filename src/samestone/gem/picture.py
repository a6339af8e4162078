"""The line drawing of a solid: from above, from the side, from below, in one SVG."""

from __future__ import annotations

import math
from collections.abc import Iterator
from html import escape

import numpy as np
import numpy.typing as npt

from samestone.gem.solid import Facet, Solid

Array = npt.NDArray[np.float64]

_INK, _PAPER = "#2b2d2f", "#fbf8f1"
_BOX, _GAP, _TOP = 280.0, 30.0, 30.0
_LIGHT = np.array([-0.35, 0.45, 0.82])

_SHADES = ((150, 247), (178, 251), (180, 250))
"""Red, green, blue of a facet in shadow and in light."""

_VIEWS = (
    ("from above", np.array([[1.0, 0, 0], [0, 1, 0], [0, 0, 1]])),
    ("from the side", np.array([[1.0, 0, 0], [0, 0, 1], [0, -1, 0]])),
    ("from below", np.array([[-1.0, 0, 0], [0, 1, 0], [0, 0, -1]])),
)
"""Rows: the model's direction that points right, up, and towards the eye."""


def draw_solid(solid: Solid, title: str) -> str:
    """Draw the facets that face the eye in three views of one scale, shaded by their tilt; built, not photographed."""
    length, width, depth = solid.size_mm
    scale = _BOX / max(length, width, depth)
    page_width, page_height = 3 * _BOX + 4 * _GAP, _BOX + 2 * _TOP + 40
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {page_width:g} {page_height:g}" role="img" '
        f'font-family="Atkinson Hyperlegible, sans-serif" font-size="15" fill="{_INK}">',
        f"<title>{escape(title)}</title>",
        f'<rect width="{page_width:g}" height="{page_height:g}" fill="{_PAPER}"/>',
    ]
    for index, (name, axes) in enumerate(_VIEWS):
        centre = (_GAP + _BOX / 2 + index * (_BOX + _GAP), _TOP + _BOX / 2)
        parts += _view(solid, axes, scale, centre)
        parts.append(f'<text x="{centre[0]:g}" y="{_TOP + _BOX + 24:g}" text-anchor="middle">{name}</text>')
    caption = f"{title} · {length:.2f} × {width:.2f} × {depth:.2f} mm · built from proportions, not photographed"
    parts.append(f'<text x="{page_width / 2:g}" y="{page_height - 16:g}" text-anchor="middle">{escape(caption)}</text>')
    return "\n".join([*parts, "</svg>"]) + "\n"


def _view(solid: Solid, axes: Array, scale: float, centre: tuple[float, float]) -> Iterator[str]:
    corners = solid.corners @ axes.T
    middle = (corners.max(axis=0) + corners.min(axis=0)) / 2
    for facet in solid.facets:
        normal = axes @ facet.normal
        if normal[2] > 1e-6:
            yield _path(facet, normal, (facet.corners @ axes.T - middle) * scale, centre)


def _path(facet: Facet, normal: Array, flat: Array, centre: tuple[float, float]) -> str:
    points = " ".join(f"{centre[0] + x:.1f},{centre[1] - y:.1f}" for x, y in flat[:, :2])
    light = max(0.0, float(normal @ _LIGHT) / math.sqrt(float(_LIGHT @ _LIGHT)))
    shade = "#" + "".join(f"{round(dark + (pale - dark) * light):02x}" for dark, pale in _SHADES)
    stroke = 0.3 if facet.name == "girdle" else 1.1
    return (
        f'<polygon points="{points}" fill="{shade}" stroke="{_INK}" stroke-width="{stroke}" stroke-linejoin="round"/>'
    )
