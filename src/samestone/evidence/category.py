"""What is seen rather than measured: fluorescence, girdle finish, culet, inscription.

With states t of share pi_t and an observer who calls state t by the word o with probability C[t, o],

    LR(o1, o2) = sum_t pi_t C[t, o1] C[t, o2] / (sum_t pi_t C[t, o1]  sum_t pi_t C[t, o2]).
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator, Sequence
from functools import lru_cache
from importlib.resources import files
from typing import Any

from samestone.evidence.examination import Examination, Reaction
from samestone.evidence.verdict import Block, Finding
from samestone.evidence.wording import Outcome

UNREADABLE = ("unclear", "metal", "no reading", "not clear")
"""Results of a probe that say nothing about the stone."""

Judged = tuple[Finding, Block | None]

_NONE = "none seen"


@lru_cache(maxsize=1)
def tables() -> dict[str, Any]:
    """The shares and confusions that ship with the program, numbers as strings."""
    return tomllib.loads((files("samestone.evidence") / "data" / "categories.toml").read_text(encoding="utf-8"))


def likelihood_ratio(share: Sequence[float], confusion: Sequence[Sequence[float]], first: int, second: int) -> float:
    """LR of two words for one thing.

    >>> round(likelihood_ratio([0.5, 0.5], [[1, 0], [0, 1]], 0, 0), 3)
    2.0
    """
    both = sum(s * row[first] * row[second] for s, row in zip(share, confusion, strict=True))
    one = sum(s * row[first] for s, row in zip(share, confusion, strict=True))
    other = sum(s * row[second] for s, row in zip(share, confusion, strict=True))
    return both / (one * other)


def judge_categories(before: Examination, after: Examination) -> Iterator[Judged]:
    """A finding, and a block of evidence where there is any, for each thing seen in either record."""
    for test in sorted(before.reactions.keys() | after.reactions.keys()):
        was, is_ = before.reactions.get(test), after.reactions.get(test)
        yield _judge_glow(test, was, is_) if test.startswith("uv") else _judge_result(test, was, is_)
    for what in sorted(before.observations.keys() | after.observations.keys()):
        was_word, is_word = before.observations.get(what), after.observations.get(what)
        if was_word is None or is_word is None:
            yield _one_side(what, was_word, is_word)
        elif what == "inscription":
            yield _judge_inscription(was_word, is_word)
        elif what == "girdle_finish" and after.declared_changes:
            yield Finding(what, was_word, is_word, "not_compared", "polishing may have changed it, as declared"), None
        else:
            yield _judge_observation(what, was_word, is_word)


def _one_side(what: str, was: str | None, is_: str | None) -> Judged:
    return Finding(what, was, is_, "not_compared", f"recorded {'before' if was else 'after'} only"), None


def _describe(reaction: Reaction | None) -> str | None:
    return None if reaction is None else reaction.result or f"{reaction.strength} {reaction.colour}".strip()


def _unusable(what: str, was: Reaction, is_: Reaction) -> Judged | None:
    for when, reaction in (("before", was), ("after", is_)):
        why = reaction.unusable or ("the probe gave no result" if reaction.result in UNREADABLE else "")
        if why:
            return Finding(what, _describe(was), _describe(is_), "not_compared", f"{when}: {why}"), None
    return None


@lru_cache(maxsize=4096)
def _judge_result(test: str, was: Reaction | None, is_: Reaction | None) -> Judged:
    if was is None or is_ is None:
        return _one_side(test, _describe(was), _describe(is_))
    if unusable := _unusable(test, was, is_):
        return unusable
    if was.result == is_.result:
        return Finding(test, was.result, is_.result, "agrees", "the same result; most stones here share it"), None
    return Finding(test, was.result, is_.result, "disagrees", "a stone does not change its material"), None


@lru_cache(maxsize=4096)
def _judge_glow(test: str, was: Reaction | None, is_: Reaction | None) -> Judged:
    if was is None or is_ is None:
        return _one_side(test, _describe(was), _describe(is_))
    if unusable := _unusable(test, was, is_):
        return unusable
    table = tables()["uv_long_wave"]
    steps = abs(table["states"].index(was.strength) - table["states"].index(is_.strength))
    recoloured = bool(was.colour and is_.colour and was.colour != is_.colour)
    outcome: Outcome = "doubtful" if steps > 1 or recoloured else "agrees"
    why = (
        "another colour: look again, with a second person" if recoloured
        else "more than one step apart: look again, with a second person" if steps > 1
        else "one step apart, as observers often are" if steps
        else "the same"
    )  # fmt: skip
    finding = Finding(test, _describe(was), _describe(is_), outcome, why)
    if test != "uv_long_wave":
        return finding, None
    raw = math.log10(_glow_ratio(table, was, is_))
    return finding, _block(test, raw, why)


def _glow_ratio(table: dict[str, Any], was: Reaction, is_: Reaction) -> float:
    """States are no fluorescence, and every strength in every colour; without a named colour, any."""
    share = _numbers(table["share"])
    confusion = [_numbers(row) for row in table["confusion"]]
    rightly = float(table["colour_named_rightly"])
    hues = _numbers(table["colour_share"])
    wrongly = (1 - rightly) / (len(hues) - 1)

    def named(hue: int, reaction: Reaction) -> float:
        if not reaction.colour:
            return 1.0
        return rightly if table["colours"][hue] == reaction.colour else wrongly

    states = [(share[0], confusion[0], -1)]
    states += [(s * h, row, hue) for s, row in zip(share[1:], confusion[1:], strict=True) for hue, h in enumerate(hues)]
    first, second = table["states"].index(was.strength), table["states"].index(is_.strength)

    def seen(row: list[float], hue: int, step: int, reaction: Reaction) -> float:
        # A stone without fluorescence that is called faint blue is called so for a reflection: mostly blue.
        colour = 1.0 if step == 0 else named(hue if hue >= 0 else 0, reaction)
        return row[step] * colour

    rows = [[seen(row, hue, first, was), seen(row, hue, second, is_)] for _, row, hue in states]
    return likelihood_ratio([s for s, _, _ in states], rows, 0, 1)


@lru_cache(maxsize=4096)
def _judge_observation(what: str, was: str, is_: str) -> Judged:
    table = tables()[what]
    if "broken" in (was, is_):
        why = "the same" if was == is_ else "broken now: damage, which says nothing about which stone it is"
        return Finding(what, was, is_, "agrees" if was == is_ else "doubtful", why), None
    first, second = table["states"].index(was), table["states"].index(is_)
    steps = abs(first - second)
    outcome: Outcome = "doubtful" if steps > 1 else "agrees"
    why = ("the same", "one step apart, as observers often are")[steps] if steps < 2 else "more than one step apart"
    share, confusion = _numbers(table["share"]), [_numbers(row) for row in table["confusion"]]
    raw = math.log10(likelihood_ratio(share, confusion, first, second))
    return Finding(what, was, is_, outcome, why), _block(what, raw, why)


@lru_cache(maxsize=4096)
def _judge_inscription(was: str, is_: str) -> Judged:
    table = tables()["inscription"]
    without, missed, same, misread = (float(table[k]) for k in ("share_without", "missed", "same_text", "misread"))
    present = 1 - without
    blank = without + present * missed
    tag = "an inscription is a name tag: texts are copied"
    was, is_ = (_NONE if text.casefold() == _NONE else text for text in (was, is_))
    if was == is_ == _NONE:
        raw = math.log10((without + present * missed**2) / blank**2)
        return Finding("inscription", was, is_, "agrees", "none seen either time"), _block("inscription", raw, "none")
    if _NONE in (was, is_):
        raw = math.log10(present * missed * (1 - missed) / (blank * (1 - blank)))
        why = "seen once and not the other time: look again, also under the claws"
        return Finding("inscription", was, is_, "doubtful", why), _block("inscription", raw, why)
    if _letters(was) == _letters(is_):
        raw = math.log10((1 - misread) / same)
        limit = float(tables()["name_tag_limit"])
        block = _block("inscription", raw, tag, look_alike=limit)
        return Finding("inscription", was, is_, "agrees", f"the same text; {tag}"), block
    close = _differ_by_one(_letters(was), _letters(is_))
    why = "one letter differs: read it again" if close else "another text"
    raw = math.log10(misread)
    return Finding("inscription", was, is_, "doubtful" if close else "disagrees", why), _block("inscription", raw, why)


def _letters(text: str) -> str:
    return "".join(text.split()).casefold()


def _differ_by_one(one: str, other: str) -> bool:
    if len(one) == len(other):
        return sum(a != b for a, b in zip(one, other, strict=True)) == 1
    short, long = sorted((one, other), key=len)
    return len(long) - len(short) == 1 and any(long[:i] + long[i + 1 :] == short for i in range(len(long)))


def _block(what: str, raw: float, why: str, *, look_alike: float | None = None) -> Block:
    limit = float(tables()["limit"])
    value = max(-limit, min(limit, raw))
    chosen = value if look_alike is None else min(value, look_alike)
    return Block(what, value, chosen, -limit, limit, raw, 0, True, why)


def _numbers(texts: Sequence[str]) -> list[float]:
    return [float(text) for text in texts]
