"""What the demo tells: an invented shop, invented clients, and stones whose pictures are simulated.

Places of characteristics are those of the simulated pictures; at pick-up the stone sits turned by 136 degrees.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import Any

LENGTH = dt.timedelta(days=5)

SHOP: dict[str, Any] = {
    "shop_name": "Larkfield Goldsmiths",
    "street": "14 Mill Lane",
    "town": "Ashby Vale",
    "name": "Ines Marlow",
}
GOLDSMITH: dict[str, Any] = {
    "name": "Tomas Reed",
    "username": "tomas",
    "password": "a loupe and a lamp",
    "role": "goldsmith",
}


@dataclass(frozen=True)
class Look:
    """What one examination finds."""

    pictures: dict[str, str]
    readings: dict[str, list[str]]
    reactions: dict[str, dict[str, str]]
    observations: dict[str, str]
    characteristics: tuple[dict[str, Any], ...]


@dataclass(frozen=True)
class Told:
    """One job of the demo."""

    envelope: str
    client: dict[str, str]
    piece: dict[str, str]
    stone: dict[str, Any]
    work: dict[str, Any]
    before: Look
    after: Look
    received_pictures: dict[str, str]
    agreed: tuple[dict[str, Any], ...]
    damage: tuple[dict[str, Any], ...] = ()
    goes_home: bool = True


@dataclass(frozen=True)
class Open:
    """A job that waits somewhere; `upto` piece | cleaned | bench | ready."""

    envelope: str
    client: dict[str, str]
    piece: dict[str, str]
    stone: dict[str, Any]
    upto: str
    express: bool = False
    work: dict[str, Any] = field(default_factory=dict)


def _work(words: str, value: str, *risks: str) -> dict[str, Any]:
    return {
        "work": words,
        "risks": list(risks),
        "due": None,
        "gift": False,
        "declared_value": value,
        "collector": "",
    }


def _mark(kind: str, r: str, angle_deg: str, size: str) -> dict[str, str]:
    return {"kind": kind, "r": r, "angle_deg": angle_deg, "size": size}


BLUE = {"uv_long_wave": {"strength": "medium", "colour": "blue"}, "thermal_probe": {"result": "diamond"}}
FAINT = {**BLUE, "uv_long_wave": {"strength": "faint", "colour": "blue"}}
SEEN = {"girdle_finish": "polished", "culet": "very small", "inscription": "none seen"}

JOB = Told(
    envelope="1042",
    client={"name": "Odile Farrow", "phone": "555 0142"},
    piece={
        "kind": "ring",
        "words": "solitaire in four claws",
        "metal": "yellow gold 750",
        "hallmark": "750, worn",
        "size": "M",
        "grams": "3.41",
        "condition": "claw tips thin, shank worn at the back",
    },
    stone={"material": "diamond", "basis": "tested", "treatment": "none", "cut": "round brilliant"},
    work=_work("Four new claw tips, tighten, clean", "6,500", "old or worn claws", "heat near the stone"),
    received_pictures={"as received": "received", "side": "side"},
    damage=({"kind": "abrasion", "r": "0.62", "angle_deg": "70", "size": "0.06", "words": "wear on a facet edge"},),
    agreed=(
        {"kind": "crystal", "r": "0.33", "angle_deg": "31", "words": "the little black seed, half way to the claw"},
        {"kind": "pinpoint", "r": "0.36", "angle_deg": "166", "words": "three grains of pepper across from it"},
    ),
    before=Look(
        pictures={"face-up": "cleaned"},
        readings={
            "diameter_min_mm": ["6.67", "6.66", "6.67"],
            "diameter_max_mm": ["6.71", "6.71", "6.70"],
            "depth_mm": ["4.10", "4.11", "4.10"],
            "table_percent": ["57.0", "57.5", "57.0"],
        },
        reactions=BLUE,
        observations=SEEN,
        characteristics=(
            _mark("crystal", "0.33", "31", "0.06"),
            _mark("pinpoint", "0.36", "166", "0.02"),
            _mark("crystal", "0.45", "284", "0.07"),
            _mark("needle", "0.35", "118", "0.17"),
            _mark("feather", "0.66", "218", "0.22"),
        ),
    ),
    after=Look(
        pictures={"face-up": "pickup"},
        readings={
            "diameter_min_mm": ["6.67", "6.67", "6.68"],
            "diameter_max_mm": ["6.71", "6.70", "6.71"],
            "depth_mm": ["4.11", "4.10", "4.10"],
            "table_percent": ["57.0", "57.0", "57.0"],
        },
        reactions=BLUE,
        observations=SEEN,
        characteristics=(
            _mark("crystal", "0.34", "168", "0.06"),
            _mark("pinpoint", "0.35", "303", "0.02"),
            _mark("crystal", "0.44", "61", "0.07"),
            _mark("needle", "0.36", "253", "0.16"),
            _mark("feather", "0.65", "355", "0.22"),
        ),
    ),
)

# A stone of the same size and weight, but not the same stone: what came back is not what was recorded.
ALIKE = Told(
    envelope="1041",
    client={"name": "Bertram Lisle", "phone": "555 0117"},
    piece={
        "kind": "ring",
        "words": "solitaire in four claws, plain shank",
        "metal": "yellow gold 750",
        "hallmark": "750",
        "size": "P",
        "grams": "3.96",
        "condition": "good",
    },
    stone={"material": "diamond", "basis": "tested", "treatment": "none", "cut": "round brilliant"},
    work=_work("Size from P to N, clean", "5,800", "heat near the stone"),
    received_pictures={"as received": "lookalike"},
    agreed=({"kind": "needle", "r": "0.47", "angle_deg": "349", "words": "a hair near the edge"},),
    before=Look(
        pictures={"face-up": "lookalike"},
        readings={
            "diameter_min_mm": ["6.66", "6.66", "6.67"],
            "diameter_max_mm": ["6.70", "6.70", "6.70"],
            "depth_mm": ["4.11", "4.11", "4.10"],
            "table_percent": ["57.0", "57.0", "57.5"],
        },
        reactions=FAINT,
        observations=SEEN,
        characteristics=(
            _mark("needle", "0.47", "349", "0.15"),
            _mark("crystal", "0.23", "34", "0.03"),
            _mark("pinpoint", "0.58", "184", "0.01"),
            _mark("pinpoint", "0.31", "62", "0.01"),
            _mark("pinpoint", "0.74", "284", "0.01"),
            _mark("pinpoint", "0.49", "78", "0.01"),
        ),
    ),
    after=Look(
        pictures={"face-up": "pickup_window"},
        readings={
            "diameter_min_mm": ["6.67", "6.68", "6.67"],
            "diameter_max_mm": ["6.71", "6.71", "6.70"],
            "depth_mm": ["4.10", "4.10", "4.11"],
            "table_percent": ["57.0", "57.0", "57.0"],
        },
        reactions=BLUE,
        observations=SEEN,
        characteristics=(
            _mark("crystal", "0.34", "167", "0.06"),
            _mark("pinpoint", "0.35", "303", "0.02"),
            _mark("crystal", "0.44", "61", "0.07"),
            _mark("needle", "0.36", "254", "0.17"),
            _mark("feather", "0.66", "354", "0.21"),
        ),
    ),
    goes_home=False,
)

LOOSE = {"1041": ["1.147", "1.147", "1.148"], "1042": ["1.149", "1.148", "1.149"]}

NEWS = {
    "words": "The bezel is cracked behind the stone.",
    "question": "Repair the crack as well, or stop here?",
    "price": "",
}


def _plain(kind: str, words: str, metal: str) -> dict[str, str]:
    return {"kind": kind, "words": words, "metal": metal}


def _stone(material: str, cut: str, **more: Any) -> dict[str, Any]:
    return {"material": material, "cut": cut, "basis": "client says", **more}


OPEN = (
    Open(
        "1043",
        {"name": "Marguerite Osei", "phone": "555 0160"},
        _plain("pendant", "drop with a bezel", "yellow gold 585"),
        _stone("opal", "oval"),
        "bench",
        work=_work("New jump ring, polish the bezel", "400"),
    ),
    Open(
        "1044",
        {"name": "Anselm Brandt", "phone": "555 0181"},
        _plain("earrings", "pair of studs", "white gold 750"),
        _stone("diamond", "princess", count=2, position="each stud"),
        "piece",
    ),
    Open(
        "1045",
        {"name": "Priya Thornbury", "phone": "555 0122"},
        _plain("ring", "five-stone half hoop", "platinum 950"),
        _stone("sapphire", "round brilliant", count=5, position="row"),
        "ready",
        express=True,
    ),
    Open(
        "1046",
        {"name": "Jonas Whitlock", "phone": "555 0199"},
        _plain("brooch", "bar with one stone", "silver 925"),
        _stone("garnet", "cushion"),
        "cleaned",
    ),
)
