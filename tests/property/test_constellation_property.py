"""Laws that the ratio of two plans of marks obeys, whatever the marks."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from samestone.evidence.constellation import Plan, compare_plans, rotate
from samestone.evidence.examination import CHARACTERISTICS, Characteristic
from samestone.evidence.seeing import shipped_seeing

SEEING = shipped_seeing(), shipped_seeing()
GRID = 0.05
"""What the grid of turns leaves open, in log10 LR."""

marks = st.builds(
    Characteristic,
    st.sampled_from(CHARACTERISTICS),
    st.floats(0, 1.1).map(lambda r: round(r, 2)),
    st.floats(0, 359).map(lambda angle: round(angle, 0)),
    st.none() | st.floats(0.01, 0.5).map(lambda size: round(size, 3)),
)
plans = st.lists(marks, max_size=5).map(tuple)


@settings(max_examples=25, deadline=None)
@given(plans, plans, st.randoms(use_true_random=False))
def test_the_order_of_marks_says_nothing(before: tuple, after: tuple, random: object) -> None:  # type: ignore[type-arg]
    shuffled = list(after)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    plain = compare_plans(Plan(before), Plan(after)).log10_lr
    assert compare_plans(Plan(before), Plan(tuple(shuffled))).log10_lr == approx(plain, abs=2e-3)


@settings(max_examples=25, deadline=None)
@given(plans, plans)
def test_first_and_second_may_change_places(before: tuple, after: tuple) -> None:  # type: ignore[type-arg]
    there, back = (
        compare_plans(*pair, seeing=SEEING) for pair in ((Plan(before), Plan(after)), (Plan(after), Plan(before)))
    )
    assert back.log10_lr == approx(there.log10_lr, abs=GRID)


@settings(max_examples=25, deadline=None)
@given(plans, plans, st.integers(0, 359))
def test_turning_a_plan_says_nothing(before: tuple, after: tuple, angle: int) -> None:  # type: ignore[type-arg]
    plain = compare_plans(Plan(before), Plan(after)).log10_lr
    assert compare_plans(Plan(before), Plan(rotate(after, angle))).log10_lr == approx(plain, abs=GRID)


@settings(max_examples=25, deadline=None)
@given(plans)
def test_a_plan_speaks_for_itself(plan: tuple) -> None:  # type: ignore[type-arg]
    """The same plan twice never speaks against one stone by more than rare marks in hopeless places do."""
    found = compare_plans(Plan(plan), Plan(plan))
    assert found.log10_lr > 0
    assert set(found.pairs) <= {(i, j) for i in range(len(plan)) for j in range(len(plan))}
