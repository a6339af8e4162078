"""Rows → the words and marks that paper takes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any

from django.utils import timezone

from samestone.shop.models import Mark


def paper_marks(marks: Iterable[Mark]) -> list[Any]:
    """Marks as paper draws them; what was left empty is left out."""
    return [
        {"category": mark.category, "angle_deg": mark.angle_deg, "id": str(mark.pk)}
        | {name: value for name in ("r", "to_deg", "kind", "words") if (value := getattr(mark, name))}
        for mark in marks
    ]


def local_words(at: dt.datetime) -> str:
    """A time as it is read at the counter: day, month and the hour here."""
    return f"{timezone.localtime(at):%-d %b %Y %H:%M}"
