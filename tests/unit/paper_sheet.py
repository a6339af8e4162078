"""Invented sheets for the tests of paper."""

from __future__ import annotations

import datetime as dt
import io
from typing import Any

from PIL import Image

AT = dt.datetime(2026, 3, 13, 16, 5, tzinfo=dt.UTC)

SHOP = {"name": "Larkfield Goldsmiths", "street": "14 Mill Lane", "town": "Ashby Vale"}
SEAL = {
    "receipt": "12-4f0a-91cc-03be-77d2-18aa-5e60-c3f9-0b12-7e",
    "qr": f"SAMESTONE1/12/{'4F0A91CC' * 8}/13/{'18AA5E60' * 8}/2026-03-02T09:30:00.000Z/{'7E18AA5E' * 8}",
    "key": " ".join(["4686", "48c1", "52d2", "eac8"] * 4),
}
MARKS: list[dict[str, Any]] = [
    *({"category": "claw", "angle_deg": str(angle), "kind": kind} for angle, kind in ((45, "tight"), (135, "worn"))),
    {"category": "hidden", "angle_deg": "350", "to_deg": "10"},
    {"category": "damage", "kind": "chip", "r": "0.97", "angle_deg": "170"},
    {"category": "characteristic", "kind": "crystal", "r": "0.31", "angle_deg": "112"},
    {"category": "agreed", "r": "0.31", "angle_deg": "112", "words": "dark spot & <a dot>"},
]


def picture(colour: str = "#a08c70", size: tuple[int, int] = (320, 240)) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, colour).save(out, "JPEG")
    return out.getvalue()


def receipt_sheet(**changes: Any) -> Any:
    sheet = {
        "shop": SHOP,
        "envelope": "1042",
        "at": "Monday 2 March 2026, 09:30",
        "by": "Ines Marlow",
        "client": "Mrs. Odile Farrow",
        "piece": "ring, 18 ct white gold, four claws",
        "stones": [{"position": "centre", "words": "round brilliant diamond", "basis": "client says"}],
        "not_seen": ["girdle under four claws"],
        "faces": [{"cut": "round brilliant", "marks": MARKS}],
        "pictures": [{"data": picture(), "caption": "As it came", "simulated": True}],
        "work": "Rebuild one claw.",
        "value": "4,200 by the client",
        "risks": ["heat near the stone"],
        "seal": SEAL,
        "signatures": ["Mrs. Odile Farrow", "Ines Marlow"],
        "simulated": True,
    }
    return {key: value for key, value in {**sheet, **changes}.items() if value is not None}


def verdict(**changes: Any) -> dict[str, Any]:
    block = {"random": 3.81, "look_alike": 1.255, "lower": -4.16, "upper": 3.81, "raw": 4.255, "validated_on": 15000}
    return {
        "ladder": "agrees_some_unchecked",
        "sentence": "It agrees with the stone that was left; not checked: table.",
        "log10_lr": {
            "random": {"value": 3.81, "lower": -4.0, "upper": 4.0},
            "look_alike": {"value": 1.255, "lower": -4.0, "upper": 4.0, "stock": 1000},
        },
        "verbal": {"scale": "the scale", "random": "strong support", "look_alike": "moderate support"},
        "findings": [
            {
                "property": "weight_ct",
                "outcome": "agrees",
                "why": "within its uncertainty",
                "was": {"value": "1.034", "u": "0.00104"},
                "is": {"value": "1.031", "u": "0.00104"},
            },
            {"property": "uv_long_wave", "outcome": "not_compared", "why": "not looked at", "was": None, "is": None},
        ],
        "blocks": [{"what": "size_and_weight", **block, "beyond_size": False, "why": "compared jointly"}],
        "narrowing": {"of": 43207, "left": [{"after": "diameters", "left": 703}, {"after": "weight", "left": 13}]},
        "unchecked": ["table_percent"],
        "flags": {"declared_u": "the u of an instrument is declared"},
        "propositions": {"first": "same stone", "random": "any other", "look_alike": "a look-alike"},
        "assumptions": ["the records were not mixed up"],
        "method": "samestone-evidence/1",
        "population": {"name": "round-diamonds-1", "sha256": "c3bc8c28"},
        **changes,
    }


def judged_stone(**changes: Any) -> dict[str, Any]:
    return {
        "before": {"data": picture(), "caption": "2 March", "rings": [{"x": "0.6", "y": "0.4", "number": 1}]},
        "now": {"data": picture("#c0b090"), "caption": "13 March", "turn_deg": "12.5"},
        "face": {"cut": "round brilliant", "marks": MARKS},
        "checked": ["weight"],
        "unchecked": ["table"],
        "verdict": verdict(),
        **changes,
    }


def statement_sheet(**changes: Any) -> Any:
    sheet = {
        "shop": SHOP,
        "envelope": "1042",
        "at": "Friday 13 March 2026, 16:05",
        "by": "Ines Marlow",
        "client": "Mrs. Odile Farrow",
        "piece": "ring, 18 ct white gold",
        "stones": [judged_stone()],
        "stations": [
            {"name": "taken in", "at": "2 Mar", "by": "IM"},
            {"name": "picked up", "at": "13 Mar", "now": True},
        ],
        "record": b'{"format":"samestone-examination/1"}',
        "seal": SEAL,
        "signatures": ["Mrs. Odile Farrow", "Ines Marlow"],
    }
    return {key: value for key, value in {**sheet, **changes}.items() if value is not None}


def label_sheet(**changes: Any) -> Any:
    sheet = {
        "envelope": "1042",
        "qr": "1042",
        "piece": "ring",
        "face": {"cut": "oval", "marks": MARKS},
        "look_for": "dark spot",
        "grams": "3.42 g",
        "simulated": True,
    }
    return {key: value for key, value in {**sheet, **changes}.items() if value is not None}
