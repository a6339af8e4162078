"""The picture of a gauge study: what each person read on each part, and where the scatter comes from."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from samestone.metrology.gauge import Study

_INK, _PALE, _PAPER = "#2b2d2f", "#c9c2b4", "#fbf8f1"
_HUES = ("#0b6e6e", "#b4540a", "#5b3f8f", "#7a1f2b", "#33691e", "#455a64")
_WIDTH, _HEIGHT, _LEFT, _TOP, _BOTTOM, _SPLIT = 960, 440, 70, 64, 380, 660


def plot_study(study: Study, unit: str = "") -> str:
    """Draw a study as one SVG: readings part by part (deviation from the part's mean), and the shares of the variance.

    The readings are drawn against their own part's mean, so that the parts' differences do not hide the scatter.
    """
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img" '
        f'font-family="Atkinson Hyperlegible, sans-serif" font-size="15" fill="{_INK}">',
        f"<title>Gauge study: {escape(_summary(study))}</title>",
        f'<rect width="{_WIDTH}" height="{_HEIGHT}" fill="{_PAPER}"/>',
        f'<text x="{_LEFT}" y="30" font-size="18">What each person read, from the part&#8217;s mean'
        f"{f' ({escape(unit)})' if unit else ''}</text>",
        *_readings(study),
        *_shares(study),
        f'<text x="{_LEFT}" y="{_HEIGHT - 10}">{escape(_summary(study))}</text>',
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


def _summary(study: Study) -> str:
    spread = study.by_variance
    return (
        f"{len(study.appraisers)} people, {len(study.parts)} parts, {study.values.shape[2]} trials: measuring is "
        f"{spread.percent_grr:.1f} % of the total spread ({spread.rating}), {spread.categories} distinct categories"
    )


def _readings(study: Study) -> Iterator[str]:
    deviations = study.values - study.values.mean(axis=(0, 2))[None, :, None]
    reach = float(abs(deviations).max()) * 1.1
    middle, scale = (_TOP + _BOTTOM) / 2, (_BOTTOM - _TOP) / 2 / reach
    step = (_SPLIT - 40 - _LEFT) / len(study.parts)
    for at in (-reach / 1.1, 0.0, reach / 1.1):
        y = middle - at * scale
        yield f'<path d="M{_LEFT} {y:.1f}H{_SPLIT - 40}" stroke="{_PALE}"/>'
        yield f'<text x="{_LEFT - 8}" y="{y + 5:.1f}" text-anchor="end">{"0" if at == 0 else f"{at:+.2g}"}</text>'
    for part, name in enumerate(study.parts):
        x = _LEFT + (part + 0.5) * step
        if len(study.parts) <= 20:
            label = escape(name if len(name) <= 8 else name[:7] + "…")
            yield f'<text x="{x:.1f}" y="{_BOTTOM + 22}" text-anchor="middle">{label}</text>'
        for person in range(len(study.appraisers)):
            shift = (person - (len(study.appraisers) - 1) / 2) * min(14.0, step / (len(study.appraisers) + 1))
            for value in deviations[person, part]:
                yield _mark(person, x + shift, middle - float(value) * scale)
    for person, name in enumerate(study.appraisers):
        x = _LEFT + 12 + 190 * (person % 3)
        y = 48 + 18 * (person // 3)
        yield _mark(person, x, y)
        yield f'<text x="{x + 12}" y="{y + 5}">{escape(name)}</text>'


def _mark(person: int, x: float, y: float) -> str:
    """A shape and a hue for each person, so that colour never speaks alone."""
    hue = _HUES[person % len(_HUES)]
    shapes = (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4.5" fill="{hue}"/>',
        f'<path d="M{x:.1f} {y - 5.5:.1f}l5.5 10h-11z" fill="{hue}"/>',
        f'<path d="M{x - 4.5:.1f} {y - 4.5:.1f}h9v9h-9z" fill="none" stroke="{hue}" stroke-width="2"/>',
        f'<path d="M{x:.1f} {y - 6:.1f}l6 6l-6 6l-6 -6z" fill="{hue}"/>',
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4.5" fill="none" stroke="{hue}" stroke-width="2"/>',
        f'<path d="M{x - 5:.1f} {y - 5:.1f}l10 10m0 -10l-10 10" stroke="{hue}" stroke-width="2"/>',
    )
    return shapes[person % len(shapes)]


def _shares(study: Study) -> Iterator[str]:
    spread = study.by_variance
    total = spread.tv**2
    rows = (
        ("same person again", spread.ev**2, _HUES[0]),
        ("person to person", spread.av**2, _HUES[1]),
        ("person with part", spread.interaction**2, _HUES[2]),
        ("the parts themselves", spread.pv**2, _INK),
    )
    yield f'<text x="{_SPLIT}" y="30" font-size="18">Share of the variance</text>'
    for row, (name, variance, hue) in enumerate(rows):
        y, share = _TOP + 22 + row * 66, variance / total
        yield f'<text x="{_SPLIT}" y="{y}">{name}</text>'
        yield f'<rect x="{_SPLIT}" y="{y + 8}" width="230" height="16" fill="none" stroke="{_PALE}"/>'
        yield f'<rect x="{_SPLIT}" y="{y + 8}" width="{230 * share:.1f}" height="16" fill="{hue}"/>'
        yield f'<text x="{_SPLIT + 238}" y="{y + 21}">{100 * share:.1f} %</text>'
