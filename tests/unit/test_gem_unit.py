"""What a stone's numbers cannot be, solids that cannot stand, balances that do not close."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from typing import Any

import pytest

from samestone import gem
from samestone.gem import carat, care, hydrostatic, material, metal, shape, solid, weight

GOOD = {
    "diameter_min_mm": 6.67, "diameter_max_mm": 6.71, "depth_mm": 4.10, "weight_ct": 1.149, "table_percent": 57.0,
}  # fmt: skip


def test_a_real_stone_passes() -> None:
    assert gem.check_values(GOOD) == ()


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("weight_ct", 1012.0, "decimal point"), ("weight_ct", 0.2298, "grams"), ("weight_ct", 114.9, "points"),
        ("diameter_min_mm", 0.2626, "inches"), ("depth_mm", 0.161, "inches"), ("diameter_min_mm", -6.67, "negative"),
        ("diameter_min_mm", 6.75, "swap"), ("diameter_max_mm", 9.2, "not round"),
        ("table_percent", 104.0, "wider than"),
        ("table_percent", 0.57, "fraction"), ("depth_mm", math.nan, "give a number"),
        ("depth_mm", 12.0, "of the diameter"),
    ],
)  # fmt: skip
def test_slips_are_named(name: str, value: float, said: str) -> None:
    (problem,) = gem.check_values(GOOD | {name: value})
    assert problem.field == name
    assert said in str(problem)


def test_an_unknown_property_is_named() -> None:
    (problem,) = gem.check_values({"dpeth_mm": 4.1})
    assert "depth_mm" in problem.expected


def test_a_long_outline_is_not_a_round_gone_wrong() -> None:
    long = {"diameter_min_mm": 5.0, "diameter_max_mm": 10.0, "depth_mm": 3.1, "weight_ct": 0.9}
    assert gem.check_values(long, round_outline=False) == ()
    assert gem.check_values(long) != ()


@pytest.mark.parametrize(
    ("size", "said"),
    [
        ({"depth_mm": -4.1}, "depth_mm"), ({"length_mm": 0.264, "width_mm": 0.26}, "inch"), ({"width_mm": 6.8}, "swap"),
        ({"table_percent": 105}, "wider than the girdle"), ({"girdle": "chunky"}, "chunky"),
        ({"depth_mm": 9.9}, "depth"),
        ({"length_mm": 9.0}, "round"), ({"u_common_mm": 0.5}, "u_common_mm"), ({"length_mm": math.inf}, "length_mm"),
    ],
)  # fmt: skip
def test_a_size_that_cannot_be_is_refused(size: dict[str, Any], said: str) -> None:
    known: dict[str, Any] = {"length_mm": 6.71, "width_mm": 6.67, "depth_mm": 4.10}
    with pytest.raises(ValueError, match=said):
        weight.estimate_weight("round_brilliant", weight.Size(**(known | size)))


def test_an_unknown_cut_is_refused() -> None:
    with pytest.raises(ValueError, match="round_brilliant"):
        weight.estimate_weight("blob", weight.Size(5, 5, 3))
    with pytest.raises(ValueError, match="heart"):
        shape.build_cut("heart", weight.Size(5, 5, 3))


def test_long_ovals_are_warned_about() -> None:
    assert "long ovals" in weight.estimate_weight("oval", weight.Size(10, 5, 3.1)).notes[0]
    assert weight.estimate_weight("oval", weight.Size(7, 5, 3.1)).notes == ()


def test_routes_and_the_scale_that_disagree_are_said() -> None:
    size = weight.Size(6.71, 6.67, 4.10)
    formula, solid_route = (
        weight.estimate_weight("round_brilliant", size),
        shape.estimate_by_solid("round_brilliant", size),
    )
    assert shape.compare_routes(formula, solid_route, 1.12) == ()
    (said,) = shape.compare_routes(formula, solid_route, 1.9)
    assert "above" in said
    thick = shape.estimate_by_solid("round_brilliant", weight.Size(6.71, 6.67, 4.8, girdle="extremely thick"))
    assert "disagree" in shape.compare_routes(formula, thick)[0]


def test_planes_that_do_not_close_are_refused() -> None:
    up = ("table", solid._plane((0, 0, 1), (0, 0, 1)))
    down = ("culet", solid._plane((0, 0, -1), (0, 0, -1)))
    with pytest.raises(ValueError, match="do not close"):
        solid.intersect([up, down])
    with pytest.raises(ValueError, match="leave no solid"):
        solid.intersect([up, down], (0, 0, 3))
    with pytest.raises(ValueError, match="crown_angle_deg"):
        solid.Proportions(crown_angle_deg=90)


def test_a_cube() -> None:
    axes = [(1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1)]
    cube = solid.intersect([("side", solid._plane(axis, axis)) for axis in axes])
    assert cube.volume_mm3 == pytest.approx(8)
    assert len(cube.corners) == 8


def test_the_picture_draws_every_facet_once_from_above_or_below() -> None:
    size = weight.Size(6.71, 6.67, 4.10)
    picture = ET.fromstring(shape.draw_cut("round_brilliant", size, "round <1>"))
    polygons = picture.findall("{http://www.w3.org/2000/svg}polygon")
    crown_and_pavilion = 1 + 8 + 8 + 16 + 16 + 8
    girdle_from_the_side = 48
    assert crown_and_pavilion + girdle_from_the_side < len(polygons) < 2 * crown_and_pavilion + 96
    assert "not photographed" in "".join(picture.itertext())


@pytest.mark.parametrize(
    ("reaction", "said"),
    [
        ({"test": "taste"}, r"reactions\[0\].test"),
        ({"test": "thermal_probe", "result": "diamand"}, r"reactions\[0\].result"),
        ({"test": "thermal_probe", "reslut": "diamond"}, r"reactions\[0\].reslut"),
        ({"test": "uv_long_wave", "strength": "medium"}, r"reactions\[0\].colour"),
        ({"test": "uv_long_wave", "strength": "none", "colour": "blue"}, "leave it out"),
        ({"test": "refractive_index", "value": "nan"}, r"reactions\[0\].value"),
        ({"test": "refractive_index", "value": True}, r"reactions\[0\].value"),
        ({"test": "hydrostatic", "in_air_ct": "1.0", "in_water_ct": "1.2", "water_c": "20"}, "below that in air"),
        ({"test": "hydrostatic", "in_air_ct": "1.0", "in_water_ct": "0.7", "water_c": "68"}, "water_c"),
        ({"test": "weight_against_size", "cut": "blob"}, r"reactions\[0\].cut"),
    ],
)
def test_reactions_are_read_strictly(reaction: dict[str, Any], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        material.what_remains([reaction])


def test_a_claw_touched_counts_for_nothing() -> None:
    found = material.what_remains([{"test": "thermal_probe", "result": "metal"}])
    assert len(found.remaining) == len(material.materials())
    assert found.objections == ()
    assert "claw" in found.unusable[0]
    assert "thermal_probe" in [s.test for s in found.separations]


def test_a_reaction_marked_unusable_counts_for_nothing() -> None:
    found = material.what_remains([{"test": "thermal_probe", "result": "diamond", "unusable": "battery low"}])
    assert found.excluded == ()
    assert found.unusable == ("thermal_probe: battery low",)


def test_a_stone_too_small_for_the_scale_excludes_nothing_by_gravity() -> None:
    tiny = {"test": "hydrostatic", "in_air_ct": "0.05", "in_water_ct": "0.036", "water_c": "21", "u_ct": "0.005"}
    found = material.what_remains([tiny])
    assert found.excluded == ()
    assert "too small" in found.unusable[0]


def test_contradictory_reactions_leave_nothing_and_say_so() -> None:
    found = material.what_remains(
        [{"test": "thermal_probe", "result": "diamond"}, {"test": "refractive_index", "value": "1.55"}]
    )
    assert found.remaining == ()
    assert "repeat them" in found.notes[0]


def test_what_separates_comes_first() -> None:
    found = material.what_remains([{"test": "thermal_probe", "result": "diamond"}], loose=False)
    assert [s.test for s in found.separations] == ["doubling"]
    assert found.separations[0].leaves == 1.0
    loose = material.what_remains([], loose=True).separations
    assert loose[0].test == "specific_gravity"
    assert [s.leaves for s in loose] == sorted(s.leaves for s in loose)
    assert "specific_gravity" not in [s.test for s in material.what_remains([], loose=False).separations]


def test_no_doubling_from_one_direction_only_speaks_against() -> None:
    one = material.what_remains([{"test": "doubling", "result": "not seen"}])
    several = material.what_remains([{"test": "doubling", "result": "not seen in several directions"}])
    assert one.excluded == ()
    assert {"moissanite", "rutile", "zircon"} == {o.material for o in one.objections} == set(several.excluded)


def test_every_material_has_sources() -> None:
    for found in material.materials():
        assert found.sources
        assert all(len(text) > 15 for text in found.sources)


def test_water_outside_its_formula_is_refused() -> None:
    with pytest.raises(ValueError, match="0 to 40"):
        hydrostatic.water_density_kg_m3(80)
    with pytest.raises(ValueError, match="weight in water"):
        hydrostatic.specific_gravity(1.0, 1.0, 20, u=0.001)


def test_a_repair_that_closes_and_one_that_does_not() -> None:
    items = [
        metal.Item("ring", "in", 4.83), metal.Item("solder", "added", 0.06), metal.Item("ring", "out", 4.61),
        metal.Item("stone, kept apart", "removed", 0.23), metal.Item("filings", "removed", 0.05),
    ]  # fmt: skip
    closed = metal.balance_repair(items)
    assert closed.closes
    assert closed.missing_g == pytest.approx(0.0, abs=1e-9)
    assert closed.u == pytest.approx(0.01 * math.sqrt(5))
    assert not metal.balance_repair(items[:-1]).closes
    assert "too much" in metal.balance_repair([metal.Item("ring", "in", 4.0), metal.Item("ring", "out", 4.2)]).sentence
    with pytest.raises(ValueError, match="weighed out"):
        metal.balance_repair(items[:2])


def test_unknown_metals_are_refused_by_name() -> None:
    with pytest.raises(ValueError, match="unobtainium"):
        metal.mixture_density({"unobtainium": 1})
    with pytest.raises(ValueError, match="brass"):
        metal.alloy_density("brass")


def test_care_of_the_unknown_is_never_usual() -> None:
    for process in care.PROCESSES:
        assert care.advise("some new crystal", process).verdict == "never"
        for name in care.material_names():
            advice = care.advise(name, process)
            assert advice.reasons
            assert advice.cautions
            assert process in advice.sentence


def test_the_strictest_stone_of_a_piece_decides() -> None:
    stones: list[tuple[str, list[str]]] = [("diamond", []), ("opal", []), ("ruby", ["heated"])]
    assert care.advise_all(stones, "ultrasonic").verdict == "never"
    assert care.advise_all(stones[:1], "ultrasonic").verdict == "usual"
    with pytest.raises(ValueError, match="no stones"):
        care.advise_all([], "steam")
    with pytest.raises(ValueError, match="boiling"):
        care.advise("diamond", "boiling")
    with pytest.raises(ValueError, match="magic"):
        care.advise("diamond", "steam", ["magic"])


def test_uv_and_acid_carry_their_cautions() -> None:
    assert any("goggles" in text for text in care.cautions("uv"))
    assert "long wave too: never look into the lamp" in care.cautions("uv")[0], (
        "a 365 nm torch is bright to the eye as well"
    )
    assert any("acid to water" in text for text in care.cautions("pickle"))


def test_a_weight_that_is_no_weight_is_refused() -> None:
    from decimal import Decimal

    for bad in (Decimal("-1"), Decimal("NaN")):
        with pytest.raises(ValueError, match="at least 0"):
            carat.round_trade(bad)
    with pytest.raises(ValueError, match="decimal"):
        carat.stated_range("about one carat")
