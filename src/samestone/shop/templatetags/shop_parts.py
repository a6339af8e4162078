"""What templates draw: icons, the job strip, the clock face, charts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal, InvalidOperation
from typing import Any

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext

from samestone import paper
from samestone.shop import drawing, wording
from samestone.shop.models import Job, Mark, Stone
from samestone.shop.wording import NAMES, name_of

register = template.Library()

# Drawn for this counter, on a grid of 24.
_ICONS = {
    "house": '<circle cx="12" cy="13" r="8"/><path d="M8.5 9.5h7L18 13l-6 6-6-6zM6 13h12"/><path d="M12 5V2M9 3l6 0"/>',
    "camera": '<path d="M3 8h4l2-3h6l2 3h4v11H3z"/><circle cx="12" cy="13" r="3.6"/>',
    "cover": '<path d="M3 20V6q9-5 18 0v14M3 20q4.500-3 9 0 4.500-3 9 0M12 4v16"/>',
    "lamp": '<path d="M7 10a5 5 0 0 1 10 0l2 4H5zM12 14v5M8 20h8"/>',
    "window": '<path d="M3 5h12v10H3zM9 9h12v10H9z"/>',
    "undo": '<path d="M4 9h10a5.500 5.500 0 0 1 0 11H9M8 5 4 9l4 4"/>',
    "hold": '<path d="M8 4v16M16 4v16"/>',
    "blind": '<path d="M3 12q9-9 18 0-9 9-18 0zM4 20 20 4"/>',
    "paper": '<path d="M6 3h9l4 4v14H6zM15 3v4h4M9 12h7M9 16h7"/>',
    "turn": '<path d="M20 12a8 8 0 1 1-3-6.200M20 3v5h-5"/>',
    "caution": '<path d="M12 3 2 20h20zM12 9v5M12 17v.5"/>',
    "leave": '<path d="M10 4H4v16h6M9 12h12M17 8l4 4-4 4"/>',
}


@register.simple_tag
def icon(name: str) -> SafeString:
    """One of our own small drawings; decoration only, never the only sign of anything."""
    return format_html(
        '<svg class="icon" viewBox="0 0 24 24" aria-hidden="true">{}</svg>',
        mark_safe(_ICONS[name]),
    )


@register.simple_tag
def stations(job: Job) -> list[dict[str, Any]]:
    """The stations of a job for the strip; `passed` for those behind it, reached or left out."""
    told: list[dict[str, Any]] = [dict(one) for one in drawing.stations(job)]
    behind = True
    for one in told:
        behind = behind and not one.get("now")
        one["passed"] = behind
    return told


@register.simple_tag
def clock_face(stone: Stone, marks: Iterable[Mark] | str = ()) -> SafeString:
    """The plan view of a stone with these marks, as SVG of our own making."""
    return drawing.clock_face(stone, marks if not isinstance(marks, str) else ())


@register.simple_tag
def narrowing(values: Any) -> SafeString:
    return mark_safe(paper.narrowing(values))


@register.simple_tag
def likelihood_bars(verdict: Any) -> SafeString:
    return mark_safe(paper.likelihood_bars(verdict, names={what: name for what, (name, _) in NAMES.items()}))


@register.filter
def clock_hour(angle_deg: str) -> str:
    """A direction as people say it: half past 2."""
    return drawing.clock_hour(float(angle_deg))


@register.filter
def kind_words(kind: str, category: str) -> str:
    """What was placed, as the palette calls it."""
    known = {(one[0], one[1]): one[2] for places in _PALETTES.values() for one in places}
    return gettext(known[category, kind]) if (category, kind) in known else kind or category


@register.simple_tag
def listed(marks: Iterable[Mark]) -> dict[str, Any]:
    """Tight claws and what they hide as one number; everything else one by one, damage first."""
    rest = [mark for mark in marks if (mark.category, mark.kind) not in (("claw", "tight"), ("hidden", "claw"))]
    claws = sum((mark.category, mark.kind) == ("claw", "tight") for mark in marks)
    return {"claws": claws, "others": sorted(rest, key=lambda mark: mark.category != "damage")}


@register.filter
def weight_of_evidence(log10_lr: Any) -> str:
    """A log10 likelihood ratio with its sign and two places."""
    return f"{Decimal(str(log10_lr)):+.2f}".replace("-", "−")


@register.filter
def finding_words(what: str) -> str:
    """A name of the record as the counter says it."""
    return name_of(what)


@register.filter
def said(text: Any) -> str:
    """A sentence of ours that was made elsewhere, in the shop's words."""
    return wording.said(str(text))


@register.filter
def plain_words(name: str) -> str:
    """A name of the record in plain words."""
    return str(name).replace("_", " ")


@register.simple_tag
def measured(side: Mapping[str, Any] | None, part: str) -> str:
    """`value` or `u` of a finding, to three digits of the uncertainty; words as they are, nothing as a dash."""
    if not side or part not in side:
        return "–" if part == "value" else ""
    text = str(side[part])
    try:
        u = Decimal(str(side["u"]))
    except (KeyError, InvalidOperation):
        return text
    return str(round(Decimal(text), max(0, 2 - u.adjusted())))


# What may be placed on the clock face, for each question that asks it: (category, kind, label, more).
# `more` is what a tap still needs: a second tap (arc), or words (words).
_PALETTES: dict[str, tuple[tuple[str, str, str, str], ...]] = {
    "condition": (
        ("damage", "chip", "chip", ""),
        ("damage", "nick", "nick", ""),
        ("damage", "abrasion", "abrasion", ""),
        ("claw", "worn", "worn claw", ""),
        ("claw", "broken", "broken claw", ""),
        ("claw", "loose", "loose claw", ""),
        ("claw", "tight", "claw", ""),
        ("hidden", "setting", "hidden arc", "arc"),
    ),
    "damage": (
        ("damage", "chip", "chip", ""),
        ("damage", "nick", "nick", ""),
        ("damage", "abrasion", "abrasion", ""),
    ),
    "marks": (("agreed", "", "agreed mark", "words"),),
}


@register.simple_tag
def palette(name: str) -> list[dict[str, str]]:
    """What one may place on the clock face here."""
    return [
        {"category": category, "kind": kind, "label": gettext(label), "more": more}
        for category, kind, label, more in _PALETTES[name]
    ]
