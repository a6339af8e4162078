"""How many stones of the population could not be told apart from this one, after each check."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Narrowing:
    """`left[i]` is (what was checked, stones still not told apart) of `of` stones; `share_at_most` bounds the share.

    `share_at_most` is the upper 95 % limit of Clopper and Pearson (Biometrika 26, 404, 1934).
    """

    of: int
    left: tuple[tuple[str, int], ...]
    share_at_most: float

    def as_json(self) -> dict[str, Any]:
        return {
            "of": self.of,
            "left": [{"after": what, "left": count} for what, count in self.left],
            "share_at_most": float(f"{self.share_at_most:.3g}"),
        }
