"""The job strip: the stations that a piece passes, who and when; the station now is large."""

from __future__ import annotations

from collections.abc import Sequence

from samestone.paper.drawing import GRAPHITE, LINE, PAPER, QUIET, TEAL, document, element, text, width_of
from samestone.paper.sheet import Station, check

_SMALL, _LARGE, _MIDDLE = 15, 21, 40
_LONG = 13


def job_strip(stations: Sequence[Station]) -> str:
    """The stations of one job from left to right as SVG text; those without `at` are still ahead."""
    for index, station in enumerate(stations):
        check(station, Station, f"stations[{index}]")
    widths = [_width(station) for station in stations]
    centres = [sum(widths[:index]) + width / 2 for index, width in enumerate(widths)]
    total = sum(widths) or 1
    line = (
        element("line", x1=centres[0], x2=centres[-1], y1=_MIDDLE, y2=_MIDDLE, stroke=LINE, stroke_width=3)
        if centres
        else ""
    )
    said = [
        f"{station['name']}{' now' if station.get('now') else ''} {station.get('at', 'ahead')}" for station in stations
    ]
    lines = max((len(_below(station)) for station in stations), default=0)
    return document(
        line,
        *(_station(station, x) for station, x in zip(stations, centres, strict=True)),
        box=(0, 0, total, _MIDDLE + 30 + 20 * lines),
        title="Where the piece is",
        description="; ".join(said),
        class_="job-strip",
    )


def _below(station: Station) -> list[tuple[str, str]]:
    """(line, colour) of when and who; a long time takes two lines, broken at its last space."""
    at = station.get("at", "")
    when = at.rsplit(" ", 1) if len(at) > _LONG else [at]
    return [(line, GRAPHITE) for line in when if line] + ([(station["by"], QUIET)] if station.get("by") else [])


def _width(station: Station) -> float:
    lines = [width_of(line, _SMALL) + 20 for line, _ in _below(station)]
    name = width_of(station["name"], _LARGE) + 52 if station.get("now") else width_of(station["name"], _SMALL) + 20
    return max(64.0, name, *lines)


def _station(station: Station, x: float) -> str:
    below = [
        text(words, (x, _MIDDLE + 40 + 20 * index), size=_SMALL, fill=colour, text_anchor="middle")
        for index, (words, colour) in enumerate(_below(station))
    ]
    if station.get("now"):
        return element("g", *_large(station["name"], x), *below, class_="station now")
    return element("g", *_small(station["name"], x, reached="at" in station), *below, class_="station")


def _large(name: str, x: float) -> tuple[str, str]:
    width = width_of(name, _LARGE) + 34
    return (
        element("rect", x=x - width / 2, y=_MIDDLE - 22, width=width, height=44, rx=22, fill=TEAL),
        text(name, (x, _MIDDLE + 7), size=_LARGE, fill=PAPER, font_weight=700, text_anchor="middle"),
    )


def _small(name: str, x: float, *, reached: bool) -> tuple[str, str]:
    fill, edge, letters = (GRAPHITE, GRAPHITE, GRAPHITE) if reached else (PAPER, LINE, QUIET)
    return (
        element("circle", cx=x, cy=_MIDDLE, r=7, fill=fill, stroke=edge, stroke_width=2),
        text(name, (x, _MIDDLE - 16), size=_SMALL, fill=letters, text_anchor="middle"),
    )
