"""The field that asks with which instrument; one that failed its check says so and is not offered first."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms

from samestone.shop.models import Instrument
from samestone.shop.suspicion import failed_instruments


class ToolField(forms.ModelChoiceField):  # type: ignore[type-arg]  # not generic at run time
    """An instrument in use; fill it with `offer` when the form is made."""

    def __init__(self, **kwargs: Any) -> None:
        self.failed: frozenset[int] = frozenset()
        super().__init__(queryset=Instrument.objects.none(), **kwargs)

    def offer(self, rows: Any, *, used: int | None = None) -> None:
        """These instruments; first the one used before, else one that is sound."""
        self.failed = failed_instruments()
        self.queryset = rows.filter(retired_at=None).order_by("pk")
        self.initial = used or self._first(self.queryset)

    def label_from_instance(self, obj: Any) -> str:
        return f"{obj.name} (failed its check)" if obj.pk in self.failed else str(obj.name)

    def _first(self, rows: Iterable[Instrument]) -> int | None:
        ranked = sorted(rows, key=lambda row: row.pk in self.failed)
        return ranked[0].pk if ranked else None
