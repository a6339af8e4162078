"""The examination record, "samestone-examination/1": what was looked at, what was found, what could not be seen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from samestone.metrology import Instrument

FORMAT = "samestone-examination/1"

PROPERTY_UNIT: Mapping[str, str] = {
    "weight_ct": "ct",
    "diameter_min_mm": "mm",
    "diameter_max_mm": "mm",
    "depth_mm": "mm",
    "table_percent": "%",
}
"""Measured properties in the order in which the method takes them, and the unit their instrument must show."""

UV_TESTS = ("uv_long_wave", "uv_short_wave")
RESULT_TESTS = ("thermal_probe", "electrical_probe", "doubling")
STRENGTHS = ("none", "faint", "medium", "strong", "very strong")
COLOURS = ("blue", "white", "yellow", "orange", "green", "red", "other")
OBSERVATIONS: Mapping[str, tuple[str, ...] | None] = {
    "girdle_finish": ("unpolished", "polished", "faceted"),
    "culet": ("none", "very small", "small", "medium", "large", "broken"),
    "inscription": None,
}
"""What may be observed, and the words for it; None: any text, "none seen" where none was seen."""
CHARACTERISTICS = (
    "crystal", "cloud", "feather", "needle", "pinpoint", "twinning", "natural", "extra facet", "chip", "nick",
    "bruise", "abrasion", "cavity", "other",
)  # fmt: skip
CHANGES = ("repolish", "recut", "new_head")


class BadRecord(ValueError):
    """A record that cannot be used: where, what was found, what was expected, what to do next."""

    def __init__(self, where: str, found: str, expected: str, remedy: str) -> None:
        super().__init__(f"{where}: found {found}, expected {expected}; {remedy}")
        self.field = where
        self.found = found
        self.expected = expected
        self.remedy = remedy

    def within(self, where: str) -> BadRecord:
        """The same refusal, seen from the object that holds the part it is about."""
        path = f"{where}.{self.field}" if self.field and not self.field.startswith("[") else f"{where}{self.field}"
        return BadRecord(path, self.found, self.expected, self.remedy)


@dataclass(frozen=True, slots=True)
class Measured:
    """A reading in the unit of its property; u^2 = u_independent^2 + u_common^2.

    `u_common` is shared with every reading of the same instrument in this record. `unusable` is empty, or says why the
    reading counts neither way.
    """

    value: float
    u: float
    u_independent: float
    u_common: float
    n: int
    instrument: str
    unusable: str = ""


@dataclass(frozen=True, slots=True)
class Reaction:
    """What a test showed: `strength` and `colour` under an ultraviolet lamp, `result` of a probe."""

    strength: str = ""
    colour: str = ""
    result: str = ""
    unusable: str = ""


@dataclass(frozen=True, slots=True)
class Characteristic:
    """A mark placed by hand; `r` in girdle radii, angle counter-clockwise in the stone's frame seen face up."""

    kind: str
    r: float
    angle_deg: float
    size: float | None = None


@dataclass(frozen=True, slots=True)
class NotExamined:
    """What could not be looked at and why; `from_deg` to `to_deg` is the hidden arc, counter-clockwise, if an arc."""

    what: str
    why: str
    from_deg: float | None = None
    to_deg: float | None = None


@dataclass(frozen=True, slots=True)
class Examination:
    """One record, read and checked; every mapping is keyed by the word used in the record."""

    kind: Literal["stone", "paper"]
    cut: str
    setting: str
    instruments: Mapping[str, Instrument]
    readings: Mapping[str, Measured]
    reactions: Mapping[str, Reaction]
    observations: Mapping[str, str]
    characteristics: tuple[Characteristic, ...] | None
    not_examined: tuple[NotExamined, ...]
    declared_changes: tuple[str, ...]
    flags: Mapping[str, str] = field(default_factory=dict)
    material: str = ""
