"""Gauge studies and a shop's own repeats: how well do these people measure with this instrument?"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from samestone import metrology


def add_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `gauge-study` and `repeatability`."""
    study = commands.add_parser(
        "gauge-study", help="repeatability and reproducibility of an instrument, from a CSV file"
    )
    study.add_argument("file", metavar="FILE.csv", help="columns part, appraiser, value: one line for each reading")
    study.add_argument("--json", action="store_true", help="print the whole result as JSON")
    study.add_argument("--plot", metavar="OUT.svg", help="write the picture")
    study.add_argument("--resolution", type=float, help="the display's step (else the last decimal in the file)")
    study.add_argument("--unit", default="mm", help="unit of the values (mm)")
    study.add_argument("--name", default="gauge", help="the instrument's name in the result")
    study.set_defaults(run=run_study)
    repeats = commands.add_parser(
        "repeatability", help="uncertainty of your instruments from your own repeats, from a CSV"
    )
    repeats.add_argument(
        "file", metavar="FILE.csv", help="columns stone, sitting, property, indication (optional: instrument)"
    )
    repeats.add_argument("--json", action="store_true", help="print JSON with an instruments block for a record")
    repeats.add_argument(
        "--stated", action="append", default=[], metavar="PROPERTY=U", help="test whether this stated u is too small"
    )
    repeats.set_defaults(run=run_repeatability)


def run_study(arguments: argparse.Namespace) -> int:
    """Print the study; status 0 whatever its rating: the rating is the answer, not a failure."""
    from samestone.cli import Refusal
    from samestone.cli.table import print_json, read_rows, write_text
    from samestone.metrology import gauge

    rows = read_rows(arguments.file, ("part", "appraiser", "value"))
    trials = [gauge.Trial(row.text("part"), row.text("appraiser"), row.number("value")) for row in rows]
    step = arguments.resolution
    if step is None:
        step = 10.0 ** -max(len(row.text("value").partition(".")[2]) for row in rows)
    try:
        study = gauge.study_gauge(trials)
        instrument = study.as_instrument(arguments.name, "gauge", arguments.unit, step)
    except ValueError as problem:
        raise Refusal(f"{arguments.file}: {problem}") from None
    if arguments.plot:
        write_text(arguments.plot, study.plot(arguments.unit))
    if arguments.json:
        print_json(_study_result(study) | {"instrument": instrument_block(instrument)})
    else:
        print(_study_text(study, arguments.unit))
    return 0


def instrument_block(instrument: metrology.Instrument, *, common_known: bool = True) -> dict[str, str]:
    """The instrument as an examination record states it: decimal strings, u rounded up to two figures.

    u_common is left out where nothing is known of it (no thing was measured in two sittings).
    """
    block = {
        "name": instrument.name,
        "kind": instrument.kind,
        "unit": instrument.unit,
        "resolution": f"{instrument.resolution:g}",
        "u": _two_figures(instrument.u),
    }
    if common_known:
        block["u_common"] = min(_two_figures(instrument.u_common), block["u"], key=float)
    if instrument.dof is not None:
        block["dof"] = str(int(instrument.dof))
    return block


def _two_figures(value: float) -> str:
    from decimal import ROUND_UP, Decimal

    exact = Decimal(repr(value))
    return f"{exact.quantize(Decimal(1).scaleb(exact.adjusted() - 1), rounding=ROUND_UP):f}" if value else "0"


def _study_result(study: metrology.gauge.Study) -> dict[str, Any]:
    def spread(which: Any) -> dict[str, Any]:
        return {
            "repeatability": which.ev, "reproducibility": which.av, "interaction": which.interaction,
            "grr": which.grr, "part_variation": which.pv, "total_variation": which.tv,
            "percent_grr": which.percent_grr, "contribution_percent": which.contribution_percent,
            "categories": which.categories, "rating": which.rating,
        }  # fmt: skip

    return {
        "appraisers": list(study.appraisers),
        "parts": list(study.parts),
        "trials": study.values.shape[2],
        "average_and_range": spread(study.by_range),
        "analysis_of_variance": spread(study.by_variance),
        "interaction_pooled": study.pooled,
        "table": [
            {"source": x.source, "squares": x.squares, "dof": x.dof, "mean_square": x.mean_square, "f": x.f, "p": x.p}
            for x in study.table
        ],
        "dof_repeatability": study.dof,
    }


def _study_text(study: metrology.gauge.Study, unit: str) -> str:
    ways = (study.by_variance, study.by_range)
    lines = [
        f"{len(study.appraisers)} people x {len(study.parts)} parts x {study.values.shape[2]} trials, in {unit}",
        "",
        f"{'':28}{'variance':>12}{'range':>12}",
        *(
            f"{label:28}{getattr(ways[0], name):12.5g}{getattr(ways[1], name):12.5g}"
            for label, name in (
                ("same person again (EV)", "ev"),
                ("person to person (AV)", "av"),
                ("person with part", "interaction"),
                ("measuring together (GRR)", "grr"),
                ("the parts (PV)", "pv"),
                ("all (TV)", "tv"),
                ("GRR, % of TV", "percent_grr"),
                ("GRR, % of the variance", "contribution_percent"),
                ("distinct categories", "categories"),
            )
        ),
        "",
        f"{'source':28}{'squares':>12}{'dof':>6}{'mean square':>14}{'F':>10}{'p':>10}",
        *(
            f"{x.source:28}{x.squares:12.5g}{x.dof:6}{x.mean_square:14.5g}"
            + ("" if x.f is None or x.p is None else f"{x.f:10.4g}{x.p:10.3g}")
            for x in study.table
        ),
        "",
        f"The interaction is {'pooled with the repeatability' if study.pooled else 'kept'}. "
        f"Rating by variance: {ways[0].rating} (good up to 10 % of TV, marginal up to 30 %).",
    ]
    return "\n".join(lines)


def run_repeatability(arguments: argparse.Namespace) -> int:
    """Print u for each instrument and property with its degrees of freedom; status 1 where a stated u is too small."""
    from samestone.cli.repeatability import report

    return report(arguments)
