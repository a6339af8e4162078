"""What leaves the shop on paper, and the drawings that paper and screen share: plain values in, SVG or PDF out.

The shapes of the sheets are the dictionaries of `samestone.paper.sheet`: `ReceiptSheet`, `StatementSheet`,
`LabelSheet`, `Mark`, `Station`, … Drawings are SVG text with presentation attributes and classes, no style, no script,
no id: they stand in a page under a strict content policy and in a PDF alike. A stylesheet can override the colours.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from samestone.paper.chart import likelihood_bars, narrowing
    from samestone.paper.clockface import clock_face
    from samestone.paper.printing import label, receipt, statement
    from samestone.paper.signature import sign_pdf
    from samestone.paper.strip import job_strip

__all__ = [
    "clock_face",
    "job_strip",
    "label",
    "likelihood_bars",
    "narrowing",
    "receipt",
    "sign_pdf",
    "statement",
]

_HOME = {
    "clock_face": "clockface",
    "job_strip": "strip",
    "label": "printing",
    "likelihood_bars": "chart",
    "narrowing": "chart",
    "receipt": "printing",
    "sign_pdf": "signature",
    "statement": "printing",
}


def __getattr__(name: str) -> object:
    """Import what is asked for when it is asked for: drawings need neither typst nor the signature library."""
    if name not in _HOME:
        raise AttributeError(f"paper has no {name!r}")
    return getattr(importlib.import_module(f"samestone.paper.{_HOME[name]}"), name)
