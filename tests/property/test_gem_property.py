"""What must hold for every stone, every diary, every budget."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from samestone import metrology
from samestone.gem import carat, material, metal, shape, weight
from samestone.gem.solid import Proportions, build_round
from samestone.metrology import budget, diary

lengths = st.floats(2.0, 12.0)


@given(lengths, st.floats(0.5, 0.75), st.floats(1.1, 3.0), st.sampled_from(["oval", "pear", "emerald", "heart"]))
def test_weight_scales_with_the_cube(width: float, deep: float, larger: float, cut: str) -> None:
    size = weight.Size(1.3 * width, width, deep * width)
    grown = weight.Size(1.3 * width * larger, width * larger, deep * width * larger)
    small, large = (weight.estimate_weight(cut, s).weight_ct for s in (size, grown))
    assert large == pytest.approx(small * larger**3)


@settings(max_examples=15, deadline=None)
@given(st.floats(53, 64), st.floats(30, 37), st.floats(39.5, 42), st.floats(1.5, 5), st.floats(1.0, 12.0))
def test_every_brilliant_closes(table: float, crown: float, pavilion: float, girdle: float, diameter: float) -> None:
    p = Proportions(table, crown, pavilion, girdle)
    stone = build_round(p, diameter)
    assert stone.size_mm[2] == pytest.approx(p.depth / 100 * diameter)
    cone, cylinder = math.pi / 12, math.pi / 4
    assert cone < stone.volume_mm3 / (diameter**2 * stone.size_mm[2]) < cylinder
    assert len(stone.named("bezel")) == len(stone.named("main")) == len(stone.named("star")) == 8
    for facet in stone.facets:
        inside = (stone.corners - facet.corners[0]) @ facet.normal
        assert inside.max() < 1e-7 * diameter  # nothing sticks out of any face


@settings(max_examples=20, deadline=None)
@given(lengths, st.floats(0.57, 0.64))
def test_the_two_routes_of_an_ordinary_round_agree(diameter: float, deep: float) -> None:
    size = weight.Size(diameter, diameter, deep * diameter)
    routes = weight.estimate_weight("round_brilliant", size), shape.estimate_by_solid("round_brilliant", size)
    assert shape.compare_routes(*routes) == ()


@given(st.decimals(0, 50, places=3))
def test_trade_rounding_never_gains_more_than_a_thousandth(shown: Decimal) -> None:
    rounded = carat.round_trade(shown)
    assert Decimal("-0.001") <= shown - rounded <= Decimal("0.008")
    low, high = carat.stated_range(str(rounded))
    assert low < rounded < high


@given(st.lists(st.sampled_from(["gold", "silver", "copper", "platinum"]), min_size=1, unique=True), st.data())
def test_an_alloy_lies_between_its_elements(names: list[str], data: st.DataObject) -> None:
    parts = {name: data.draw(st.floats(1, 1000)) for name in names}
    pure = [metal.mixture_density({name: 1}) for name in names]
    assert min(pure) - 1e-9 <= metal.mixture_density(parts) <= max(pure) + 1e-9


_SOME = [
    {"test": "thermal_probe", "result": "diamond"}, {"test": "thermal_probe", "result": "not diamond"},
    {"test": "electrical_probe", "result": "conducts"}, {"test": "doubling", "result": "seen"},
    {"test": "refractive_index", "value": "1.766"}, {"test": "specific_gravity", "value": "3.52", "u": "0.01"},
    {"test": "uv_long_wave", "strength": "strong", "colour": "blue"}, {"test": "thermal_probe", "result": "metal"},
]  # fmt: skip


@given(st.lists(st.sampled_from(_SOME), max_size=4), st.sampled_from(_SOME))
def test_another_reaction_never_brings_a_material_back(before: list[dict[str, str]], more: dict[str, str]) -> None:
    few, many = (material.what_remains(reactions) for reactions in (before, [*before, more]))
    assert {m.key for m in many.remaining} <= {m.key for m in few.remaining}
    assert {m.key for m in many.remaining}.isdisjoint(many.excluded)
    assert len(many.remaining) + len(many.excluded) == len(material.materials())


START = datetime(2026, 1, 5, tzinfo=UTC)


@given(
    st.lists(st.tuples(st.integers(0, 60), st.booleans()), max_size=12, unique_by=lambda c: c[0]), st.integers(0, 60)
)
def test_a_reading_is_suspect_exactly_where_a_neighbouring_check_failed(
    days: list[tuple[int, bool]], reading: int
) -> None:
    checks = [diary.Check(START + timedelta(days=day), passed) for day, passed in days]
    when = START + timedelta(days=reading, hours=12)
    before = sorted((day, passed) for day, passed in days if day <= reading)
    after = sorted((day, passed) for day, passed in days if day > reading)
    failed = (bool(before) and not before[-1][1]) or (bool(after) and not after[0][1])
    standing = diary.standing_at(when, checks)
    assert (standing == "suspect") == failed
    assert failed or standing == ("unchecked" if not before else "confirmed" if after else "open")


@given(st.lists(st.floats(0.001, 10), min_size=1, max_size=6), st.floats(1, 100))
def test_a_budget_is_at_least_its_largest_part_and_has_no_more_freedom_than_all(us: list[float], dof: float) -> None:
    found = metrology.combine([budget.Part(str(i), u, dof=dof) for i, u in enumerate(us)])
    assert max(us) - 1e-9 <= found.u <= sum(us) + 1e-9
    assert dof * (1 - 1e-9) <= found.dof <= dof * len(us) * (1 + 1e-9)


@given(st.lists(st.floats(1, 20), min_size=1, max_size=6), st.floats(0.001, 1), st.floats(0, 1))
def test_u_of_a_reading_splits_exactly(indications: list[float], u: float, share: float) -> None:
    gauge = metrology.Instrument("gauge", "gauge", "mm", 0.01, u, share * u)
    found = metrology.take_reading(indications, gauge)
    assert found.u**2 == pytest.approx(found.u_independent**2 + found.u_common**2)
    assert min(indications) - 1e-9 <= found.value <= max(indications) + 1e-9
