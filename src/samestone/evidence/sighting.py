"""Reading what was seen on a stone, and what could not be looked at."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

from samestone.evidence.entry import WORDS, Keys, angle, items, number_from, optional_text, read_each, show, text, word
from samestone.evidence.examination import (
    CHANGES,
    CHARACTERISTICS,
    COLOURS,
    OBSERVATIONS,
    PROPERTY_UNIT,
    RESULT_TESTS,
    STRENGTHS,
    UV_TESTS,
    BadRecord,
    Characteristic,
    NotExamined,
    Reaction,
)

_TESTS: Final = UV_TESTS + RESULT_TESTS
_OBSERVABLE: Final = tuple(OBSERVATIONS)
_EXAMINABLE: Final = (
    *PROPERTY_UNIT, *UV_TESTS, *RESULT_TESTS, *OBSERVATIONS,
    "characteristics", "photographs", "girdle_arc", "crown", "pavilion", "girdle",
)  # fmt: skip

_REACTION: Final = Keys("test strength colour result instrument unusable", "test")
_OBSERVATION: Final = Keys("what value", "what value")
_CHARACTERISTIC: Final = Keys("kind r angle_deg size", "kind r angle_deg")
_NOT_EXAMINED: Final = Keys("what why from_deg to_deg", "what why")
_PHOTOGRAPH: Final = Keys("view sha256 unusable", "view sha256")


def read_reactions(record: Mapping[str, Any]) -> dict[str, Reaction]:
    empty: dict[str, Reaction] = {}
    return read_each(record, "reactions", _REACTION, _read_reaction, empty)


def _read_reaction(item: Mapping[str, Any], found: dict[str, Reaction]) -> None:
    test = word("test", item["test"], _TESTS)
    if test in found:
        raise BadRecord("test", f"{test} a second time", "each test once", "keep the one that holds")
    read = _glow if test in UV_TESTS else _result
    found[test] = read(item, optional_text("unusable", item))


def _glow(item: Mapping[str, Any], unusable: str) -> Reaction:
    if "result" in item:
        raise BadRecord("result", "a result", "strength and colour for an ultraviolet lamp", "use these keys")
    strength, colour = word("strength", item.get("strength"), STRENGTHS), item.get("colour")
    if strength == "none":
        if colour not in (None, "", "none"):
            raise BadRecord("colour", show(colour), "no colour where there is no glow", "remove one")
        return Reaction(strength="none", unusable=unusable)
    return Reaction(strength, word("colour", colour, COLOURS) if colour else "", unusable=unusable)


def _result(item: Mapping[str, Any], unusable: str) -> Reaction:
    for key in ("strength", "colour"):
        if key in item:
            raise BadRecord(key, show(item[key]), "only a result for this test", "remove it")
    result = item.get("result")
    if not isinstance(result, str) or not WORDS.fullmatch(result):
        raise BadRecord("result", show(result), 'words in small letters such as "diamond"', "correct it")
    return Reaction(result=result, unusable=unusable)


def read_observations(record: Mapping[str, Any]) -> dict[str, str]:
    empty: dict[str, str] = {}
    return read_each(record, "observations", _OBSERVATION, _read_observation, empty)


def _read_observation(item: Mapping[str, Any], found: dict[str, str]) -> None:
    what = word("what", item["what"], _OBSERVABLE)
    if what in found:
        raise BadRecord("what", f"{what} a second time", "each once", "keep the one that holds")
    words = OBSERVATIONS[what]
    found[what] = text("value", item["value"]) if words is None else word("value", item["value"], words)


def read_characteristics(record: Mapping[str, Any]) -> tuple[Characteristic, ...] | None:
    """None: not looked for; empty: looked for, and none seen."""
    if "characteristics" not in record:
        return None
    found: dict[Characteristic, None] = {}
    read_each(record, "characteristics", _CHARACTERISTIC, _read_characteristic, found)
    return tuple(found)


def _read_characteristic(item: Mapping[str, Any], found: dict[Characteristic, None]) -> None:
    r = number_from("r", item["r"], 0)
    if r > 1.1:
        raise BadRecord("r", show(item["r"]), "0 to 1.1 girdle radii", "give r in girdle radii, not in mm")
    size = number_from("size", item["size"], 0) if "size" in item else None
    if size is not None and not 0 < size <= 2:
        raise BadRecord("size", show(item["size"]), "above 0, at most 2 girdle radii", "correct it")
    kind = word("kind", item["kind"], CHARACTERISTICS)
    mark = Characteristic(kind, r, angle("angle_deg", item["angle_deg"]), size)
    if mark in found:
        raise BadRecord("", "the same mark a second time", "each mark once", "remove one")
    found[mark] = None


def read_not_examined(record: Mapping[str, Any]) -> tuple[NotExamined, ...]:
    found: list[NotExamined] = []
    read_each(record, "not_examined", _NOT_EXAMINED, _read_not_examined, found)
    return tuple(found)


def _read_not_examined(item: Mapping[str, Any], found: list[NotExamined]) -> None:
    what = word("what", item["what"], _EXAMINABLE)
    arc = [angle(key, item[key]) for key in ("from_deg", "to_deg") if key in item]
    if (what == "girdle_arc") != (len(arc) == 2):
        raise BadRecord("", show(dict(item)), "from_deg and to_deg for girdle_arc and only there", "correct it")
    entry = NotExamined(what, text("why", item["why"]), *arc)
    if any(what == other.what and (not arc or other == entry) for other in found):
        raise BadRecord("what", f"{what} a second time", "each once", "remove one")
    found.append(entry)


def check_photographs(record: Mapping[str, Any]) -> None:
    read_each(record, "photographs", _PHOTOGRAPH, _check_photograph, None)


def _check_photograph(item: Mapping[str, Any], _: None) -> None:
    text("view", item["view"])
    if not isinstance(item["sha256"], str) or not re.fullmatch("[0-9a-f]{64}", item["sha256"]):
        raise BadRecord("sha256", show(item["sha256"]), "64 hexadecimal digits", "correct it")


def read_changes(record: Mapping[str, Any]) -> tuple[str, ...]:
    found: list[str] = []
    for position, item in items(record, "declared_changes"):
        change = word(f"declared_changes[{position}]", item, CHANGES)
        if change in found:
            raise BadRecord(f"declared_changes[{position}]", f"{change} a second time", "each once", "remove one")
        found.append(change)
    return tuple(found)
