"""Reading a record: every key known, every number a decimal string, every word in its list; the rest is refused."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from typing import Any, Final

from samestone import gem
from samestone.evidence.examination import (
    CHANGES,
    CHARACTERISTICS,
    COLOURS,
    FORMAT,
    OBSERVATIONS,
    PROPERTY_UNIT,
    RESULT_TESTS,
    STRENGTHS,
    UV_TESTS,
    BadRecord,
    Characteristic,
    Examination,
    Measured,
    NotExamined,
    Reaction,
)
from samestone.evidence.measurement import COVERED
from samestone.evidence.paper import PAPER_INSTRUMENTS, printed_offset
from samestone.metrology import Instrument, take_reading

ASSUMED_COMMON = 0.4
"""Share of an instrument's u that all its readings have in common where the record does not say (assumed)."""

_TOP: Final = (
    "format", "kind", "stone", "instruments", "readings", "not_examined", "reactions", "observations",
    "characteristics", "declared_changes", "photographs", "note",
)  # fmt: skip
_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?")
_WORDS = re.compile(r"[a-z][a-z0-9 _-]*")
_LONGEST = 200


def read_examination(record: Mapping[str, Any]) -> Examination:
    """Read one record of the format "samestone-examination/1" (docs/format/examination.md).

    Refuses, with `BadRecord`, whatever the format does not allow: unknown keys and words, numbers that are not decimal
    strings, values outside what a stone can have, units mixed up, the same thing twice, or both read and not examined.
    """
    _fields("record", record, _TOP, required=("format", "stone"))
    if record["format"] != FORMAT:
        raise BadRecord("format", _show(record["format"]), f'"{FORMAT}"', "check that this is an examination record")
    kind = _word("kind", record.get("kind", "stone"), ("stone", "paper"))
    stone = record["stone"]
    _fields("stone", stone, ("cut", "setting", "material"), required=("cut",))
    setting = _word("stone.setting", stone.get("setting", "loose"), ("set", "loose"))
    instruments, suspect, flags = _instruments(record, kind)
    readings = _readings(record, instruments, suspect, kind)
    reactions = _reactions(record)
    observations = _observations(record)
    characteristics = _characteristics(record)
    not_examined = _not_examined(record)
    looked_at = {*readings, *reactions, *observations, *(["characteristics"] if characteristics else ())}
    _refuse_contradictions(not_examined, looked_at)
    _photographs(record)
    return Examination(
        kind="paper" if kind == "paper" else "stone",
        cut=_text("stone.cut", stone["cut"]),
        setting=setting,
        instruments=instruments,
        readings=readings,
        reactions=reactions,
        observations=observations,
        characteristics=characteristics,
        not_examined=not_examined,
        declared_changes=_changes(record),
        flags=flags,
    )


def _show(found: object) -> str:
    text = "nothing" if found is None else repr(found) if not isinstance(found, str) else f'"{found}"'
    return text if len(text) <= 60 else text[:57] + "…"


def _fields(where: str, found: object, known: Sequence[str], required: Sequence[str] = ()) -> None:
    if not isinstance(found, Mapping):
        raise BadRecord(where, _show(found), "a JSON object", "write it as { … }")
    for key in found:
        if key not in known:
            path = key if where == "record" else f"{where}.{key}"
            raise BadRecord(path, "an unknown key", f"one of {', '.join(sorted(known))}", "correct or remove it")
    for key in required:
        if key not in found:
            path = key if where == "record" else f"{where}.{key}"
            raise BadRecord(path, "nothing", "a value: it is required", "add it")


def _items(record: Mapping[str, Any], key: str) -> Iterator[tuple[str, Any]]:
    found = record.get(key, ())
    if not isinstance(found, list | tuple):
        raise BadRecord(key, _show(found), "a JSON array", "write it as [ … ]")
    for position, item in enumerate(found):
        yield f"{key}[{position}]", item


def _text(where: str, found: object) -> str:
    if not isinstance(found, str) or not found.strip() or len(found) > _LONGEST or not found.isprintable():
        raise BadRecord(where, _show(found), f"a line of text, 1 to {_LONGEST} characters", "write it again")
    return found


def _word(where: str, found: object, allowed: Sequence[str]) -> str:
    if not isinstance(found, str) or found not in allowed:
        raise BadRecord(where, _show(found), f"one of {', '.join(allowed)}", "choose one of these words")
    return found


def _number(where: str, found: object) -> float:
    if isinstance(found, str) and len(found) <= 20 and _NUMBER.fullmatch(found):
        return float(found)
    if isinstance(found, int | float) and not isinstance(found, bool):
        raise BadRecord(
            where,
            f"the JSON number {found}",
            f'a decimal string such as "{found}"',
            "put the number in quotation marks",
        )
    raise BadRecord(where, _show(found), 'a decimal string such as "6.47"', "write digits, a point, digits")


