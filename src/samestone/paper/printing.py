"""The receipt, the statement and the label: a sheet of plain values in, a PDF out."""

from __future__ import annotations

import datetime as dt

from samestone.paper import sheet


def receipt(values: sheet.ReceiptSheet, *, at: dt.datetime) -> bytes:
    """The A5 receipt that the client takes home, as a tagged PDF; `at` is the document's own date."""
    raise NotImplementedError


def statement(values: sheet.StatementSheet, *, at: dt.datetime) -> bytes:
    """The A4 statement with the record attached, as a PDF that declares PDF/A-3a and PDF/UA-1."""
    raise NotImplementedError


def label(values: sheet.LabelSheet, *, at: dt.datetime) -> bytes:
    """The bench label, 62 × 29 mm, as a PDF."""
    raise NotImplementedError
