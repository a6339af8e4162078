"""One way to write a value as bytes, so that equal values have equal digests everywhere (RFC 8785)."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

import rfc8785

SIGNIFICANT_DIGITS = 6
DEEPEST = 64


class NotCanonical(ValueError):
    """The value or the bytes cannot be written, or were not written, in the one canonical way."""


def canonical_bytes(value: Any) -> bytes:
    """The canonical JSON of a value, UTF-8, keys sorted by UTF-16 code units.

    Takes null, booleans, strings, integers up to 2^53 - 1 in size, lists, tuples and mappings with string keys.
    Refuses floats (write numbers as decimal strings), NaN, infinities, other keys, lone surrogates and deep nesting.
    Source: RFC 8785 (JSON Canonicalization Scheme), section 3.2.

    >>> canonical_bytes({"weight_ct": "1.012", "at": None})
    b'{"at":null,"weight_ct":"1.012"}'
    """
    _refuse_what_has_no_one_form(value, "value", 0)
    try:
        return rfc8785.dumps(value)
    except rfc8785.CanonicalizationError as error:
        raise NotCanonical(f"cannot be written as canonical JSON: {error}") from error


def read_canonical(data: bytes) -> Any:
    """The value in canonical JSON bytes; refuses every other way of writing the same value."""
    try:
        value = json.loads(data.decode("utf-8"))
    except (ValueError, RecursionError) as error:
        raise NotCanonical(f"is not JSON in UTF-8: {error}") from error
    if canonical_bytes(value) != data:
        raise NotCanonical("is JSON, but not written in the canonical way of RFC 8785 (sorted keys, no spaces)")
    return value


def decimal_strings(value: Any) -> Any:
    """The same value with every float written as a decimal string of six significant digits.

    A verdict is frozen, and recomputed, through this one function, so that both print the same digits on machines whose
    last bits differ. Refuses NaN and infinities.

    >>> decimal_strings({"value": 12.34567891, "left": 13, "small": 0.00012, "whole": 120.0})
    {'value': '12.3457', 'left': 13, 'small': '0.00012', 'whole': '120'}
    """
    if isinstance(value, bool) or value is None or isinstance(value, int | str):
        return value
    if isinstance(value, float):
        return _decimal_string(value)
    if isinstance(value, Mapping):
        return {key: decimal_strings(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [decimal_strings(item) for item in value]
    raise NotCanonical(f"found a {type(value).__name__}; expected what JSON can hold")


def _decimal_string(number: float) -> str:
    if not math.isfinite(number):
        raise NotCanonical(f"found {number}; expected a finite number")
    rounded = Decimal(f"{number:.{SIGNIFICANT_DIGITS - 1}e}")
    return format(rounded.normalize(), "f") if rounded else "0"


def _refuse_what_has_no_one_form(value: Any, where: str, depth: int) -> None:
    if depth > DEEPEST:
        raise NotCanonical(f"{where} is nested more than {DEEPEST} deep")
    if isinstance(value, float):
        raise NotCanonical(f"{where} is the float {value!r}; expected a decimal string such as '6.47'")
    if isinstance(value, Mapping):
        for key, item in value.items():
            if not isinstance(key, str):
                raise NotCanonical(f"{where} has the key {key!r}; expected a string")
            _refuse_what_has_no_one_form(item, f"{where}.{key}", depth + 1)
    elif isinstance(value, list | tuple):
        for place, item in enumerate(value):
            _refuse_what_has_no_one_form(item, f"{where}[{place}]", depth + 1)
    elif not isinstance(value, str | int | bool | None):
        raise NotCanonical(f"{where} is a {type(value).__name__}; expected what JSON can hold")