def _at_least(where: str, found: object, least: float) -> float:
    value = _number(where, found)
    if value < least:
        raise BadRecord(where, _show(found), f"at least {least:g}", "correct it")
    return value


# --- instruments and readings -----------------------------------------------------------------------------------------


def _instruments(record: Mapping[str, Any], kind: str) -> tuple[dict[str, Instrument], dict[str, str], dict[str, str]]:
    instruments = dict(PAPER_INSTRUMENTS) if kind == "paper" else {}
    given: set[str] = set()
    suspect: dict[str, str] = {}
    flags: dict[str, str] = {}
    for where, item in _items(record, "instruments"):
        _fields(where, item, _INSTRUMENT_KEYS, required=("name", "kind"))
        name = _text(f"{where}.name", item["name"])
        if name in given:
            raise BadRecord(f"{where}.name", _show(name), "a name not used before", "give each instrument its own name")
        given.add(name)
        instruments[name] = _instrument(where, item)
        if "suspect" in item:
            suspect[name] = _text(f"{where}.suspect", item["suspect"])
        if "u" in item and "u_common" not in item:
            flags["u_common_assumed"] = "the share of u that an instrument's readings have in common is assumed"
        if "u" in item and instruments[name].standing == "declared":
            flags["u_declared"] = "the u of an instrument is declared, not measured with 20 degrees of freedom"
    return instruments, suspect, flags


_INSTRUMENT_KEYS: Final = ("name", "kind", "unit", "resolution", "u", "u_common", "dof", "declared", "suspect")


def _instrument(where: str, item: Mapping[str, Any]) -> Instrument:
    try:
        hash(key := tuple(item.items()))
    except TypeError:
        return _build_instrument(where, item)
    try:
        return _known_instrument(key)
    except BadRecord as bad:
        raise BadRecord(f"{where}{bad.field}", bad.found, bad.expected, bad.remedy) from None


@lru_cache(maxsize=256)
def _known_instrument(item: tuple[tuple[str, Any], ...]) -> Instrument:
    return _build_instrument("", dict(item))


def _build_instrument(where: str, item: Mapping[str, Any]) -> Instrument:
    kind = item["kind"]
    if not isinstance(kind, str) or not _WORDS.fullmatch(kind):
        raise BadRecord(f"{where}.kind", _show(kind), "a word in small letters such as gauge or scale", "correct it")
    u = _at_least(f"{where}.u", item["u"], 0) if "u" in item else None
    resolution = _at_least(f"{where}.resolution", item["resolution"], 0) if "resolution" in item else 0.0
    if u == 0:
        raise BadRecord(f"{where}.u", "0", "more than 0: nothing is measured exactly", "state its standard uncertainty")
    common = _at_least(f"{where}.u_common", item["u_common"], 0) if "u_common" in item else ASSUMED_COMMON * (u or 0)
    if u is not None and common > u:
        raise BadRecord(
            f"{where}.u_common", _show(item["u_common"]), f"at most u = {u:g}, of which it is a part", "correct one"
        )
    declared = item.get("declared", "dof" not in item)
    if not isinstance(declared, bool):
        raise BadRecord(f"{where}.declared", _show(declared), "true or false", "correct it")
    return Instrument(
        name=_text(f"{where}.name", item["name"]),
        kind=kind,
        unit=_text(f"{where}.unit", item["unit"]) if "unit" in item else "",
        resolution=resolution if u is not None else resolution or 1.0,
        u=u or 0.0,
        u_common=common,
        dof=_at_least(f"{where}.dof", item["dof"], 1) if "dof" in item else None,
        declared=declared,
    )


_READING_KEYS: Final = ("property", "indications", "instrument", "unusable")


def _readings(
    record: Mapping[str, Any], instruments: Mapping[str, Instrument], suspect: Mapping[str, str], kind: str
) -> dict[str, Measured]:
    readings: dict[str, Measured] = {}
    where_of: dict[str, str] = {}
    for where, item in _items(record, "readings"):
        _fields(
            where, item, ("property", "indications", "instrument", "unusable"), required=("property", "indications")
        )
        name = item["property"]
        if name not in PROPERTY_UNIT:
            raise BadRecord(f"{where}.property", _show(name), f"one of {', '.join(PROPERTY_UNIT)}", "correct the name")
        if name in readings:
            raise BadRecord(f"{where}.property", f"{name} a second time", "each property once", "merge the indications")
        where_of[name] = where
        instrument = _instrument_of(where, item, instruments, kind)
        indications = _indications(where, name, item["indications"])
        why = _text(f"{where}.unusable", item["unusable"]) if "unusable" in item else ""
        readings[name] = _measure(name, indications, instrument, why or suspect.get(instrument.name, ""))
    values = _in_order({name: reading.value for name, reading in readings.items()})
    for problem in gem.check_values(values, round_outline=record["stone"]["cut"] == COVERED):
        raise BadRecord(f"{where_of[problem.field]} {problem.field}", problem.found, problem.expected, problem.remedy)
    return readings


