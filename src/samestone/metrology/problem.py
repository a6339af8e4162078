"""What a check found wrong, as a value: the checker says it, the caller decides what follows."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong: the field, what was found there, what was expected, what to do next."""

    field: str
    found: str
    expected: str
    remedy: str

    def __str__(self) -> str:
        return f"{self.field}: found {self.found}, expected {self.expected}; {self.remedy}"
