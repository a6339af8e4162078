"""Rows → the values that the science takes. The record is "samestone-examination/1", numbers as decimal strings."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from samestone.shop.models import Examination, Instrument, Mark, Reading

FORMAT = "samestone-examination/1"
# The value of the observation `characteristics` that says: looked for with the microscope, and nothing there. Without
# it and without a mark the record says nothing about characteristics, which is not the same.
NONE_SEEN = "none seen"


def examination_record(examination: Examination, *, suspects: Collection[int] = ()) -> dict[str, Any]:
    """One examination as a record. Readings whose ids are `suspects` are left out and named as not examined."""
    readings = _newest_by_property(examination.readings.current().select_related("instrument"))
    usable = {name: row for name, row in readings.items() if row.pk not in suspects}
    instruments = {row.instrument_id: row.instrument for row in usable.values()}
    names = _names(instruments)
    seen = list(examination.observations.current())
    record: dict[str, Any] = {
        "format": FORMAT,
        "stone": {"cut": examination.stone.cut, "setting": examination.setting},
        "instruments": [_instrument(row, names[row.pk]) for row in instruments.values()],
        "readings": [
            {"property": name, "indications": row.indications, "instrument": names[row.instrument_id]}
            for name, row in usable.items()
        ],
        "not_examined": _not_examined(examination, readings, usable),
        "reactions": [_reaction(row) for row in examination.reactions.current()],
        "observations": [{"what": row.what, "value": row.value} for row in seen if row.what != "characteristics"],
    }
    marks = [_characteristic(row) for row in examination.marks.current().filter(category="characteristic")]
    if marks or any(row.what == "characteristics" and row.value == NONE_SEEN for row in seen):
        record["characteristics"] = marks
    if examination.declared_changes:
        record["declared_changes"] = examination.declared_changes
    return record


def _newest_by_property(rows: Any) -> dict[str, Reading]:
    return {row.property: row for row in rows}


def _names(instruments: dict[int, Instrument]) -> dict[int, str]:
    """One name each, also where a gauge was given a new uncertainty between two readings."""
    taken: dict[str, int] = {}
    names = {}
    for pk, row in instruments.items():
        taken[row.name] = taken.get(row.name, 0) + 1
        names[pk] = row.name if taken[row.name] == 1 else f"{row.name} ({taken[row.name]})"
    return names


def _instrument(row: Instrument, name: str) -> dict[str, Any]:
    stated = {"unit": row.unit, "resolution": row.resolution, "u": row.u, "u_common": row.u_common}
    return {"name": name, "kind": row.kind, **{key: value for key, value in stated.items() if value}}


def _not_examined(
    examination: Examination, readings: dict[str, Reading], usable: dict[str, Reading]
) -> list[dict[str, str]]:
    """A thing read later is no longer a blind spot; a suspect reading is one until it is repeated."""
    seen = {row.what: row.why for row in examination.not_examined.current() if row.what not in readings}
    suspect = {name: "its instrument failed a check" for name in readings if name not in usable}
    return [{"what": what, "why": why} for what, why in {**seen, **suspect}.items()]


def _reaction(row: Any) -> dict[str, str]:
    stated = {"strength": row.strength, "colour": row.colour, "result": row.result}
    return {"test": row.test, **{key: value for key, value in stated.items() if value}}


def _characteristic(row: Mark) -> dict[str, str]:
    stated = {"kind": row.kind, "r": row.r, "angle_deg": row.angle_deg, "size": row.size}
    return {key: value for key, value in stated.items() if value}
