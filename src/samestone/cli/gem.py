"""What can it still be, and what does it weigh? The gem commands."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from samestone import gem

_SHORT = {"round": "round_brilliant", "step": "emerald"}


def add_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `material` and `weight`."""
    material = commands.add_parser("material", help="what a stone can still be, from its reactions to tests")
    material.add_argument("file", metavar="REACTIONS.json", help="reactions (docs/reference/materials.md), - for stdin")
    material.add_argument("--json", action="store_true", help="print the whole result as JSON")
    material.set_defaults(run=run_material)
    weight = commands.add_parser("weight", help="estimate a weight from measurements, by formula and by solid")
    weight.add_argument("--cut", required=True, help="round, oval, marquise, pear, heart, emerald, princess, …")
    weight.add_argument("--diameters", nargs=2, type=float, metavar="MM", help="two diameters of a round stone")
    for name in ("length", "width", "depth"):
        weight.add_argument(f"--{name}", type=float, metavar="MM", help=f"{name} in millimetres")
    weight.add_argument("--table", type=float, metavar="PERCENT", help="table in per cent of the mean diameter")
    weight.add_argument("--girdle", default="medium", help="medium, thin, slightly thick, thick, …")
    weight.add_argument("--blocked", action="store_true", help="part of the outline is hidden by the setting")
    weight.add_argument("--sg", type=float, metavar="SG", help="specific gravity (3.515, diamond)")
    weight.add_argument("--u", type=float, default=0.02, metavar="MM", help="standard uncertainty of a length (0.02)")
    weight.add_argument("--weighed", type=float, metavar="CT", help="the loose weight, to hold against the estimate")
    weight.add_argument("--json", action="store_true", help="print the whole result as JSON")
    weight.add_argument("--picture", metavar="OUT.svg", help="draw the solid")
    weight.set_defaults(run=run_weight)


def run_material(arguments: argparse.Namespace) -> int:
    """Print what remains; status 1 where nothing does."""
    from samestone import gem
    from samestone.cli import Refusal
    from samestone.cli.table import print_json, read_object

    reactions, setting = _reactions(read_object(arguments.file), arguments.file)
    try:
        found = gem.material.what_remains(reactions, loose=setting == "loose")
    except ValueError as problem:
        raise Refusal(f"{arguments.file}: {problem}") from None
    if arguments.json:
        print_json(_candidates(found))
    else:
        print("\n".join(_candidate_lines(found)))
    return 0 if found.remaining else 1


def _reactions(record: dict[str, Any], path: str) -> tuple[list[Any], str]:
    """The reactions and the setting, from a list of reactions or from a whole examination record."""
    from samestone.cli import Refusal

    named = record.get("format", "samestone-reactions/1")
    if named == "samestone-examination/1":
        stone = record.get("stone")
        reactions, setting = record.get("reactions", []), stone.get("setting") if isinstance(stone, dict) else None
    elif named == "samestone-reactions/1":
        unknown = sorted(set(record) - {"format", "setting", "reactions", "note"})
        if unknown:
            raise Refusal(f"{path}: {unknown[0]} is unknown; expected format, setting, reactions, note")
        reactions, setting = record.get("reactions"), record.get("setting", "set")
    else:
        raise Refusal(f"{path}: format is {named!r}, expected 'samestone-reactions/1' or 'samestone-examination/1'")
    if not isinstance(reactions, list):
        raise Refusal(f"{path}: reactions is {type(reactions).__name__}, expected a list")
    if setting not in ("set", "loose"):
        raise Refusal(f"{path}: setting is {setting!r}, expected 'set' or 'loose'")
    return reactions, setting


def _unusual(found: gem.material.Candidates, key: str) -> list[dict[str, str]]:
    return [{"test": o.test, "basis": o.basis, "source": o.source} for o in found.objections if o.material == key]


def _candidates(found: gem.material.Candidates) -> dict[str, Any]:
    return {
        "remaining": [
            {"material": m.key, "name": m.name, "sources": list(m.sources), "unusual": _unusual(found, m.key)}
            for m in found.remaining
        ],
        "excluded": [
            {"material": key, "because": [
                {"test": o.test, "basis": o.basis, "source": o.source}
                for o in found.objections if o.material == key and o.level == "excludes"]}
            for key in found.excluded
        ],
        "next": [{"test": s.test, "leaves": s.leaves, "of": s.of, "how": s.how} for s in found.separations],
        "unusable": list(found.unusable),
        "notes": list(found.notes),
    }  # fmt: skip


def _candidate_lines(found: gem.material.Candidates) -> list[str]:
    lines = [f"Can still be ({len(found.remaining)}):"]
    for material in found.remaining:
        lines.append(f"  {material.name}")
        lines += [f"      unusual: {o.basis} ({o.source})" for o in found.objections if o.material == material.key]
    if found.excluded:
        lines.append(f"Excluded ({len(found.excluded)}):")
        for key in found.excluded:
            first = next(o for o in found.objections if o.material == key and o.level == "excludes")
            lines.append(f"  {key.replace('_', ' ')}: {first.basis}")
    lines += [f"Counts for nothing: {text}" for text in found.unusable]
    if found.separations:
        lines.append("Would tell most next:")
        lines += [f"  {s.test}: leaves {s.leaves:g} of {s.of} on average; {s.how}" for s in found.separations]
    return lines + list(found.notes)


