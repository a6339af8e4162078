"""From a cut and its measurements to a solid: the second, independent route to a weight."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import numpy as np

from samestone.gem import outline
from samestone.gem.solid import Proportions, Row, Solid, build_brilliant, build_step
from samestone.gem.weight import DIAMOND_SG, Estimate, Size, weight_from_volume

_OUTLINES: Mapping[str, Callable[[float, float], outline.Outline]] = {
    "round_brilliant": outline.oval_outline,
    "oval": outline.oval_outline,
    "marquise": outline.marquise_outline,
    "pear": outline.pear_outline,
    "cushion": outline.cushion_outline,
}
_ERROR_PERCENT = {"round_brilliant": 5.0}
_OTHER_ERROR_PERCENT = 12.0
"""95 % half widths. Round: 95 % of 800 stones of the open diamonds table lie within 4.6 %, table known, girdle taken as
medium (computed, authorities/fit_round_weight.py); other cuts: common practice, no source."""

GIRDLE_PERCENT: Mapping[str, float] = {
    "extremely thin": 1.5, "thin": 2.5, "medium": 3.1, "medium to slightly thick": 3.7, "slightly thick": 4.3,
    "thick": 5.5, "very thick": 7.0, "extremely thick": 9.0,
}  # fmt: skip
"""Girdle at the hills in per cent of the diameter; 'medium' is what the open data's well-cut stones imply (computed),
the others follow the multipliers of the trade's table at +2 % of weight for each 1 % of girdle (computed)."""
_FANCY_GIRDLE = 1.5
"""Fancy outlines carry more girdle, to protect their points (common practice, no source)."""


def solid_cuts() -> tuple[str, ...]:
    """The cuts a solid can be built for."""
    return (*_OUTLINES, "emerald", "princess")


def build_cut(cut: str, size: Size) -> Solid:
    """Build the solid of a cut from length, width, depth and table; angles follow from the depth.

    Table 57 % (step cuts 65, princess 70) where it is not known. For brilliants the pavilion angle is 40.75 degrees
    as far as the depth allows and the crown takes the rest; where that leaves the crown outside 25 to 40 degrees the
    crown is set to 34.5 and the pavilion takes the rest. Refuses a depth that leaves no stone.
    """
    if cut in _OUTLINES:
        return build_brilliant(
            _OUTLINES[cut](size.length_mm, size.width_mm), fit_proportions(cut, size), _mean(cut, size)
        )
    if cut == "emerald":
        return _emerald(size)
    if cut == "princess":
        return _princess(size)
    raise ValueError(f"no solid for cut {cut!r}; there is one for {', '.join(solid_cuts())}")


def estimate_by_solid(cut: str, size: Size, *, specific_gravity: float = DIAMOND_SG) -> Estimate:
    """Estimate the weight from the solid's volume; 0.005 SG V, scaled to the depth that was measured."""
    solid = build_cut(cut, size)
    weight = weight_from_volume(solid.volume_mm3, specific_gravity)
    error = _ERROR_PERCENT.get(cut, _OTHER_ERROR_PERCENT)
    whole = math.hypot(error, 15.0) if size.blocked else error
    product = size.length_mm * size.width_mm * size.depth_mm
    return Estimate(weight, weight * (1 - whole / 100), weight * (1 + whole / 100), whole, weight / product,
                    f"solid of {len(solid.facets)} faces", "computed: volume of the polyhedron")  # fmt: skip


def draw_cut(cut: str, size: Size, title: str) -> str:
    """Draw the solid of a cut as one SVG: from above, from the side, from below."""
    from samestone.gem.picture import draw_solid

    return draw_solid(build_cut(cut, size), title)


def compare_routes(formula: Estimate, solid: Estimate | None, weighed_ct: float | None = None) -> tuple[str, ...]:
    """Say where formula, solid and the loose weight disagree beyond their intervals; empty is good news."""
    said = []
    if solid and abs(math.log(formula.weight_ct / solid.weight_ct)) > math.hypot(
        formula.error_percent / 100, solid.error_percent / 100
    ):
        said.append(
            f"formula {formula.weight_ct:.3f} ct and solid {solid.weight_ct:.3f} ct disagree beyond their intervals: "
            "measure again, look at girdle and bulge"
        )
    if weighed_ct is not None and not formula.low_ct <= weighed_ct <= formula.high_ct:
        side = "above" if weighed_ct > formula.high_ct else "below"
        said.append(
            f"the weight {weighed_ct:.3f} ct lies {side} the estimate "
            f"({formula.low_ct:.3f} to {formula.high_ct:.3f} ct): measure and weigh again; "
            "then think of another material, an unusual girdle or a filling"
        )
    return tuple(said)


