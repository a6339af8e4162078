"""What the shop demands before a piece goes home."""

from __future__ import annotations

from dataclasses import replace

import pytest

from samestone.shop.pickup.policy import Facts, demands, may_hand_over

GOOD = Facts(held="", ready=True, express=False, ladders=("agrees",), marks=("seen", "could not look"))


def test_everything_in_order() -> None:
    assert may_hand_over(GOOD)
    assert may_hand_over(replace(GOOD, ladders=("agrees_some_unchecked", "agrees")))


@pytest.mark.parametrize(
    "changed",
    [
        {"held": "waiting"},
        {"ready": False},
        {"ladders": ()},
        {"ladders": ("agrees", "")},
        {"ladders": ("disagrees",)},
        {"ladders": ("disagrees",), "accepted": True},
        {"ladders": ("not_enough",)},
        {"marks": ("seen", "")},
        {"marks": ("seen", "not there")},
    ],
)
def test_one_open_demand_keeps_the_piece_here(changed: dict[str, object]) -> None:
    facts = replace(GOOD, **changed)  # type: ignore[arg-type]
    assert not may_hand_over(facts)
    assert any(not demand.met for demand in demands(facts))


def test_not_enough_goes_home_only_when_the_client_was_told() -> None:
    assert may_hand_over(replace(GOOD, ladders=("not_enough",), accepted=True))


def test_an_express_clean_needs_no_second_examination() -> None:
    assert may_hand_over(Facts(held="", ready=True, express=True, ladders=(), marks=()))
