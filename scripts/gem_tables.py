"""Write docs/reference/{materials,cuts,care}.md from the program's own tables: python -m scripts.gem_tables"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

from samestone import gem
from samestone.gem.table import read_table

REFERENCE = Path(__file__).parents[1] / "docs" / "reference"

MATERIALS = """# Materials, and what a stone can still be

`samestone material REACTIONS.json [--json]` lists the materials that a stone's reactions leave, those they exclude and
on which basis, and the test that would separate the rest best. Exit status 1: nothing remains, so something was
misread. It never says whether a diamond is natural or laboratory-grown, and what remains is not an identification.

The file is an examination record, or this smaller format:

    {"format": "samestone-reactions/1", "setting": "set", "reactions": [
      {"test": "thermal_probe", "result": "diamond"},
      {"test": "uv_long_wave", "strength": "faint", "colour": "blue"}]}

| test | takes |
|---|---|
| `thermal_probe` | `result`: diamond, not diamond, metal (a claw was touched: counts for nothing) |
| `electrical_probe` | `result`: conducts, does not conduct, metal |
| `uv_long_wave`, `uv_short_wave` | `strength`: none, faint, medium, strong, very strong; `colour` unless none |
| `doubling` | `result`: seen, not seen, not seen in several directions |
| `refractive_index` | `value` (and `u`, else 0.002), or `result`: over the limit |
| `specific_gravity` | `value`, `u` |
| `hydrostatic` | `in_air_ct`, `in_water_ct`, `water_c`, `u_ct` (else 0.001); distilled water, no bubbles |
| `weight_against_size` | `cut`, `length_mm`, `width_mm`, `depth_mm`, `weight_ct` |

Numbers may be decimal strings. `"unusable": "why"` on a reaction makes it count for nothing. "Excludes" and "speaks
against": decision 0033. Ultraviolet: {uv}

"""

CUTS = """# Cuts, and what they weigh

`samestone weight --cut round --diameters 6.71 6.67 --depth 4.10 [--table 57] [--girdle medium] [--blocked] [--sg 3.515]
[--weighed 1.149] [--json] [--picture OUT.svg]`; other cuts `--length --width --depth`. Millimetres and carats.
Exit status 1: formula, solid and the loose weight disagree beyond their intervals.

The interval holds 95 of 100 stones: the formula's own error, the gauge's (`--u`, 0.02 mm) and, with `--blocked`, 15 %.
For rounds the factor k follows table and depth, ln k = a + b (table − 57) + c (depth % − 61.8):

{models}

A second route builds the stone as a solid from its proportions and weighs its volume (`solid`; decision 0032).

"""

CARE = """# Care: what cleaning and the bench do to a stone

The strictest source wins, and the strictest stone of a piece. A material that is not listed is answered "never". A word
in brackets is not known from a source: it is the safe assumption. Local codes and the maker's instructions come first.

"""


def pages() -> dict[str, str]:
    """Name and text of each page."""
    return {"materials.md": _materials(), "cuts.md": _cuts(), "care.md": _care()}


def _table(head: Iterable[str], lines: Iterable[Iterable[object]]) -> str:
    head = list(head)
    rows = [head, ["---"] * len(head), *([str(cell) for cell in line] for line in lines)]
    return "\n".join("| " + " | ".join(row) + " |" for row in rows) + "\n"


def _range(pair: tuple[float, float]) -> str:
    return f"{pair[0]:g}" if pair[0] == pair[1] else f"{pair[0]:g}–{pair[1]:g}"


def _glow(glow: gem.material.Glow) -> str:
    return f"up to {glow.strongest}: {', '.join(glow.colours)} ({glow.against}; {glow.source})"


def _materials() -> str:
    every = gem.material.materials()
    first = _table(
        ("material", "refractive index", "birefringence", "specific gravity", "dispersion", "hardness (Mohs)",
         "conductivity W/mK", "thermal probe", "electrical probe"),
        ((m.name, _range(m.refractive_index), f"{m.birefringence:g}", _range(m.specific_gravity), f"{m.dispersion:g}",
          m.mohs, _range(m.conductivity_w_mk), " or ".join(m.thermal_probe), " or ".join(m.electrical_probe))
         for m in every),
    )  # fmt: skip
    second = _table(
        ("material", "long wave", "short wave", "sources"),
        ((m.name, _glow(m.uv_long_wave), _glow(m.uv_short_wave), "; ".join(m.sources)) for m in every),
    )
    return MATERIALS.replace("{uv}", " ".join(gem.care.cautions("uv"))) + first + "\n" + second


def _cuts() -> str:
    data = read_table("cuts")
    models = _table(
        ("known", "a", "b", "c", "95 % within", "source"),
        ((name.replace("_", " "), m["a"], m["b"], m["c"], f"{m['error_percent']} %", m["source"])
         for name, m in data["round_models"].items()),
    )  # fmt: skip
    formulas = _table(
        ("cut", "ct of diamond =", "95 % within", "status", "source"),
        ((f"`{key}`", _formula(data[key]), f"{data[key]['error_percent']} %", data[key]["status"], data[key]["source"])
         for key in gem.weight.cut_names()),
    )  # fmt: skip
    girdle = _table(
        ("girdle", "to 4.1 mm", "to 6.9 mm", "larger"),
        ((name, *values) for name, values in data["girdle"]["multiplier"].items()),
    )
    return (
        CUTS.replace("{models}", models)
        + formulas
        + f"\nGirdle multipliers by diameter or width ({data['girdle']['source']}):\n\n"
        + girdle
        + "\nColoured stones: ct = SG/3.515 × the figure above, or the trade's rounder table "
        + f"({data['coloured']['source']}).\n"
    )


def _formula(cut: Mapping[str, object]) -> str:
    pairs = cut.get("by_ratio")
    if isinstance(pairs, list):
        return f"{cut['product']} × " + ", ".join(f"{factor:g} at {ratio:g}" for ratio, factor in pairs)
    if "factor_sg" in cut:
        return f"{cut['product']} × 0.00262 × SG"
    return f"{cut['product']} × {cut['factor']}"


def _care() -> str:
    processes = gem.care.PROCESSES
    parts = [CARE]
    for process in processes:
        parts.append(f"**{process}**: " + " ".join(gem.care.cautions(process)) + "\n")
    parts.append("")
    unknown = gem.care.advise("", "steam").reasons[0].words
    lines = []
    for name in gem.care.material_names():
        cells = []
        for process in processes:
            advice = gem.care.advise(name, process)
            cells.append(f"({advice.verdict})" if advice.reasons[0].words == unknown else advice.verdict)
        lines.append((name.replace("_", " "), *cells))
    parts.append(_table(("material", *processes), lines))
    parts.append("Treated stones, whatever the material:\n")
    reasons = [
        (name, process, reason.verdict, reason.words, reason.source)
        for name in gem.care.treatment_names()
        for process in processes
        for reason in gem.care.advise("diamond", process, [name]).reasons[1:]
    ]
    parts.append(_table(("treatment", "process", "verdict", "because", "source"), reasons))
    parts.append("Sources: " + "; ".join(read_table("care")["sources"].values()) + ".\n")
    return "\n".join(parts)


def main() -> None:
    for name, text in pages().items():
        (REFERENCE / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
