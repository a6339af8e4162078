"""Whatever a shop does with a job, it stays within its life."""

from __future__ import annotations

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from samestone.shop.life import MOVES, NotPossibleNow, State, Station


class LifeOfAJob(RuleBasedStateMachine):
    def __init__(self) -> None:
        super().__init__()
        self.state = State()
        self.out_of_settings = 0

    @rule(name=st.sampled_from(sorted(MOVES)))
    def move(self, name: str) -> None:
        try:
            after = self.state.after(name)
        except NotPossibleNow:
            assert MOVES[name] not in self.state.possible()
            return
        assert not self.state.held, "nothing moves while held"
        assert self.state.station is not Station.PICKED_UP, "nothing moves after pick-up"
        self.out_of_settings += {"unset": 1, "reset": -1}.get(name, 0)
        if name == "picked up":
            assert self.out_of_settings == 0
            assert self.state.station is Station.READY
        self.state = after

    @rule()
    def hold(self) -> None:
        if self.state.station is not Station.PICKED_UP:
            self.state = self.state.hold("a reason")

    @rule()
    def resume(self) -> None:
        if self.state.held:
            self.state = self.state.resume()

    @invariant()
    def stones_are_counted(self) -> None:
        assert self.state.loose == self.out_of_settings >= 0
        if self.state.loose:
            assert self.state.station is Station.BENCH


LifeOfAJob.TestCase.settings = settings(max_examples=150, stateful_step_count=25, deadline=None)
TestLifeOfAJob = LifeOfAJob.TestCase
