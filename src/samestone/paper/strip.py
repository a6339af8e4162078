"""The job strip: the stations that a piece passes, who and when; the station now is large."""

from __future__ import annotations

from collections.abc import Sequence

from samestone.paper.sheet import Station


def job_strip(stations: Sequence[Station]) -> str:
    """The stations of one job from left to right as SVG text; those without `at` are still ahead."""
    raise NotImplementedError
