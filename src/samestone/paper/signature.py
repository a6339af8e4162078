"""The shop's signature in a PDF: PAdES B-B, ECDSA P-256, no change allowed afterwards."""

from __future__ import annotations

import datetime as dt


def sign_pdf(pdf: bytes, *, key_pem: bytes, certificate_pem: bytes, at: dt.datetime, reason: str) -> bytes:
    """The PDF with the shop's signature; `at` is the signing time that it claims."""
    raise NotImplementedError
