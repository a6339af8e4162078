"""The record's names as people at the counter say them."""

from __future__ import annotations

NAMES = {
    "weight_ct": ("weight", "ct"),
    "diameter_min_mm": ("smallest diameter", "mm"),
    "diameter_max_mm": ("largest diameter", "mm"),
    "depth_mm": ("depth", "mm"),
    "table_percent": ("table", "%"),
    "size_and_weight": ("size and weight", ""),
    "uv_long_wave": ("glow under long-wave ultraviolet", ""),
    "uv_short_wave": ("glow under short-wave ultraviolet", ""),
    "thermal_probe": ("thermal probe", ""),
    "electrical_probe": ("electrical probe", ""),
    "doubling": ("doubling", ""),
    "girdle_finish": ("girdle finish", ""),
    "culet": ("culet", ""),
    "inscription": ("inscription", ""),
    "characteristics": ("marks in the stone", ""),
    "photographs": ("pictures", ""),
    "pictures": ("pictures", ""),
}
REASONS = {"set": "the stone is set", "no time": "there was no time"}


def name_of(what: str) -> str:
    """A property, test or observation in plain words."""
    return NAMES.get(what, (what.replace("_", " "), ""))[0]


def unit_of(what: str) -> str:
    return NAMES.get(what, ("", ""))[1]


def reason_words(why: str) -> str:
    """Why something could not be looked at, as it stands on paper."""
    return REASONS.get(why, why)
