"""The numbers of a verdict as they are printed: rounded once, to what their uncertainty allows."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any


def expert_page(verdict: Mapping[str, Any], names: Mapping[str, str]) -> dict[str, Any]:
    """What the pages for an expert show of a verdict's JSON document, all as text."""
    total = verdict["log10_lr"]
    return {
        "ladder": verdict["ladder"],
        "sentence": verdict["sentence"],
        "findings": [_finding(finding, names) for finding in verdict["findings"]],
        "blocks": [_block(block, names) for block in verdict["blocks"]],
        "propositions": verdict["propositions"],
        "totals": [_total(against, total[against], verdict["verbal"][against]) for against in ("random", "look_alike")],
        "scale": verdict["verbal"]["scale"],
        "assumptions": verdict["assumptions"],
        "flags": list(verdict["flags"].values()),
        "method": verdict["method"],
        "population": ", ".join(f"{key} {value}" for key, value in verdict["population"].items()),
    }


def picture_words(line: Mapping[str, Any]) -> list[str]:
    """What the packet's picture line says, in sentences; none where no two pictures were compared."""
    if "method" not in line:
        return []
    behind = (
        f"Method {line['method']}, {line['protocol']} protocol, calibration {line['calibration']['sha256'][:12]}…, "
        f"pictures {line['before'][:12]}… and {line['now'][:12]}… (SHA-256)."
    )
    if "why_not" in line:
        return [f"Not compared. {line['why_not']}", behind]
    weight = line["log10_lr"]
    return [
        f"log10 LR {_signed(weight['value'])}, limits {_signed(weight['lower'])} to {_signed(weight['upper'])}: "
        f"{line['stones']} stones, {line['source']}.",
        f"{line['agree']} features found in both pictures, {line['absent']} in one only.",
        behind,
    ]


def amount(side: Mapping[str, Any] | None) -> dict[str, str]:
    """A value and its standard uncertainty with two digits; words stand alone.

    >>> amount({"value": 6.46667, "u": 0.00684}), amount({"value": "medium blue"})["value"], amount(None)["value"]
    ({'value': '6.4667', 'u': '0.0068'}, 'medium blue', '–')
    """
    if side is None:
        return {"value": "–", "u": ""}
    if "u" not in side:
        return {"value": str(side["value"]), "u": ""}
    places = places_for(float(side["u"]))
    return {"value": f"{float(side['value']):.{places}f}", "u": f"{float(side['u']):.{places}f}"}


def places_for(u: float) -> int:
    """Decimals that show two digits of a standard uncertainty.

    >>> places_for(0.00684), places_for(0.5), places_for(12)
    (4, 2, 0)
    """
    return max(0, 1 - math.floor(math.log10(u))) if u > 0 else 3


def _finding(finding: Mapping[str, Any], names: Mapping[str, str]) -> dict[str, Any]:
    was, now = finding.get("was"), finding.get("is")
    return {
        "property": _name(finding["property"], names),
        "was": amount(was),
        "is": amount(now),
        "difference": _difference(was, now),
        "outcome": finding["outcome"],
        "why": finding["why"],
    }


def _difference(was: Mapping[str, Any] | None, now: Mapping[str, Any] | None) -> str:
    if was is None or now is None or "u" not in was or "u" not in now:
        return ""
    places = places_for(math.hypot(float(was["u"]), float(now["u"])))
    return _signed(float(now["value"]) - float(was["value"]), places)


def _block(block: Mapping[str, Any], names: Mapping[str, str]) -> dict[str, str]:
    count = int(block["validated_on"])
    basis = f"validated on {count:,} cases" if count else "assumed"
    limits = f"Limits {_signed(block['lower'])} to {_signed(block['upper'])}, {basis}"
    raw = float(block["raw"])
    clipped = "" if float(block["lower"]) <= raw <= float(block["upper"]) else f"; before clipping {_signed(raw)}"
    return {"what": _name(block["what"], names), "why": block["why"], "range": f"{limits}{clipped}."}


def _total(against: str, weight: Mapping[str, Any], verbal: str) -> dict[str, str]:
    return {
        "against": against,
        "value": _signed(weight["value"]),
        "bounds": f"{_signed(weight['lower'])} to {_signed(weight['upper'])}",
        "verbal": verbal,
    }


def _signed(value: Any, places: int = 2) -> str:
    return f"{float(value):+.{places}f}".replace("-", "−")


def _name(what: str, names: Mapping[str, str]) -> str:
    return names.get(what, what.replace("_", " "))
