"""How often two observers of one stone name a thing by two given words."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from samestone.evidence.category import Judged, judge_categories, tables
from samestone.evidence.examination import Examination, Reaction
from samestone.evidence.observable import Array

NONE_SEEN = "none seen"


def chances_of_words(what: str) -> Iterator[tuple[str, str, float]]:
    """(first word, second word, chance) for one stone drawn at random: sum_t pi_t C[t, first] C[t, second].

    A glow is named "strength colour"; of inscriptions only whether one was seen, the same, or another matters.
    """
    words, share, chance = _inscription() if what == "inscription" else _glow() if what[:3] == "uv_" else _named(what)
    both = np.einsum("t,ta,tb->ab", share, chance, chance)
    if what == "inscription":
        misread = float(tables()["inscription"]["misread"])
        yield "A 1", "B 2", float(both[1, 1]) * misread
        both[1, 1] *= 1 - misread
    for a, first in enumerate(words):
        for b, second in enumerate(words):
            yield first, second, float(both[a, b])


def judge_words(what: str, first: str, second: str) -> Judged:
    """The finding and the block that a verdict makes of two words."""
    (judged,) = judge_categories(_only(what, first), _only(what, second))
    return judged


def _only(what: str, word: str) -> Examination:
    reactions, observations = {}, {}
    if what.startswith("uv_"):
        strength, _, colour = word.partition(", ")
        reactions[what] = Reaction(strength=strength, colour=colour)
    else:
        observations[what] = word
    return Examination("stone", "", "loose", {}, {}, reactions, observations, None, (), ())


def _named(what: str) -> tuple[list[str], Array, Array]:
    table = tables()[what]
    return list(table["states"]), np.array(table["share"], float), np.array(table["confusion"], float)


def _inscription() -> tuple[list[str], Array, Array]:
    table = tables()["inscription"]
    without, missed = float(table["share_without"]), float(table["missed"])
    return [NONE_SEEN, "A 1"], np.array([without, 1 - without]), np.array([[1, 0], [missed, 1 - missed]])


def _glow() -> tuple[list[str], Array, Array]:
    """States and words: none, then every strength in every colour; a reflection on a stone without is called blue."""
    table = tables()["uv_long_wave"]
    strengths, hues = list(table["states"]), list(table["colours"])
    share, confusion = np.array(table["share"], float), np.array(table["confusion"], float)
    rightly = float(table["colour_named_rightly"])
    named = np.full((len(hues), len(hues)), (1 - rightly) / (len(hues) - 1))
    np.fill_diagonal(named, rightly)
    words = [strengths[0]] + [f"{strength}, {hue}" for strength in strengths[1:] for hue in hues]
    shares = np.r_[share[0], np.outer(share[1:], np.array(table["colour_share"], float)).ravel()]
    rows = [np.r_[confusion[0, 0], np.outer(confusion[0, 1:], named[0]).ravel()]]
    rows += [np.r_[row[0], np.outer(row[1:], named[hue]).ravel()] for row in confusion[1:] for hue in range(len(hues))]
    return words, shares, np.array(rows)
