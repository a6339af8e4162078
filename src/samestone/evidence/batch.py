"""Many comparisons: one pair of records a line in, one result a line out."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from samestone.evidence.comparison import STOCK, Case, compare_cases
from samestone.evidence.examination import BadRecord
from samestone.evidence.measurement import comparable
from samestone.evidence.population import load_population
from samestone.evidence.record import read_examination
from samestone.evidence.verdict import Verdict, shared_parts
from samestone.evidence.wording import Question


@dataclass(frozen=True, slots=True)
class Chunk:
    """Results of some lines, one JSON object a line in the order of the lines, and how many could not be compared."""

    text: str
    bad: int


def compare_lines(lines: Sequence[bytes], *, first: int = 1, stock: int = STOCK, fast: bool = True) -> Chunk:
    """Compare `{"a": record, "b": record}` a line; a line may carry an "id", which comes back.

    A line that cannot be compared gives `{"error": {"line", "field", "message"}}` in its place. `first` is the number
    of the first line; `fast` compiles the inner sums, which pays from some hundred lines on.
    """
    results: list[str] = [""] * len(lines)
    cases: list[Case] = []
    places: list[tuple[int, Any]] = []
    for position, line in enumerate(lines):
        try:
            pair = _read_pair(line)
            before, after = _read_side(pair, "a"), _read_side(pair, "b")
        except BadRecord as bad:
            results[position] = _error(first + position, bad)
            continue
        cases.append(Case(before, after, comparable(before, after)))
        places.append((position, pair.get("id")))
    verdicts = compare_cases(cases, population=load_population(), stock=stock, fast=fast)
    for (position, name), verdict in zip(places, verdicts, strict=True):
        results[position] = _line(verdict, name)
    return Chunk("".join(f"{result}\n" for result in results), len(lines) - len(cases))


def unique_keys(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """An object whose keys each stand once, the hook for `json.loads`; of two, no one knows which one holds."""
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [key for key, _ in pairs]
        twice = next(key for key in names if names.count(key) > 1)
        raise BadRecord(twice, "this key twice in one object", "each key once", "keep the one that holds")
    return found


def _read_pair(line: bytes) -> dict[str, Any]:
    try:
        pair = json.loads(line, object_pairs_hook=unique_keys)
    except BadRecord:
        raise
    except ValueError as error:
        raise BadRecord("line", str(error), 'JSON such as {"a": …, "b": …}', "correct the line") from None
    except RecursionError:
        raise BadRecord("line", "brackets nested too deeply", '{"a": …, "b": …}', "correct the line") from None
    if not isinstance(pair, dict):
        raise BadRecord("line", type(pair).__name__, 'an object {"a": …, "b": …}', "correct the line")
    for key in ("a", "b"):
        if key not in pair:
            raise BadRecord(key, "nothing", "an examination record", "add it")
    for key in pair:
        if key not in ("a", "b", "id"):
            raise BadRecord(key, "an unknown key", "a, b and, if wanted, id", "correct or remove it")
    return pair


def _read_side(pair: dict[str, Any], side: str) -> Any:
    try:
        return read_examination(pair[side])
    except BadRecord as bad:
        raise bad.within(side) from None


def _error(number: int, bad: BadRecord) -> str:
    return json.dumps({"error": {"line": number, "field": bad.field, "message": str(bad)}}, ensure_ascii=False)


def _line(verdict: Verdict, name: object) -> str:
    """The result document on one line; what all results of a run share is written once."""
    moving = verdict.moving_parts()
    if name is not None:
        moving = {"id": name, **moving}
    shared = _shared(verdict.question, verdict.stock, tuple(verdict.population.items()))
    return f"{_encode(moving)[:-1]},{shared[1:]}"


_encode = json.JSONEncoder(ensure_ascii=False, separators=(",", ":")).encode


@lru_cache(maxsize=64)
def _shared(question: Question, stock: int, population: tuple[tuple[str, str | int], ...]) -> str:
    return _encode(shared_parts(question, stock, dict(population)))
