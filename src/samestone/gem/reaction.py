"""One reaction of a stone to a test: read strictly, then held against each material."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from samestone.gem.hydrostatic import specific_gravity
from samestone.gem.material import OVER_LIMIT, PLAIN_DOUBLING, Glow, Level, Material, Objection
from samestone.gem.weight import Size, cut_names, implied_gravity

STRENGTHS = ("none", "faint", "medium", "strong", "very strong")
COLOURS = ("blue", "yellow", "green", "orange", "red", "white", "violet", "other")
_PRACTICE = "common practice, no source"

Against = tuple[Level, str, str] | None
"""Level, basis, source; None where a material agrees."""


@dataclass(frozen=True, slots=True)
class Reaction:
    """A reaction that was read: its test, and either what it says about a material or why it counts for nothing."""

    test: str
    against: Callable[[Material], Against]
    unusable: str = ""

    def judge(self, material: Material) -> Objection | None:
        """What this reaction has against the material, if anything."""
        found = self.against(material)
        return Objection(material.key, self.test, *found) if found else None


def read_reaction(index: int, entry: Mapping[str, Any]) -> Reaction:
    """Read one reaction; a message names reactions[index] and the field."""
    place = f"reactions[{index}]"
    if not isinstance(entry, Mapping):
        raise ValueError(f"{place} is a {type(entry).__name__}, expected an object with a test")
    test = entry.get("test")
    if not isinstance(test, str) or test not in _READERS:
        raise ValueError(f"{place}.test is {test!r}, expected one of {', '.join(_READERS)}")
    keys, read = _READERS[test]
    unknown = sorted(set(entry) - {"test", "instrument", "unusable", *keys})
    if unknown:
        raise ValueError(f"{place}.{unknown[0]} is unknown for {test}; it takes {', '.join(keys)}")
    reaction = read(_Fields(place, entry))
    return _nothing(reaction.test, f"{test}: {entry['unusable']}") if entry.get("unusable") else reaction


class _Fields:
    """The fields of one reaction, each refused by its full name."""

    def __init__(self, place: str, entry: Mapping[str, Any]) -> None:
        self.place, self.entry = place, entry

    def word(self, key: str, allowed: tuple[str, ...], default: str | None = None) -> str:
        value = self.entry.get(key, default)
        if value not in allowed:
            raise ValueError(f"{self.place}.{key} is {value!r}, expected one of {', '.join(allowed)}")
        return str(value)

    def number(self, key: str, low: float, high: float, default: float | None = None) -> float:
        raw = self.entry.get(key, default)
        plain = not isinstance(raw, str) or (raw.isascii() and "_" not in raw)
        try:
            value = math.nan if isinstance(raw, bool) or raw is None or not plain else float(raw)
        except (TypeError, ValueError, OverflowError):
            value = math.nan
        if not low <= value <= high:
            raise ValueError(f"{self.place}.{key} is {raw!r}, expected a number from {low:g} to {high:g}")
        return value


def _thermal(fields: _Fields) -> Reaction:
    result = fields.word("result", ("diamond", "not diamond", "metal"))
    if result == "metal":
        return _nothing("thermal_probe", "thermal probe on metal: a claw was touched, repeat on the stone")

    def against(material: Material) -> Against:
        if result in material.thermal_probe:
            return None
        return "excludes", f"the thermal probe shows {result!r}", material.sources[0]

    return Reaction("thermal_probe", against)


def _electrical(fields: _Fields) -> Reaction:
    result = fields.word("result", ("conducts", "does not conduct", "metal"))
    if result == "metal":
        return _nothing("electrical_probe", "electrical probe on metal: a claw was touched, repeat on the stone")

    def against(material: Material) -> Against:
        usual = material.electrical_probe
        if result not in usual:
            return "excludes", f"it {result}", material.sources[0]
        if result != usual[0]:
            return "speaks against", f"it {result}: {material.electrical_note}", material.sources[-1]
        return None

    return Reaction("electrical_probe", against)


def _glow(test: str) -> Callable[[_Fields], Reaction]:
    def read(fields: _Fields) -> Reaction:
        strength = fields.word("strength", STRENGTHS)
        colour = "" if strength == "none" else fields.word("colour", COLOURS)
        if strength == "none" and fields.entry.get("colour"):
            raise ValueError(f"{fields.place}.colour is {fields.entry['colour']!r} at strength none; leave it out")
        return Reaction(test, lambda material: _against_glow(getattr(material, test), strength, colour))

    return read


def _against_glow(glow: Glow, strength: str, colour: str) -> Against:
    if strength == "none":
        return None
    seen = f"fluoresces {strength} {colour}"
    if colour not in (*glow.colours, "other"):
        level: Level = glow.against if STRENGTHS.index(strength) >= 2 else "speaks against"
        return level, f"{seen}; known for {', '.join(glow.colours)} at most", glow.source
    if STRENGTHS.index(strength) > STRENGTHS.index(glow.strongest) + 1:
        return "speaks against", f"{seen}; known up to {glow.strongest}", glow.source
    return None


def _doubling(fields: _Fields) -> Reaction:
    result = fields.word("result", ("seen", "not seen", "not seen in several directions"))

    def against(material: Material) -> Against:
        plain = material.birefringence >= PLAIN_DOUBLING
        if result == "seen" and material.birefringence == 0:
            return "excludes", "doubled facet edges; this material is singly refractive", material.sources[0]
        if result == "not seen" and plain:
            return "speaks against", "no doubling seen, but looking along the optic axis hides it", _PRACTICE
        if result.endswith("directions") and plain:
            return (
                "excludes",
                f"no doubling in several directions at a birefringence of {material.birefringence:g}",
                _PRACTICE,
            )
        return None

    return Reaction("doubling", against)


def _index(fields: _Fields) -> Reaction:
    if "result" in fields.entry:
        fields.word("result", ("over the limit",))
        return Reaction("refractive_index", lambda material: (
            ("excludes", f"no reading up to 1.81; this reads {material.refractive_index[1]:g}", material.sources[0])
            if material.refractive_index[1] < OVER_LIMIT - 0.01 else None
        ))  # fmt: skip
    value, u = fields.number("value", 1.3, 3.0), fields.number("u", 0.0005, 0.05, 0.002)
    return Reaction("refractive_index", _outside("refractive_index", value, 2 * u, "refractive index"))


def _gravity(fields: _Fields) -> Reaction:
    value, u = fields.number("value", 1.0, 8.0), fields.number("u", 0.001, 0.5)
    return Reaction("specific_gravity", _outside("specific_gravity", value, 2 * u, "specific gravity"))


def _hydrostatic(fields: _Fields) -> Reaction:
    air, water = fields.number("in_air_ct", 0.01, 500), fields.number("in_water_ct", 0.0, 500)
    celsius, u = fields.number("water_c", 0, 40), fields.number("u_ct", 0.00005, 0.05, 0.001)
    try:
        found = specific_gravity(air, water, celsius, u=u)
    except ValueError as problem:
        raise ValueError(f"{fields.place}.in_water_ct: {problem}") from None
    if found.u > 0.2:
        said = (
            f"specific gravity {found.value:.2f} is known only to {found.u:.2f}: the stone is too small for this scale"
        )
        return _nothing("specific_gravity", said)
    return Reaction("specific_gravity", _outside("specific_gravity", found.value, 2 * found.u, "specific gravity"))


def _size(fields: _Fields) -> Reaction:
    cut = fields.word("cut", cut_names())
    length, width, depth = (fields.number(key, 0.4, 60) for key in ("length_mm", "width_mm", "depth_mm"))
    weight = fields.number("weight_ct", 0.001, 1000)
    try:
        value, low, high = implied_gravity(cut, Size(length, width, depth), weight)
    except ValueError as problem:
        raise ValueError(f"{fields.place}: {problem}") from None
    margin = max(high - value, value - low)
    return Reaction(
        "weight_against_size", _outside("specific_gravity", value, 1.5 * margin, "specific gravity from its size")
    )


def _outside(name: str, value: float, margin: float, label: str) -> Callable[[Material], Against]:
    """Exclude what lies outside value +- margin."""

    def against(material: Material) -> Against:
        low, high = getattr(material, name)
        if low - margin <= value <= high + margin:
            return None
        basis = f"{label} {value:.4g} ± {margin:.2g}; this material {low:g} to {high:g}"
        return "excludes", basis, material.sources[0]

    return against


def _nothing(test: str, why: str) -> Reaction:
    return Reaction(test, lambda material: None, why)


_READERS: Mapping[str, tuple[tuple[str, ...], Callable[[_Fields], Reaction]]] = {
    "thermal_probe": (("result",), _thermal),
    "electrical_probe": (("result",), _electrical),
    "uv_long_wave": (("strength", "colour"), _glow("uv_long_wave")),
    "uv_short_wave": (("strength", "colour"), _glow("uv_short_wave")),
    "doubling": (("result",), _doubling),
    "refractive_index": (("value", "u", "result"), _index),
    "specific_gravity": (("value", "u"), _gravity),
    "hydrostatic": (("in_air_ct", "in_water_ct", "water_c", "u_ct"), _hydrostatic),
    "weight_against_size": (("cut", "length_mm", "width_mm", "depth_mm", "weight_ct"), _size),
}
