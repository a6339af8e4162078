"""The job strip: the stations that a piece passes, who and when; the station now is large."""

from __future__ import annotations

from collections.abc import Sequence

from samestone.paper.drawing import GRAPHITE, LINE, PAPER, QUIET, TEAL, document, element, text, width_of
from samestone.paper.sheet import Station, check

_SMALL, _LARGE, _MIDDLE = 15, 21, 40


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
    return document(
        line,
        *(_station(station, x) for station, x in zip(stations, centres, strict=True)),
        box=(0, 0, total, 110),
        title="Where the piece is",
        description="; ".join(said),
        class_="job-strip",
    )


def _width(station: Station) -> float:
    words = [station["name"], station.get("at", ""), station.get("by", "")]
    if station.get("now"):
        return max(width_of(words[0], _LARGE) + 52, *(width_of(word, _SMALL) + 20 for word in words[1:]))
    return max(64.0, *(width_of(word, _SMALL) + 20 for word in words))


def _station(station: Station, x: float) -> str:
    now, reached = bool(station.get("now")), "at" in station
    if now:
        width = width_of(station["name"], _LARGE) + 34
        mark = element("rect", x=x - width / 2, y=_MIDDLE - 22, width=width, height=44, rx=22, fill=TEAL)
        name = text(station["name"], (x, _MIDDLE + 7), size=_LARGE, fill=PAPER, font_weight=700, text_anchor="middle")
    else:
        colour = GRAPHITE if reached else LINE
        mark = element(
            "circle", cx=x, cy=_MIDDLE, r=7, fill=GRAPHITE if reached else PAPER, stroke=colour, stroke_width=2
        )
        name = text(
            station["name"], (x, _MIDDLE - 16), size=_SMALL, fill=GRAPHITE if reached else QUIET, text_anchor="middle"
        )
    below = [
        text(station[key], (x, _MIDDLE + offset), size=_SMALL, fill=colour, text_anchor="middle")  # type: ignore[literal-required]
        for key, offset, colour in (("at", 40, GRAPHITE), ("by", 60, QUIET))
        if key in station
    ]
    return element("g", mark, name, *below, class_="station now" if now else "station")
