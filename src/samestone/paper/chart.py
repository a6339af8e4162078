"""How the evidence looks: the narrowing for everybody, the log10 LR bars for an expert."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


def narrowing(values: Mapping[str, Any]) -> str:
    """Rows of dots that thin out, from a verdict's `narrowing` ({"of", "left": [{"after", "left"}, …]}), as SVG."""
    raise NotImplementedError


def likelihood_bars(verdict: Mapping[str, Any]) -> str:
    """The log10 likelihood ratios of a verdict's JSON document, left and right of zero, with their bounds, as SVG."""
    raise NotImplementedError
