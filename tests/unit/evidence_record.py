"""A complete record of an invented stone, and ways to change it."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

RECORD: dict[str, Any] = {
    "format": "samestone-examination/1",
    "stone": {"cut": "round brilliant", "setting": "loose"},
    "instruments": [
        {"name": "gauge", "kind": "gauge", "unit": "mm", "resolution": "0.01", "u": "0.010", "u_common": "0.004"},
        {"name": "scale", "kind": "scale", "unit": "ct", "resolution": "0.001", "u": "0.001"},
        {"name": "reticle", "kind": "reticle", "unit": "%", "resolution": "1", "u": "0.5"},
    ],
    "readings": [
        {"property": "diameter_min_mm", "indications": ["6.47", "6.46", "6.47"], "instrument": "gauge"},
        {"property": "diameter_max_mm", "indications": ["6.50", "6.51", "6.50"], "instrument": "gauge"},
        {"property": "depth_mm", "indications": ["4.00", "4.01", "4.00"], "instrument": "gauge"},
        {"property": "weight_ct", "indications": ["1.032"], "instrument": "scale"},
        {"property": "table_percent", "indications": ["57"], "instrument": "reticle"},
    ],
    "reactions": [
        {"test": "uv_long_wave", "strength": "medium", "colour": "blue"},
        {"test": "thermal_probe", "result": "diamond"},
    ],
    "observations": [
        {"what": "girdle_finish", "value": "polished"},
        {"what": "inscription", "value": "none seen"},
    ],
    "characteristics": [{"kind": "crystal", "r": "0.31", "angle_deg": "112", "size": "0.02"}],
}


def changed(*changes: Callable[[dict[str, Any]], None]) -> dict[str, Any]:
    """The record after some changes."""
    record = copy.deepcopy(RECORD)
    for change in changes:
        change(record)
    return record


def reading(record: dict[str, Any], name: str) -> dict[str, Any]:
    """The entry of one property in a record."""
    found: dict[str, Any] = next(entry for entry in record["readings"] if entry["property"] == name)
    return found


def indicate(**values: str) -> Callable[[dict[str, Any]], None]:
    """A change that sets the indications of some properties to one value each."""

    def change(record: dict[str, Any]) -> None:
        for name, value in values.items():
            reading(record, name)["indications"] = [value]

    return change


def drop(*names: str) -> Callable[[dict[str, Any]], None]:
    """A change that removes the readings of some properties."""

    def change(record: dict[str, Any]) -> None:
        record["readings"] = [entry for entry in record["readings"] if entry["property"] not in names]

    return change
