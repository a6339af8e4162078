"""Reading a record: every key known, every number a decimal string, every word in its list; the rest is refused."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, Final

from samestone import gem
from samestone.evidence.entry import WORDS, Keys, number, number_from, optional_text, read_each, show, text, word
from samestone.evidence.examination import FORMAT, PROPERTY_UNIT, BadRecord, Examination, Measured, NotExamined
from samestone.evidence.measurement import COVERED
from samestone.evidence.paper import PAPER_INSTRUMENTS, printed_offset
from samestone.evidence.sighting import (
    check_photographs,
    read_changes,
    read_characteristics,
    read_not_examined,
    read_observations,
    read_reactions,
)
from samestone.metrology import Instrument, take_reading

ASSUMED_COMMON = 0.4
"""Share of an instrument's u that all its readings have in common where the record does not say (assumed)."""

_TOP: Final = Keys(
    "format kind stone instruments readings not_examined reactions observations characteristics declared_changes "
    "photographs note",
    "format stone",
)
_STONE: Final = Keys("cut setting material", "cut")
_INSTRUMENT: Final = Keys("name kind unit resolution u u_common dof declared suspect", "name kind")
_READING: Final = Keys("property indications instrument unusable", "property indications")


def read_examination(record: Mapping[str, Any]) -> Examination:
    """Read one record of the format "samestone-examination/1" (docs/format/examination.md).

    Refuses, with `BadRecord`, whatever the format does not allow: unknown keys and words, numbers that are not decimal
    strings, values outside what a stone can have, units mixed up, the same thing twice, or both read and not examined.
    """
    if not isinstance(record, Mapping):
        raise BadRecord("the record", show(record), "a JSON object", "write it as { … }")
    _TOP.check(record)
    if not isinstance(record.get("note", ""), str):
        raise BadRecord("note", show(record["note"]), "text", "put it in quotation marks")
    if record["format"] != FORMAT:
        raise BadRecord("format", show(record["format"]), f'"{FORMAT}"', "check that this is an examination record")
    kind = word("kind", record.get("kind", "stone"), ("stone", "paper"))
    cut, setting, material = _read_stone(record["stone"])
    bench = read_each(record, "instruments", _INSTRUMENT, _read_instrument, _Bench(kind == "paper"))
    readings = _read_readings(record, bench, cut)
    reactions, observations = read_reactions(record), read_observations(record)
    characteristics, not_examined = read_characteristics(record), read_not_examined(record)
    looked_at = {*readings, *reactions, *observations, *(["characteristics"] if characteristics else ())}
    _refuse_contradictions(not_examined, looked_at)
    check_photographs(record)
    return Examination(
        kind="paper" if kind == "paper" else "stone",
        cut=cut,
        setting=setting,
        instruments=bench.instruments,
        readings=readings,
        reactions=reactions,
        observations=observations,
        characteristics=characteristics,
        not_examined=not_examined,
        declared_changes=read_changes(record),
        flags=bench.flags,
        material=material,
    )


def _read_stone(stone: Mapping[str, Any]) -> tuple[str, str, str]:
    try:
        _STONE.check(stone)
        setting = word("setting", stone.get("setting", "loose"), ("set", "loose"))
        return text("cut", stone["cut"]), setting, optional_text("material", stone)
    except BadRecord as bad:
        raise bad.within("stone") from None


def _refuse_contradictions(not_examined: Sequence[NotExamined], looked_at: set[str]) -> None:
    for position, entry in enumerate(not_examined):
        if entry.what in looked_at:
            raise BadRecord(
                f"not_examined[{position}].what",
                f"{entry.what}, which the record also gives",
                "each thing either examined or not examined",
                "remove one of the two",
            )


# --- instruments ------------------------------------------------------------------------------------------------------


@dataclass(slots=True)
class _Bench:
    """The instruments of a record by name, why some are suspect, and what has to be said about their uncertainty."""

    paper: bool
    instruments: dict[str, Instrument] = field(default_factory=dict)
    suspect: dict[str, str] = field(default_factory=dict)
    flags: dict[str, str] = field(default_factory=dict)


