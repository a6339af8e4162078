"""What may follow what in the life of a job. Pure: no database, no clock.

A job stands at one station; it may be held (nothing moves until the hold is lifted); some of its stones may be out of
their settings. `State.after(move)` gives the next state or raises `NotPossibleNow`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum


class Station(StrEnum):
    TAKEN_IN = "taken in"
    CLEANED = "cleaned"
    EXAMINED = "examined"
    BENCH = "bench"
    INSPECTED = "inspected"
    READY = "ready"
    PICKED_UP = "picked up"


class NotPossibleNow(Exception):
    """A move that the job's state does not allow; says what was found and what would have to come first."""


@dataclass(frozen=True)
class Move:
    """A step that a job may take: from which stations, to which one, and what it does to the stones."""

    name: str
    words: str
    sources: frozenset[Station]
    to: Station | None = None
    loose: int = 0
    all_set: bool = False
    express_only: bool = False


_AT_THE_COUNTER = frozenset({Station.TAKEN_IN, Station.CLEANED, Station.EXAMINED})
_BEFORE_AND_AFTER_BENCH = frozenset({Station.EXAMINED, Station.INSPECTED, Station.READY})

# The name of a move is the kind of entry that the log keeps of it.
MOVES = {
    move.name: move
    for move in (
        Move("cleaned", "clean", frozenset({Station.TAKEN_IN}), Station.CLEANED),
        Move("left uncleaned", "leave it uncleaned", frozenset({Station.TAKEN_IN}), Station.CLEANED),
        Move("examined", "finish the take-in", frozenset({Station.TAKEN_IN, Station.CLEANED}), Station.EXAMINED),
        Move("given to bench", "give it to the bench", _BEFORE_AND_AFTER_BENCH, Station.BENCH),
        Move("unset", "take a stone out", frozenset({Station.BENCH}), loose=+1),
        Move("reset", "set a stone again", frozenset({Station.BENCH}), loose=-1),
        Move("inspected", "finish the inspection", frozenset({Station.BENCH}), Station.INSPECTED, all_set=True),
        Move("made ready", "put it away, ready", frozenset({Station.INSPECTED}), Station.READY, all_set=True),
        Move("made ready at once", "make it ready at once", _AT_THE_COUNTER, Station.READY, express_only=True),
        Move("picked up", "hand it over to the client", frozenset({Station.READY}), Station.PICKED_UP, all_set=True),
    )
}


@dataclass(frozen=True)
class State:
    """Where a job stands: station, reason of a hold (empty: not held), how many stones are out of their settings."""

    station: Station = Station.TAKEN_IN
    held: str = ""
    loose: int = 0
    express: bool = False

    def after(self, name: str) -> State:
        """The state after the move `name`; raises `NotPossibleNow` when the job is held, elsewhere or in pieces."""
        move = MOVES[name]
        if reason := self.obstacle(move):
            raise NotPossibleNow(reason)
        return replace(self, station=move.to or self.station, loose=self.loose + move.loose)

    def obstacle(self, move: Move) -> str:
        """Why `move` cannot be made now, in words for the counter; empty when it can."""
        if self.held:
            return f"Cannot {move.words}: the job is held ({self.held}). Lift the hold first."
        if self.station not in move.sources:
            places = " or ".join(station.value for station in Station if station in move.sources)
            return f"Cannot {move.words}: the job stands at “{self.station.value}”; it would have to be at “{places}”."
        if move.all_set and self.loose:
            out = (
                "a stone is out of its setting. Set it" if self.loose == 1 else f"{self.loose} stones are out. Set them"
            )
            return f"Cannot {move.words}: {out} first."
        if move.loose < 0 and not self.loose:
            return f"Cannot {move.words}: no stone of this job is out of its setting."
        if move.express_only and not self.express:
            return f"Cannot {move.words}: this is not an express job. Examine it first."
        return ""

    def possible(self) -> tuple[Move, ...]:
        """The moves that can be made now, in the order of a job's life."""
        return tuple(move for move in MOVES.values() if not self.obstacle(move))

    def hold(self, reason: str) -> State:
        """The same state, held; a job that has gone home cannot be held."""
        if self.station is Station.PICKED_UP:
            raise NotPossibleNow("Cannot hold: the piece has been handed over. Open a new job for what follows.")
        if not reason.strip():
            raise NotPossibleNow("Cannot hold without a reason: say in a few words why.")
        return replace(self, held=reason.strip())

    def resume(self) -> State:
        if not self.held:
            raise NotPossibleNow("Cannot lift a hold: the job is not held.")
        return replace(self, held="")