def _in_order(values: dict[str, float]) -> dict[str, float]:
    """Two diameters that noise has put in the wrong order by no more than one step of the display are not swapped."""
    low, high = values.get("diameter_min_mm"), values.get("diameter_max_mm")
    if low is not None and high is not None and 0 < low - high <= gem.PROPERTIES["diameter_min_mm"].resolution + 1e-9:
        values["diameter_min_mm"] = high
    return values


def _instrument_of(where: str, item: Mapping[str, Any], instruments: Mapping[str, Instrument], kind: str) -> Instrument:
    unit = PROPERTY_UNIT[item["property"]]
    name = item.get("instrument", f"printed {unit}" if kind == "paper" else None)
    instrument = instruments.get(name) if isinstance(name, str) else None
    if instrument is None:
        known = ", ".join(instruments) or "none is listed"
        raise BadRecord(
            f"{where}.instrument", _show(name), f"the name of a listed instrument ({known})", "add it to instruments"
        )
    if instrument.unit != unit:
        raise BadRecord(
            f"{where}.instrument",
            f'"{instrument.name}", which shows {instrument.unit or "no unit"}',
            f"an instrument that shows {unit} for {item['property']}",
            "check the unit",
        )
    if instrument.u == 0:
        raise BadRecord(f"{where}.instrument", f'"{instrument.name}" without u', "one with u", "state its uncertainty")
    return instrument


def _indications(where: str, name: str, found: object) -> list[float]:
    if not isinstance(found, list | tuple) or not 1 <= len(found) <= 100:
        raise BadRecord(f"{where}.indications", _show(found), "a JSON array of 1 to 100 decimal strings", "correct it")
    limits = gem.PROPERTIES[name]
    values = []
    for position, item in enumerate(found):
        value = _number(f"{where}.indications[{position}]", item)
        if not limits.low <= value <= limits.high:
            for problem in gem.check_values({name: value}):
                path = f"{where}.indications[{position}] ({name})"
                raise BadRecord(path, problem.found, problem.expected, problem.remedy)
        values.append(value)
    return values


def _measure(name: str, indications: list[float], instrument: Instrument, unusable: str) -> Measured:
    reading = take_reading(indications, instrument)
    if not unusable and "scatter" in reading.flags:
        unusable = "the indications spread more than the instrument's uncertainty allows: measure again"
    if not unusable and instrument.standing == "unsupported":
        unusable = f"the uncertainty of {instrument.name} rests on fewer than 20 degrees of freedom and is not declared"
    value = reading.value + (printed_offset(name) if instrument.kind == "paper" else 0.0)
    return Measured(value, reading.u, reading.u_independent, reading.u_common, reading.n, instrument.name, unusable)


# --- what was seen ----------------------------------------------------------------------------------------------------


def _reactions(record: Mapping[str, Any]) -> dict[str, Reaction]:
    reactions: dict[str, Reaction] = {}
    for where, item in _items(record, "reactions"):
        keys = ("test", "strength", "colour", "result", "instrument", "unusable")
        _fields(where, item, keys, required=("test",))
        test = _word(f"{where}.test", item["test"], UV_TESTS + RESULT_TESTS)
        if test in reactions:
            raise BadRecord(f"{where}.test", f"{test} a second time", "each test once", "keep the one that holds")
        unusable = _text(f"{where}.unusable", item["unusable"]) if "unusable" in item else ""
        read = _glow if test in UV_TESTS else _result
        reactions[test] = read(where, item, unusable)
    return reactions


def _glow(where: str, item: Mapping[str, Any], unusable: str) -> Reaction:
    if "result" in item:
        raise BadRecord(f"{where}.result", "a result", "strength and colour for an ultraviolet lamp", "use these keys")
    strength = _word(f"{where}.strength", item.get("strength"), STRENGTHS)
    if strength == "none":
        if item.get("colour") not in (None, "", "none"):
            raise BadRecord(f"{where}.colour", _show(item["colour"]), "no colour where there is no glow", "remove one")
        return Reaction(strength="none", unusable=unusable)
    colour = item.get("colour")
    return Reaction(
        strength=strength, colour=_word(f"{where}.colour", colour, COLOURS) if colour else "", unusable=unusable
    )


