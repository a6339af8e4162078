"""What can it still be? The reactions that stand in the record, and tests that are made now, → gem's answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from samestone import gem
from samestone.shop.models import Reaction, Stone
from samestone.shop.records.stone import Known
from samestone.shop.records.weight import cut_key
from samestone.shop.suspicion import doubts

# A tester that tells the two apart feels heat and current; what each word says to gem.
_PROBE = {
    "diamond": [{"test": "thermal_probe", "result": "diamond"}],
    "not diamond": [{"test": "thermal_probe", "result": "not diamond"}],
    "moissanite": [
        {"test": "thermal_probe", "result": "diamond"},
        {"test": "electrical_probe", "result": "conducts"},
    ],
    "unclear": [{"test": "thermal_probe", "result": "metal"}],
}


@dataclass(frozen=True)
class MaterialPage:
    """What remains and what is excluded, each with why; what would tell most next; what it rests on."""

    remaining: list[dict[str, Any]]
    excluded: list[dict[str, Any]]
    next: tuple[Any, ...]
    unusable: tuple[str, ...]
    notes: tuple[str, ...]
    basis: list[str]


def recorded_reactions(stone: Stone) -> list[dict[str, Any]]:
    """The newest usable reaction to each test, over all looks at the stone, as gem reads them."""
    rows = list(
        Reaction.objects.current().filter(examination__stone=stone).select_related("instrument").order_by("at", "pk")
    )
    suspect = doubts(rows)
    newest = {row.test: row for row in rows if row.pk not in suspect}
    found: list[dict[str, Any]] = []
    for row in newest.values():
        if row.test == "thermal_probe":
            found += _PROBE.get(row.result, [])
        elif row.strength:
            glow = {"test": row.test, "strength": row.strength}
            found.append(glow | ({"colour": row.colour} if row.colour else {}))
        elif row.result:
            found.append({"test": row.test, "result": row.result})
    return found


def weight_against_size(stone: Stone, known: Mapping[str, Known]) -> list[dict[str, Any]]:
    """The loose weight against the measured size, where both are known."""
    needed = ("diameter_max_mm", "diameter_min_mm", "depth_mm", "weight_ct")
    cut = cut_key(stone.cut)
    if not cut or any(name not in known for name in needed):
        return []
    length, width, depth, weight = (f"{known[name].value:.4f}" for name in needed)
    return [
        {"test": "weight_against_size", "cut": cut, "length_mm": length, "width_mm": width, "depth_mm": depth,
         "weight_ct": weight}
    ]  # fmt: skip


def typed_reactions(typed: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Tests that were typed on the page."""
    found: list[dict[str, Any]] = [
        {"test": test, "result": typed[test]} for test in ("doubling", "electrical_probe") if typed.get(test)
    ]
    if typed.get("over_limit"):
        found.append({"test": "refractive_index", "result": "over the limit"})
    elif typed.get("index"):
        found.append({"test": "refractive_index", "value": typed["index"]})
    if typed.get("in_air") and typed.get("in_water"):
        found.append(
            {"test": "hydrostatic", "in_air_ct": typed["in_air"], "in_water_ct": typed["in_water"],
             "water_c": typed.get("water_c") or "20"}
        )  # fmt: skip
    return found


def what_remains(reactions: list[dict[str, Any]], *, loose: bool) -> MaterialPage:
    """What the reactions leave; raises `ValueError` for one that cannot be."""
    newest = list({reaction["test"]: reaction for reaction in reactions}.values())
    found = gem.material.what_remains(newest, loose=loose)

    names = {one.key: one.name for one in gem.material.materials()}

    def against(key: str) -> list[Any]:
        return [one for one in found.objections if one.material == key]

    return MaterialPage(
        remaining=[{"material": one, "unusual": against(one.key)} for one in found.remaining],
        excluded=[
            {"name": names[key], "because": [one for one in against(key) if one.level == "excludes"]}
            for key in found.excluded
        ],
        next=found.separations,
        unusable=found.unusable,
        notes=found.notes,
        basis=[_in_words(reaction) for reaction in newest],
    )


def _in_words(reaction: Mapping[str, Any]) -> str:
    if reaction["test"] == "weight_against_size":
        return f"loose weight {float(reaction['weight_ct']):.3f} ct against its size"
    said = " ".join(str(value) for name, value in reaction.items() if name not in ("test", "cut"))
    return f"{reaction['test'].replace('_', ' ')}: {said}"
