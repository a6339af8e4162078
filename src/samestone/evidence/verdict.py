"""A verdict: findings, blocks of evidence, one bottom line, and everything it rests on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from samestone.evidence import wording
from samestone.evidence.narrowing import Narrowing
from samestone.evidence.wording import Ladder, Outcome, Question

METHOD = "samestone-evidence/2"
"""Changes whenever any number that the same two records give may change."""

DECIMALS = 3
"""Every log10 LR is given to a thousandth."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was looked at: what it was, what it is, and what that says.

    `was` and `is_` are plain values as recorded (numbers or words) or None where not recorded; `was_u` and `is_u` their
    standard uncertainties in the property's unit; `sigmas` the difference over its standard uncertainty.
    """

    what: str
    was: float | str | None
    is_: float | str | None
    outcome: Outcome
    why: str
    was_u: float | None = None
    is_u: float | None = None
    sigmas: float | None = None

    def as_json(self) -> dict[str, Any]:
        out: dict[str, Any] = {"property": self.what, "outcome": self.outcome, "why": self.why}
        out["was"] = _side(self.was, self.was_u)
        out["is"] = _side(self.is_, self.is_u)
        if self.sigmas is not None:
            out["sigmas"] = round(self.sigmas, 2)
        return out


def _side(value: float | str | None, u: float | None) -> dict[str, Any] | None:
    if value is None:
        return None
    if isinstance(value, str) or u is None:
        return {"value": value}
    return {"value": round(value, 5), "u": round(u, 5)}


@dataclass(frozen=True, slots=True)
class Block:
    """Findings that are judged together; blocks are independent of one another given the kind of stone.

    `random` and `look_alike` are log10 LR against a stone drawn at random and against one chosen to look alike in size
    and weight, already clipped to `lower`..`upper`, the range in which this kind of evidence was validated on `n` cases
    (0: the range is assumed). `raw` is the value before clipping. `beyond_size` says that a stone chosen by size and
    weight would not share it.
    """

    what: str
    random: float
    look_alike: float
    lower: float
    upper: float
    raw: float
    n: int
    beyond_size: bool
    why: str
    working: Mapping[str, float] = field(default_factory=dict)
    """Intermediate figures, by the name that docs/method/evidence.md gives them."""

    def as_json(self) -> dict[str, Any]:
        return {
            "what": self.what,
            "random": round(self.random, DECIMALS),
            "look_alike": round(self.look_alike, DECIMALS),
            "lower": round(self.lower, DECIMALS),
            "upper": round(self.upper, DECIMALS),
            "raw": round(self.raw, DECIMALS),
            "validated_on": self.n,
            "beyond_size": self.beyond_size,
            "why": self.why,
            **({"working": dict(self.working)} if self.working else {}),
        }


@dataclass(frozen=True, slots=True)
class Weight:
    """A log10 LR and the range it was clipped to."""

    value: float
    lower: float
    upper: float

    def as_json(self) -> dict[str, float]:
        return {
            "value": round(self.value, DECIMALS),
            "lower": round(self.lower, DECIMALS),
            "upper": round(self.upper, DECIMALS),
        }


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the findings say about two records of a stone; all parts are plain values."""

    question: Question
    ladder: Ladder
    sentence: str
    random: Weight
    look_alike: Weight
    stock: int
    findings: tuple[Finding, ...]
    blocks: tuple[Block, ...]
    narrowing: Narrowing | None
    unchecked: tuple[str, ...]
    flags: Mapping[str, str]
    population: Mapping[str, str | int]

    @property
    def verbal(self) -> Mapping[str, str]:
        """The guideline's words for each log10 LR, rounded down."""
        return {"random": wording.verbal(self.random.value), "look_alike": wording.verbal(self.look_alike.value)}

    def as_json(self) -> dict[str, Any]:
        """The result document: JSON types only, log10 LR rounded to a thousandth."""
        return {**self.moving_parts(), **shared_parts(self.question, self.stock, self.population)}

    def moving_parts(self) -> dict[str, Any]:
        """What differs from one comparison to the next."""
        return {
            "format": "samestone-verdict/1",
            "question": self.question,
            "ladder": self.ladder,
            "sentence": self.sentence,
            "log10_lr": {
                "random": self.random.as_json(),
                "look_alike": {**self.look_alike.as_json(), "stock": self.stock},
            },
            "verbal": {"scale": wording.SCALE, **self.verbal},
            "findings": [finding.as_json() for finding in self.findings],
            "blocks": [block.as_json() for block in self.blocks],
            "narrowing": self.narrowing.as_json() if self.narrowing else None,
            "unchecked": list(self.unchecked),
            "flags": dict(self.flags),
        }


def shared_parts(question: Question, stock: int, population: Mapping[str, str | int]) -> dict[str, Any]:
    """What all comparisons of one question, stock and population share."""
    return {
        "propositions": wording.propositions(question, stock),
        "assumptions": list(wording.ASSUMPTIONS),
        "method": METHOD,
        "population": dict(population),
    }
