"""A number as it was typed: a decimal string, never a float."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms


class DecimalText(forms.CharField):
    """A decimal number kept as text, `12.40` stays `12.40`; a comma is read as the decimal point."""

    def __init__(self, *, unit: str = "", lowest: str = "0", highest: str = "100000", **kwargs: Any) -> None:
        self.unit, self.lowest, self.highest = unit, Decimal(lowest), Decimal(highest)
        kwargs.setdefault("widget", forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}))
        super().__init__(max_length=20, **kwargs)

    def clean(self, value: Any) -> str:
        text = str(super().clean(value)).strip().replace(",", ".")
        if not text:
            return ""
        try:
            number = Decimal(text)
        except InvalidOperation:
            number = Decimal("NaN")
        if not number.is_finite() or "e" in text.lower():
            raise forms.ValidationError(f"“{text}” is not a number; expected one such as 4.10.")
        if not self.lowest <= number <= self.highest:
            limits = f"between {self.lowest} and {self.highest} {self.unit}".strip()
            raise forms.ValidationError(f"{text} {self.unit} cannot be; expected {limits}. Is the unit right?")
        return text
