"""The record's names as people at the counter say them, in the words that the shop's country uses.

What is kept (rows, entries, records, verdicts) is the same in every language; words are exchanged where they are shown.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext, gettext_noop

NAMES = {
    "weight_ct": ("weight", "ct"),
    "diameter_min_mm": ("smallest diameter", "mm"),
    "diameter_max_mm": ("largest diameter", "mm"),
    "depth_mm": ("depth", "mm"),
    "table_percent": ("table", "%"),
    "size_and_weight": ("size and weight", ""),
    "uv_long_wave": ("glow under long-wave ultraviolet", ""),
    "uv_short_wave": ("glow under short-wave ultraviolet", ""),
    "thermal_probe": ("thermal probe", ""),
    "electrical_probe": ("electrical probe", ""),
    "doubling": ("doubling", ""),
    "girdle_finish": ("girdle finish", ""),
    "culet": ("culet", ""),
    "inscription": ("inscription", ""),
    "characteristics": ("marks in the stone", ""),
    "photographs": ("pictures", ""),
    "pictures": ("pictures", ""),
}
# What the rooms below the shop say, and the shop's own buttons whose words are kept with a row: they arrive here as
# finished sentences. Each is exchanged as a whole, so that nothing which was typed can be met by a single word.
SAID_ELSEWHERE = (
    gettext_noop("claws in the way"),
    gettext_noop("another colour: look again, with a second person"),
    gettext_noop("seen once and not the other time: look again, also under the claws"),
    gettext_noop("a claw was touched, repeat on the stone"),
    gettext_noop("touch again, not the claw"),
    gettext_noop("Claws hide"),
    gettext_noop("Centre the stone and take it again."),
    gettext_noop("Use even light and a card of another colour."),
    gettext_noop("a positive length in micrometres"),
    gettext_noop("in micrometres per pixel"),
    gettext_noop("give the table in per cent of the mean girdle diameter"),
    gettext_noop("it looks like a fraction, not per cent"),
    gettext_noop("yttrium aluminium garnet (YAG)"),
    gettext_noop("may change colour while hot"),
    gettext_noop("cracks, may lose colour"),
    gettext_noop("changes colour with heat"),
    gettext_noop("the colour may change above 500 degrees Celsius"),
    gettext_noop("as quoted by a secondary page: colour may change above 500 degrees Celsius"),
)
REASONS = {"set": "the stone is set", "no time": "there was no time"}


def name_of(what: str) -> str:
    """A property, test or observation in plain words."""
    return NAMES.get(what, (what.replace("_", " "), ""))[0]


def unit_of(what: str) -> str:
    return NAMES.get(what, ("", ""))[1]


def reason_words(why: str) -> str:
    """Why something could not be looked at, as it stands on paper."""
    return REASONS.get(why, said(why))


def said(text: str) -> str:
    """A sentence of ours that was made elsewhere, in the words of the language that is spoken now."""
    for sentence in SAID_ELSEWHERE:
        text = text.replace(sentence, gettext(sentence))
    return text


def verdict_said(verdict: Mapping[str, Any]) -> dict[str, Any]:
    """A verdict as it is printed; what was found is left as it was read, the reasons are ours."""
    reasons = {part: [{**one, "why": said(one["why"])} for one in verdict[part]] for part in ("findings", "blocks")}
    return {**verdict, **reasons}


def paper_words() -> dict[str, str]:
    """The fixed words of the papers that differ; the others are those of paper's own table."""
    return {"claw": gettext("claw")}