def run_weight(arguments: argparse.Namespace) -> int:
    """Print both routes; status 1 where they or the loose weight disagree."""
    from samestone import gem
    from samestone.cli import Refusal
    from samestone.cli.table import print_json, write_text

    cut = _SHORT.get(arguments.cut, arguments.cut.replace(" ", "_").replace("-", "_"))
    size = _size(arguments, cut)
    gravity = gem.weight.DIAMOND_SG if arguments.sg is None else arguments.sg
    if not 1 <= gravity <= 8:
        raise Refusal(f"--sg {gravity:g}: expected a specific gravity from 1 to 8")
    try:
        formula = gem.weight.estimate_weight(cut, size, specific_gravity=gravity)
        plain = gem.weight.estimate_weight(cut, size, specific_gravity=gravity, plain=True)
        built = cut in gem.shape.solid_cuts()
        solid = gem.shape.estimate_by_solid(cut, size, specific_gravity=gravity) if built else None
    except ValueError as problem:
        raise Refusal(str(problem)) from None
    weighed = _weighed(arguments.weighed)
    warnings = gem.shape.compare_routes(formula, solid, weighed)
    if arguments.picture:
        if not built:
            raise Refusal(f"--picture: no solid for cut {cut}; there is one for {', '.join(gem.shape.solid_cuts())}")
        write_text(arguments.picture, gem.shape.draw_cut(cut, size, cut.replace("_", " ")))
    result = _weight_result(cut, formula, plain, solid) | {"weighed_ct": weighed, "warnings": list(warnings)}
    if arguments.json:
        print_json(result)
    else:
        print("\n".join(_weight_lines(cut, formula, solid, warnings)))
    return 1 if warnings else 0


def _size(arguments: argparse.Namespace, cut: str) -> gem.weight.Size:
    from samestone import gem
    from samestone.cli import Refusal

    if arguments.depth is None:
        raise Refusal("--depth is missing; a weight needs all three dimensions, in mm")
    if arguments.diameters:
        length, width = max(arguments.diameters), min(arguments.diameters)
    elif arguments.length is not None and arguments.width is not None:
        length, width = arguments.length, arguments.width
    else:
        wanted = "--diameters MIN MAX" if cut == "round_brilliant" else "--length and --width"
        raise Refusal(f"{wanted} missing; a weight needs all three dimensions, in mm")
    if not 0 < arguments.u <= 1:
        raise Refusal(f"--u {arguments.u:g}: expected a standard uncertainty above 0 and up to 1 mm")
    return gem.weight.Size(length, width, arguments.depth, arguments.table, arguments.girdle, arguments.blocked,
                           arguments.u, 0.4 * arguments.u)  # fmt: skip


def _weighed(weight_ct: float | None) -> float | None:
    from samestone import gem
    from samestone.cli import Refusal

    if weight_ct is not None and (problems := gem.check_values({"weight_ct": weight_ct})):
        raise Refusal(f"--weighed: {problems[0]}")
    return weight_ct


def _weight_result(
    cut: str, formula: gem.weight.Estimate, plain: gem.weight.Estimate, solid: gem.weight.Estimate | None
) -> dict[str, Any]:
    def route(estimate: gem.weight.Estimate) -> dict[str, Any]:
        return {
            "weight_ct": round(estimate.weight_ct, 4), "low_ct": round(estimate.low_ct, 4),
            "high_ct": round(estimate.high_ct, 4), "error_percent": round(estimate.error_percent, 2),
            "factor": round(estimate.factor, 6), "route": estimate.route, "source": estimate.source,
            "notes": list(estimate.notes),
        }  # fmt: skip

    return {
        "cut": cut,
        "weight_ct": round(formula.weight_ct, 3),
        "low_ct": round(formula.low_ct, 3),
        "high_ct": round(formula.high_ct, 3),
        "coverage": 0.95,
        "formula": route(formula),
        "trade_formula": route(plain),
        "solid": route(solid) if solid else None,
    }


def _weight_lines(
    cut: str, formula: gem.weight.Estimate, solid: gem.weight.Estimate | None, warnings: tuple[str, ...]
) -> list[str]:
    lines = [
        f"{cut.replace('_', ' ')}: about {formula.weight_ct:.2f} ct, "
        f"95 of 100 such stones between {formula.low_ct:.2f} and {formula.high_ct:.2f} ct",
        f"  formula  {formula.weight_ct:7.3f} ct  ± {formula.error_percent:.1f} %  {formula.route}",
    ]
    if solid:
        lines.append(f"  solid    {solid.weight_ct:7.3f} ct  ± {solid.error_percent:.1f} %  {solid.route}")
    lines += [f"  note: {note}" for note in formula.notes]
    lines += [f"  disagrees: {warning}" for warning in warnings]
    return lines
