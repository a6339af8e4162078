"""What may be wrong with a photograph of a stone: flags, each with one sentence and one remedy."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Flag:
    """A doubt about a photograph; `blocking` ones make it unusable for comparison (it then counts neither way)."""

    name: str
    sentence: str
    remedy: str
    blocking: bool = False
