"""Rows → the values that the science takes. The record is "samestone-examination/1", numbers as decimal strings."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from samestone.shop.models import DAMAGE, NONE_SEEN, Examination, Instrument, Mark, Reaction, Reading
from samestone.shop.suspicion import doubts

FORMAT = "samestone-examination/1"


def examination_record(examination: Examination) -> dict[str, Any]:
    """One examination as a record.

    What this look lacks is taken from the finished looks at the same stone on the same occasion, newest first: a
    reading may be repeated in a look of its own. What rests on an instrument that failed a check is left out and named
    as not examined until it is repeated.
    """
    looks = (examination, *_other_looks(examination))
    readings, doubtful_readings = _readings(looks)
    reactions, doubtful_reactions = _reactions(looks)
    observations = _first_told(looks, lambda look: {row.what: row for row in look.observations.current()})
    marks = _characteristics(looks)
    instruments = {row.instrument_id: row.instrument for row in readings.values()}
    names = _names(instruments)
    known = {*readings, *reactions, *observations, *(("characteristics",) if marks is not None else ())}
    record: dict[str, Any] = {
        "format": FORMAT,
        "stone": {"cut": examination.stone.cut, "setting": examination.setting},
        "instruments": [_instrument(row, names[row.pk]) for row in instruments.values()],
        "readings": [
            {"property": name, "indications": row.indications, "instrument": names[row.instrument_id]}
            for name, row in readings.items()
        ],
        "not_examined": _not_examined(looks, known, {**doubtful_readings, **doubtful_reactions}),
        "reactions": [_reaction(row) for row in reactions.values()],
        "observations": [
            {"what": what, "value": row.value}
            for what, row in observations.items()
            if what not in ("characteristics", DAMAGE)
        ],
    }
    if marks is not None:
        record["characteristics"] = [_characteristic(row) for row in marks]
    if examination.declared_changes:
        record["declared_changes"] = examination.declared_changes
    return record


def _other_looks(examination: Examination) -> tuple[Examination, ...]:
    """Finished looks at the same stone, on the same occasion, set or loose alike, newest first."""
    same = Examination.objects.filter(
        stone=examination.stone_id,
        occasion=examination.occasion,
        setting=examination.setting,
        finished_at__isnull=False,
    )
    return tuple(same.exclude(pk=examination.pk).order_by("-finished_at", "-pk"))


def _first_told(looks: Iterable[Examination], told: Any) -> dict[str, Any]:
    """What the first look says that says anything about a thing."""
    found: dict[str, Any] = {}
    for look in looks:
        for what, row in told(look).items():
            found.setdefault(what, row)
    return found


def _readings(looks: Iterable[Examination]) -> tuple[dict[str, Reading], dict[str, str]]:
    """The newest usable reading of each property, and why the others cannot be used."""
    rows = [row for look in looks for row in reversed(look.readings.current().select_related("instrument"))]
    return _usable([(row.property, row) for row in rows], doubts(rows))


def _reactions(looks: Iterable[Examination]) -> tuple[dict[str, Reaction], dict[str, str]]:
    rows = [row for look in looks for row in reversed(look.reactions.current().select_related("instrument"))]
    return _usable([(row.test, row) for row in rows], doubts(rows))


def _usable(rows: list[tuple[str, Any]], why: dict[int, str]) -> tuple[dict[str, Any], dict[str, str]]:
    """By name in the order of the first look: the first row that can be used; and what cannot be used at all."""
    found: dict[str, Any] = {}
    for name, row in rows:
        if row.pk not in why:
            found.setdefault(name, row)
    order = {name: place for place, name in enumerate(dict.fromkeys(name for name, _ in reversed(rows)))}
    usable = {name: found[name] for name in sorted(found, key=order.__getitem__)}
    return usable, {name: why[row.pk] for name, row in reversed(rows) if row.pk in why and name not in found}


def _characteristics(looks: Iterable[Examination]) -> list[Mark] | None:
    """The marks of the first look that looked for any; None where nobody looked."""
    for look in looks:
        marks = list(look.marks.current().filter(category="characteristic"))
        if marks or look.observations.current().filter(what="characteristics", value=NONE_SEEN).exists():
            return marks
    return None


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
    measured = {"dof": str(row.dof), "declared": row.declared} if row.dof else {}
    return {"name": name, "kind": row.kind, **{key: value for key, value in stated.items() if value}, **measured}


def _not_examined(looks: Iterable[Examination], known: set[str], doubtful: dict[str, str]) -> list[dict[str, str]]:
    """A thing seen later is no longer a blind spot; a suspect reading is one until it is repeated."""
    blind = _first_told(looks, lambda look: {row.what: row.why for row in look.not_examined.current()})
    return [{"what": what, "why": why} for what, why in {**blind, **doubtful}.items() if what not in known]


def _reaction(row: Any) -> dict[str, str]:
    stated = {"strength": row.strength, "colour": row.colour, "result": row.result}
    return {"test": row.test, **{key: value for key, value in stated.items() if value}}


def _characteristic(row: Mark) -> dict[str, str]:
    stated = {"kind": row.kind, "r": row.r, "angle_deg": row.angle_deg, "size": row.size}
    return {key: value for key, value in stated.items() if value}