def _result(where: str, item: Mapping[str, Any], unusable: str) -> Reaction:
    for key in ("strength", "colour"):
        if key in item:
            raise BadRecord(f"{where}.{key}", _show(item[key]), "only a result for this test", "remove it")
    result = item.get("result")
    if not isinstance(result, str) or not _WORDS.fullmatch(result):
        raise BadRecord(f"{where}.result", _show(result), 'words in small letters such as "diamond"', "correct it")
    return Reaction(result=result, unusable=unusable)


def _observations(record: Mapping[str, Any]) -> dict[str, str]:
    seen: dict[str, str] = {}
    for where, item in _items(record, "observations"):
        _fields(where, item, ("what", "value"), required=("what", "value"))
        what = _word(f"{where}.what", item["what"], tuple(OBSERVATIONS))
        if what in seen:
            raise BadRecord(f"{where}.what", f"{what} a second time", "each once", "keep the one that holds")
        words = OBSERVATIONS[what]
        path = f"{where}.value"
        seen[what] = _text(path, item["value"]) if words is None else _word(path, item["value"], words)
    return seen


def _characteristics(record: Mapping[str, Any]) -> tuple[Characteristic, ...] | None:
    if "characteristics" not in record:
        return None
    found = []
    for where, item in _items(record, "characteristics"):
        _fields(where, item, ("kind", "r", "angle_deg", "size"), required=("kind", "r", "angle_deg"))
        r = _at_least(f"{where}.r", item["r"], 0)
        if r > 1.1:
            raise BadRecord(
                f"{where}.r", _show(item["r"]), "0 to 1.1 girdle radii", "give r in girdle radii, not in mm"
            )
        size = _at_least(f"{where}.size", item["size"], 0) if "size" in item else None
        if size is not None and not 0 < size <= 2:
            raise BadRecord(f"{where}.size", _show(item["size"]), "above 0, at most 2 girdle radii", "correct it")
        angle = _angle(f"{where}.angle_deg", item["angle_deg"])
        mark = Characteristic(_word(f"{where}.kind", item["kind"], CHARACTERISTICS), r, angle, size)
        if mark in found:
            raise BadRecord(where, "the same mark a second time", "each mark once", "remove one")
        found.append(mark)
    return tuple(found)


def _angle(where: str, found: object) -> float:
    value = _number(where, found)
    if not -360 <= value <= 360:
        raise BadRecord(where, _show(found), "-360 to 360 degrees", "correct it")
    return value % 360


def _not_examined(record: Mapping[str, Any]) -> tuple[NotExamined, ...]:
    found: list[NotExamined] = []
    for where, item in _items(record, "not_examined"):
        _fields(where, item, ("what", "why", "from_deg", "to_deg"), required=("what", "why"))
        what = _word(f"{where}.what", item["what"], _EXAMINABLE)
        arc = [_angle(f"{where}.{key}", item[key]) for key in ("from_deg", "to_deg") if key in item]
        if (what == "girdle_arc") != (len(arc) == 2):
            raise BadRecord(where, _show(dict(item)), "from_deg and to_deg for girdle_arc and only there", "correct it")
        entry = NotExamined(what, _text(f"{where}.why", item["why"]), *arc)
        if any(what == other.what and (not arc or other == entry) for other in found):
            raise BadRecord(f"{where}.what", f"{what} a second time", "each once", "remove one")
        found.append(entry)
    return tuple(found)


_EXAMINABLE = (
    *PROPERTY_UNIT, *UV_TESTS, *RESULT_TESTS, *OBSERVATIONS,
    "characteristics", "photographs", "girdle_arc", "crown", "pavilion", "girdle",
)  # fmt: skip


def _refuse_contradictions(not_examined: Sequence[NotExamined], looked_at: set[str]) -> None:
    for position, entry in enumerate(not_examined):
        if entry.what in looked_at:
            raise BadRecord(
                f"not_examined[{position}].what",
                f"{entry.what}, which the record also gives",
                "each thing either examined or not examined",
                "remove one of the two",
            )


def _photographs(record: Mapping[str, Any]) -> None:
    for where, item in _items(record, "photographs"):
        _fields(where, item, ("view", "sha256", "unusable"), required=("view", "sha256"))
        _text(f"{where}.view", item["view"])
        if not isinstance(item["sha256"], str) or not re.fullmatch("[0-9a-f]{64}", item["sha256"]):
            raise BadRecord(f"{where}.sha256", _show(item["sha256"]), "64 hexadecimal digits", "correct it")


def _changes(record: Mapping[str, Any]) -> tuple[str, ...]:
    found: list[str] = []
    for where, item in _items(record, "declared_changes"):
        change = _word(where, item, CHANGES)
        if change in found:
            raise BadRecord(where, f"{change} a second time", "each change once", "remove one")
        found.append(change)
    return tuple(found)