def _read_instrument(item: Mapping[str, Any], bench: _Bench) -> None:
    try:
        instrument = _known_instrument(tuple(item.items()))
    except TypeError:  # something in it that no instrument can have, such as a list
        instrument = _build_instrument(item)
    if instrument.name in bench.instruments:
        raise BadRecord("name", show(instrument.name), "a name not used before", "give each instrument its own name")
    bench.instruments[instrument.name] = instrument
    if "suspect" in item:
        bench.suspect[instrument.name] = text("suspect", item["suspect"])
    if "u" in item and "u_common" not in item:
        bench.flags["u_common_assumed"] = "the share of u that an instrument's readings have in common is assumed"
    if "u" in item and instrument.standing == "declared":
        bench.flags["u_declared"] = "the u of an instrument is declared, not measured with 20 degrees of freedom"


@lru_cache(maxsize=256)
def _known_instrument(item: tuple[tuple[str, Any], ...]) -> Instrument:
    return _build_instrument(dict(item))


def _build_instrument(item: Mapping[str, Any]) -> Instrument:
    kind, declared = item["kind"], item.get("declared", "dof" not in item)
    if not isinstance(kind, str) or not WORDS.fullmatch(kind):
        raise BadRecord("kind", show(kind), "a word in small letters such as gauge or scale", "correct it")
    if not isinstance(declared, bool):
        raise BadRecord("declared", show(declared), "true or false", "correct it")
    u = number_from("u", item["u"], 0) if "u" in item else None
    if u == 0:
        raise BadRecord("u", "0", "more than 0: nothing is measured exactly", "state its standard uncertainty")
    resolution = number_from("resolution", item["resolution"], 0) if "resolution" in item else 0.0
    common = number_from("u_common", item["u_common"], 0) if "u_common" in item else ASSUMED_COMMON * (u or 0)
    if u is not None and common > u:
        expected = f"at most u = {u:g}, of which it is a part"
        raise BadRecord("u_common", show(item["u_common"]), expected, "correct one of the two")
    return Instrument(
        name=text("name", item["name"]),
        kind=kind,
        unit=optional_text("unit", item),
        resolution=resolution if u is not None else resolution or 1.0,
        u=u or 0.0,
        u_common=common if u is not None else 0.0,
        dof=number_from("dof", item["dof"], 1) if "dof" in item else None,
        declared=declared,
    )


# --- readings ---------------------------------------------------------------------------------------------------------


def _read_readings(record: Mapping[str, Any], bench: _Bench, cut: str) -> dict[str, Measured]:
    def read(item: Mapping[str, Any], found: dict[str, Measured]) -> None:
        name = item["property"]
        if not isinstance(name, str) or name not in PROPERTY_UNIT:
            raise BadRecord("property", show(name), f"one of {', '.join(PROPERTY_UNIT)}", "correct the name")
        if name in found:
            raise BadRecord("property", f"{name} a second time", "each property once", "merge the indications")
        instrument = _instrument_of(item, bench)
        unusable = optional_text("unusable", item) or bench.suspect.get(instrument.name, "")
        found[name] = _measure(name, _indications(name, item["indications"]), instrument, unusable)

    empty: dict[str, Measured] = {}
    readings = _in_order(read_each(record, "readings", _READING, read, empty), bench)
    values = {name: reading.value for name, reading in readings.items()}
    if 0 < _falls(readings) <= NOISE:  # they pass as equal
        values["diameter_min_mm"] = values["diameter_max_mm"]
    for problem in gem.check_values(values, round_outline=cut == COVERED):
        where = f"readings[{list(readings).index(problem.field)}] {problem.field}"
        raise BadRecord(where, problem.found, problem.expected, problem.remedy)
    return readings


NOISE, SWAPPED = 2.0, 6.0
"""Standard uncertainties of their difference by which a smallest diameter above the largest is left, and is refused."""