def fit_proportions(cut: str, size: Size) -> Proportions:
    """The proportions of a brilliant that give this depth with this table and girdle."""
    width = _mean(cut, size)
    table = 57.0 if size.table_percent is None else size.table_percent
    girdle = GIRDLE_PERCENT[size.girdle] + (0 if cut == "round_brilliant" else _FANCY_GIRDLE)
    depth = 100 * size.depth_mm / width
    crown = depth - girdle - 50 * math.tan(math.radians(40.75))
    crown_angle = math.degrees(math.atan2(crown, (100 - table) / 2))
    if 25 <= crown_angle <= 40:
        return Proportions(table, crown_angle, 40.75, girdle)
    rest = depth - girdle - (100 - table) / 2 * math.tan(math.radians(34.5))
    return Proportions(table, 34.5, math.degrees(math.atan2(rest, 50)), girdle)


def _mean(cut: str, size: Size) -> float:
    return (size.length_mm + size.width_mm) / 2 if cut == "round_brilliant" else size.width_mm


_CUSHION_BULGE = ((0.5, 0.62), (0.5, 0.38))
"""A cushion's pavilion bends once on its way to the culet: shares of the way inwards and of the depth, from memory."""
_STEP_CROWN_DEG = (45.0, 36.0, 27.0)
_STEP_PAVILION_DEG = (50.0, 43.0, 36.0)
_CHEVRON_DEG = 8.0
"""Typical angles of the rows, from memory; only their ratios matter, the depth scales them."""


def _rows(angles: tuple[float, ...], inset: float, rise: float) -> tuple[Row, ...]:
    """Rows of equal inset that rise together to the height wanted, steepest at the girdle."""
    slopes = [math.tan(math.radians(angle)) for angle in angles]
    return tuple(Row(inset / len(angles), rise * slope / sum(slopes)) for slope in slopes)


def _split(size: Size, table: float, crown_percent: float) -> tuple[float, float, float, float]:
    """Crown height, pavilion depth, girdle thickness, width of the crown's frame; mm."""
    width = size.width_mm
    girdle = (GIRDLE_PERCENT[size.girdle] + _FANCY_GIRDLE) / 100 * width
    crown = crown_percent / 100 * width
    pavilion = size.depth_mm - crown - girdle
    if pavilion < 0.1 * width:
        raise ValueError(
            f"a depth of {size.depth_mm:g} mm leaves no pavilion at a width of {width:g} mm; measure again"
        )
    return crown, pavilion, girdle, (1 - table / 100) * width / 2


def _emerald(size: Size) -> Solid:
    table = 65.0 if size.table_percent is None else size.table_percent
    crown, pavilion, girdle, frame = _split(size, table, 14.0)
    half_length, half_width = size.length_mm / 2, size.width_mm / 2
    cut_corner = 0.15 * size.width_mm
    sides = [(np.array(normal), support) for normal, support in (
        ((1.0, 0.0), half_length), ((-1.0, 0.0), half_length), ((0.0, 1.0), half_width), ((0.0, -1.0), half_width),
    )]  # fmt: skip
    diagonal = (half_length + half_width - cut_corner) / math.sqrt(2)
    sides += [(np.array([x, y]) / math.sqrt(2), diagonal) for x in (1.0, -1.0) for y in (1.0, -1.0)]
    rows = _rows(_STEP_PAVILION_DEG, half_width, pavilion)
    return build_step(sides, _rows(_STEP_CROWN_DEG, frame, crown), rows, girdle)


def _princess(size: Size) -> Solid:
    table = 70.0 if size.table_percent is None else size.table_percent
    crown, pavilion, girdle, frame = _split(size, table, 10.0)
    half_length, half_width = size.length_mm / 2, size.width_mm / 2
    sides = [(np.array([math.cos(t), math.sin(t)]).round(12), half_length if i % 2 == 0 else half_width)
             for i, t in enumerate(np.arange(4) * math.pi / 2)]  # fmt: skip
    chevrons = []
    for t in np.arange(4) * math.pi / 2:
        for turn in (-_CHEVRON_DEG, _CHEVRON_DEG):
            angle = t + math.radians(turn)
            normal = np.array([math.cos(angle), math.sin(angle)])
            chevrons.append((normal, float(abs(normal[0]) * half_length + abs(normal[1]) * half_width)))
    reach = min(support for _, support in chevrons)
    rows = _rows(_STEP_PAVILION_DEG, reach, pavilion)
    return build_step(sides, _rows(_STEP_CROWN_DEG[:2], frame, crown), rows, girdle, chevrons)
