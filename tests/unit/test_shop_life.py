"""What may follow what in the life of a job."""

from __future__ import annotations

import pytest

from samestone.shop.life import MOVES, NotPossibleNow, State, Station

WHOLE_LIFE = ("cleaned", "examined", "given to bench", "unset", "reset", "inspected", "made ready", "picked up")


def walk(*moves: str, start: State | None = None) -> State:
    state = start or State()
    for move in moves:
        state = state.after(move)
    return state


def test_a_whole_life() -> None:
    assert walk(*WHOLE_LIFE) == State(Station.PICKED_UP)


def test_an_express_job_goes_home_the_same_hour() -> None:
    assert walk("cleaned", "made ready at once", "picked up", start=State(express=True)).station is Station.PICKED_UP
    with pytest.raises(NotPossibleNow, match="not an express job"):
        walk("cleaned", "made ready at once")


def test_a_loose_stone_keeps_the_piece_at_the_bench() -> None:
    apart = walk("examined", "given to bench", "unset", "unset")
    assert apart.loose == 2
    with pytest.raises(NotPossibleNow, match="2 stone"):
        apart.after("inspected")
    with pytest.raises(NotPossibleNow, match="no stone of this job is out"):
        walk("reset", "reset", "reset", start=apart)


def test_nothing_moves_while_a_job_is_held() -> None:
    held = walk("examined").hold("waiting")
    assert held.possible() == ()
    for move in MOVES.values():
        assert "held (waiting)" in held.obstacle(move)
    assert "given to bench" in [move.name for move in held.resume().possible()]
    with pytest.raises(NotPossibleNow, match="not held"):
        State().resume()
    with pytest.raises(NotPossibleNow, match="reason"):
        State().hold("  ")


def test_the_words_say_where_it_stands_and_where_it_would_have_to() -> None:
    with pytest.raises(NotPossibleNow, match="stands at “taken in”; it would have to be at “ready”"):
        State().after("picked up")


def test_after_pick_up_there_is_nothing_more() -> None:
    gone = walk(*WHOLE_LIFE)
    assert gone.possible() == ()
    with pytest.raises(NotPossibleNow, match="handed over"):
        gone.hold("late thought")