def _falls(readings: Mapping[str, Measured]) -> float:
    """By how many standard uncertainties of their difference the smallest diameter exceeds the largest; 0: it does not.

    A step of the display is never more than noise.
    """
    low, high = readings.get("diameter_min_mm"), readings.get("diameter_max_mm")
    if low is None or high is None or low.value <= high.value:
        return 0.0
    excess = low.value - high.value
    if excess <= gem.PROPERTIES["diameter_min_mm"].resolution + 1e-9:
        return 1.0
    return excess / math.hypot(low.u_independent, high.u_independent)


def _in_order(readings: dict[str, Measured], bench: _Bench) -> dict[str, Measured]:
    """The readings, two diameters exchanged where they fall by more than noise of 2 u and less than SWAPPED.

    On a stone as good as round noise alone can do that, and a hand that writes them down can; either way it is no
    reason to refuse. Below 2 u they stay as they were read: the model of the noise expects that.
    """
    if not NOISE < _falls(readings) <= SWAPPED:
        return readings
    low, high = readings["diameter_min_mm"], readings["diameter_max_mm"]
    bench.flags["diameters_exchanged"] = "the smallest diameter was above the largest: they are taken the other way"
    return {**readings, "diameter_min_mm": high, "diameter_max_mm": low}


def _instrument_of(item: Mapping[str, Any], bench: _Bench) -> Instrument:
    unit, name = PROPERTY_UNIT[item["property"]], item.get("instrument")
    if bench.paper and name is None:
        return PAPER_INSTRUMENTS[unit]
    instrument = bench.instruments.get(name) if isinstance(name, str) else None
    if instrument is None:
        known = ", ".join(bench.instruments) or "none is listed"
        expected = f"the name of a listed instrument ({known})"
        raise BadRecord("instrument", show(name), expected, "add it to instruments")
    if instrument.unit != unit:
        found = f'"{instrument.name}", which shows {instrument.unit or "no unit"}'
        expected = f"an instrument that shows {unit} for {item['property']}"
        raise BadRecord("instrument", found, expected, "check the unit")
    if instrument.u == 0:
        raise BadRecord("instrument", f'"{instrument.name}" without u', "one with u", "state its uncertainty")
    return instrument


def _indications(name: str, found: object) -> list[float]:
    if not isinstance(found, list | tuple) or not 1 <= len(found) <= 100:
        raise BadRecord("indications", show(found), "a JSON array of 1 to 100 decimal strings", "correct it")
    limits = gem.PROPERTIES[name]
    low, high = limits.low, limits.high
    values = []
    for position, item in enumerate(found):
        try:
            value = number("", item)
        except BadRecord as bad:
            raise bad.within(f"indications[{position}]") from None
        if not low <= value <= high:
            for problem in gem.check_values({name: value}):
                path = f"indications[{position}] ({name})"
                raise BadRecord(path, problem.found, problem.expected, problem.remedy)
        values.append(value)
    return values


def _measure(name: str, indications: list[float], instrument: Instrument, unusable: str) -> Measured:
    scattered = False
    if len(indications) == 1:
        value, (u, u_independent, u_common) = indications[0], _u_of_one(instrument)
    else:
        reading = take_reading(indications, instrument)
        value, u, u_independent, u_common = reading.value, reading.u, reading.u_independent, reading.u_common
        scattered = "scatter" in reading.flags
    if not unusable and scattered:
        unusable = "the indications spread more than the instrument's uncertainty allows: measure again"
    if not unusable and instrument.standing == "unsupported":
        unusable = f"the uncertainty of {instrument.name} rests on fewer than 20 degrees of freedom and is not declared"
    if instrument.kind == "paper":
        value += printed_offset(name)
    return Measured(value, u, u_independent, u_common, len(indications), instrument.name, unusable)


@lru_cache(maxsize=256)
def _u_of_one(instrument: Instrument) -> tuple[float, float, float]:
    """u, independent and common part of a single indication, whatever it shows."""
    reading = take_reading([0.0], instrument)
    return reading.u, reading.u_independent, reading.u_common
