"""What `samestone repeatability` does: a shop's own repeats become the u of its instruments."""

from __future__ import annotations

import argparse
import math
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from samestone import gem, metrology
from samestone.cli import Refusal
from samestone.cli.metrology import instrument_block
from samestone.cli.table import Row, plain_number, print_json, read_rows
from samestone.metrology import repeats

_KINDS = {"mm": "gauge", "ct": "scale", "%": "table gauge"}

Collected = dict[str, list[tuple[str, repeats.Repeat]]]


def report(arguments: argparse.Namespace) -> int:
    """Print the result; status 1 where a stated u is too small for the scatter."""
    collected = _collect(read_rows(arguments.file, ("stone", "property", "indication")))
    results = {name: _instrument(name, rows, arguments.file) for name, rows in collected.items()}
    stated = list(_check_stated(arguments.stated, collected))
    if arguments.json:
        print_json(
            {
                "instruments": [
                    instrument_block(instrument, common_known=whole.dof_common > 0)
                    for instrument, whole, _ in results.values()
                ],
                "repeatability": {name: asdict(whole) for name, (_, whole, _) in results.items()},
                "properties": {
                    name: {of: asdict(found) for of, found in by_property.items()}
                    for name, (_, _, by_property) in results.items()
                },
                "stated": stated,
            }
        )
    else:
        _print_text(results, stated)
    return 1 if any(check["understated"] for check in stated) else 0


def _collect(rows: list[Row]) -> Collected:
    collected: defaultdict[str, list[tuple[str, repeats.Repeat]]] = defaultdict(list)
    for row in rows:
        name, value = row.text("property"), row.number("indication")
        problems = gem.check_values({name: value})
        if problems:
            raise Refusal(f"{row.place}: {problems[0]}")
        instrument = row.text("instrument", _KINDS[gem.PROPERTIES[name].unit])
        item, sitting = (row.text("stone"), name), row.text("sitting", "1")
        collected[instrument].append((name, repeats.Repeat(item, sitting, value)))
    return dict(collected)


def _instrument(
    name: str, rows: list[tuple[str, repeats.Repeat]], path: str
) -> tuple[metrology.Instrument, repeats.Repeatability, dict[str, repeats.Repeatability]]:
    measured = sorted({of for of, _ in rows})
    units = sorted({gem.PROPERTIES[of].unit for of in measured})
    if len(units) > 1:
        raise Refusal(f"{path}: instrument {name} measures {' and '.join(units)}; give each unit its own instrument")
    resolution = gem.PROPERTIES[measured[0]].resolution
    try:
        whole = repeats.find_repeatability([repeat for _, repeat in rows], resolution)
        by_property = {
            of: repeats.find_repeatability([repeat for which, repeat in rows if which == of], resolution)
            for of in measured
        }
    except ValueError as problem:
        raise Refusal(f"{path}: {name}: {problem}") from None
    u = max(whole.u, resolution / 12**0.5)
    instrument = metrology.Instrument(name, _KINDS[units[0]], units[0], resolution, u, whole.u_common, whole.dof)
    return instrument, whole, by_property


def _check_stated(stated: list[str], collected: Collected) -> Iterator[dict[str, Any]]:
    known = set(collected) | {of for rows in collected.values() for of, _ in rows}
    for text in stated:
        name, _, figure = text.partition("=")
        if name not in known:
            raise Refusal(f"--stated {text}: {name!r} is not in the file; it has {', '.join(sorted(known))}")
        u = plain_number(figure)
        if not 0 < u < math.inf:
            raise Refusal(
                f"--stated {text}: found {figure!r}, expected NAME=U with a number above 0 such as gauge=0.010"
            )
        groups: defaultdict[object, list[float]] = defaultdict(list)
        for instrument, rows in collected.items():
            for of, repeat in rows:
                if name in (instrument, of):
                    groups[repeat.item, repeat.sitting].append(repeat.indication)
                    resolution = gem.PROPERTIES[of].resolution
        yield {"name": name, "stated_u": u} | asdict(repeats.check_stated_u(list(groups.values()), u, resolution))


def _print_text(
    results: dict[str, tuple[metrology.Instrument, repeats.Repeatability, dict[str, repeats.Repeatability]]],
    stated: list[dict[str, Any]],
) -> None:
    print(f"{'':24}{'u':>10}{'within':>10}{'between':>10}{'dof':>8}{'readings':>10}")
    for name, (instrument, whole, by_property) in results.items():
        print(_line(f"{name} ({instrument.unit})", whole))
        for of, found in by_property.items():
            print(_line(f"  {of}", found))
        if instrument.standing != "measured":
            print(
                f"  {whole.dof:.0f} degrees of freedom: too few to carry evidence, at least 20 are needed; repeat more."
            )
        if whole.dof_common == 0:
            print("  every stone was measured in one sitting only: what sittings differ by (the zero) is not in u yet.")
    for check in stated:
        word = "TOO SMALL" if check["understated"] else "not contradicted"
        print(
            f"stated u of {check['name']} {check['stated_u']:g}: {word} "
            f"(scatter {check['ratio']:.2f} times stated, p {check['p']:.3f}, dof {check['dof']})"
        )


def _line(label: str, found: repeats.Repeatability) -> str:
    return f"{label:24}{found.u:10.4g}{found.u_independent:10.4g}{found.u_common:10.4g}{found.dof:8.0f}{found.n:10}"
