"""What the browser may send to the take-in."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy, gettext_noop

from samestone.shop import agreement, row
from samestone.shop.care import materials, treatments
from samestone.shop.field import DecimalText
from samestone.shop.form import Form
from samestone.shop.models import LOOSE_STONE, Stone

PIECES = ("ring", "pendant", "earrings", "bracelet", "necklace", "brooch", LOOSE_STONE, "other")
CUTS = ("round brilliant", "oval", "princess", "emerald", "cushion", "pear", "marquise", "heart", "baguette", "other")
RISKS = (
    "heat near the stone",
    gettext_noop("old or worn claws"),
    gettext_noop("hidden damage under claws"),
    "ultrasonic and loose stones",
    "thin shank",
    "engraving may soften",
)


def choices(*words: str) -> list[tuple[str, Any]]:
    """What is kept, and what stands on the button."""
    return [(word, gettext_lazy(word)) for word in words]


class NewJobForm(Form):
    name = forms.CharField(
        label="Client", max_length=120, required=False, widget=forms.TextInput(attrs={"autofocus": True})
    )
    phone = forms.CharField(label="Phone", max_length=60, required=False)
    email = forms.EmailField(label="E-mail", required=False)
    envelope = forms.CharField(label="Envelope number", max_length=20)
    express = forms.BooleanField(label="Only a clean, the client waits", required=False)
    once = forms.CharField(max_length=36, required=False, widget=forms.HiddenInput)


class PieceForm(Form):
    kind = forms.ChoiceField(label="Piece", choices=choices(*PIECES), widget=forms.RadioSelect)
    words = forms.CharField(label="What it looks like", max_length=400, widget=forms.Textarea(attrs={"rows": 2}))
    condition = forms.CharField(
        label="Condition", max_length=400, required=False, widget=forms.Textarea(attrs={"rows": 2})
    )
    metal = forms.CharField(label="Metal", max_length=80, required=False)
    hallmark = forms.CharField(label="Hallmark, as read", max_length=120, required=False)
    size = forms.CharField(label="Size", max_length=40, required=False)
    grams = DecimalText(label="Weight of the piece", unit="g", lowest="0.05", highest="2000", required=False)

    def clean(self) -> dict[str, Any]:
        """A loose stone has no metal, whatever was typed before; it is weighed in carats, with the stone."""
        cleaned: dict[str, Any] = super().clean() or {}
        if cleaned.get("kind") == LOOSE_STONE:
            cleaned |= dict.fromkeys(("metal", "hallmark", "size", "grams"), "")
        return cleaned


class StoneForm(Form):
    position = forms.CharField(label="Where it sits", max_length=60, initial=gettext_lazy("centre"))
    count = forms.IntegerField(label="How many alike", min_value=1, max_value=500, initial=1)
    material = forms.ChoiceField(label="Said to be", choices=materials)
    treatment = forms.ChoiceField(label="Treatment", choices=treatments, initial="unknown")
    cut = forms.ChoiceField(label="Cut", choices=choices(*CUTS), widget=forms.RadioSelect)
    basis = forms.ChoiceField(label="On what basis", choices=choices(*Stone.Basis.values), widget=forms.RadioSelect)
    places = forms.CharField(
        label="Places in the row",
        max_length=120,
        required=False,
        help_text="of small stones: from the left as worn, such as 1-2, 4-6",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )

    def __init__(self, *args: Any, loose: bool = False, others: Iterable[Stone] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.taken = {place.number: place.stone for place in row.position_map(others)}
        if loose:
            del self.fields["places"]
            position = self.fields["position"]
            position.label, position.initial = "Which one", "loose"

    def clean(self) -> dict[str, Any]:
        """As many places as stones, and none that other stones have."""
        cleaned: dict[str, Any] = super().clean() or {}
        try:
            places = row.read_places(cleaned.get("places", ""))
        except ValueError as error:
            self.add_error("places", str(error))
            return cleaned
        if places and len(places) != cleaned.get("count"):
            self.add_error("places", f"{len(places)} places for {cleaned.get('count')} stones; expected one for each.")
        for number in places:
            if number in self.taken:
                self.add_error("places", f"Place {number} is taken: {self.taken[number].words}.")
        return cleaned | ({"places": row.write_places(places)} if "places" in cleaned else {})


class ClawsForm(Form):
    count = forms.IntegerField(min_value=0, max_value=24)


class MarkForm(Form):
    """A tap on the clock face. `r` in girdle radii, angles in degrees counter-clockwise from 3 o'clock."""

    category = forms.ChoiceField(choices=choices("damage", "agreed", "claw", "hidden"))
    kind = forms.CharField(max_length=30, required=False)
    r = DecimalText(highest="1.6", required=False)
    angle_deg = DecimalText(lowest="-360", highest="720")
    to_deg = DecimalText(lowest="-360", highest="720", required=False)
    size = DecimalText(highest="2", required=False)
    words = forms.CharField(max_length=200, required=False)
    once = forms.CharField(max_length=36, required=False)

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        if cleaned.get("category") == "agreed" and not cleaned.get("words"):
            self.add_error("words", "Write the mark in the client's own words: they must know it again.")
        if cleaned.get("category") == "hidden" and not cleaned.get("to_deg"):
            self.add_error("to_deg", "A hidden arc has two ends; tap the second one.")
        return cleaned


class CleanForm(Form):
    tight = forms.ChoiceField(
        label="Are all stones tight?",
        choices=choices("yes", "no", "could not look"),
        widget=forms.RadioSelect,
    )
    methods = forms.MultipleChoiceField(
        label="Cleaned how", choices=choices("by hand", "ultrasonic", "steam"), widget=forms.CheckboxSelectMultiple
    )
    careful = forms.BooleanField(label="I have weighed what needs care", required=False)

    def __init__(self, *args: Any, loose: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.loose = loose
        if loose:
            del self.fields["tight"]

    def clean(self) -> dict[str, Any]:
        """Nothing that is not held can be loosened."""
        cleaned: dict[str, Any] = super().clean() or {}
        return {"tight": "yes", **cleaned} if self.loose else cleaned


class WorkForm(Form):
    work = forms.CharField(label="Work agreed", max_length=1000, widget=forms.Textarea(attrs={"rows": 3}))
    risks = forms.MultipleChoiceField(
        label="Talked about", choices=choices(*RISKS), required=False, widget=forms.CheckboxSelectMultiple
    )
    changes = forms.MultipleChoiceField(
        label="Changed on the stone itself, if anything",
        choices=agreement.CHANGES,
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    due = forms.DateField(
        label="Ready by", required=False, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    declared_value = forms.CharField(label="Value, the client's own figure", max_length=60, required=False)
    gift = forms.BooleanField(label="A surprise: keep the value off the paper", required=False)
    collector = forms.CharField(label="Who may collect it, if someone else", max_length=120, required=False)


class NoticeForm(Form):
    words = forms.CharField(label="What you noticed", max_length=300)
    to_say = forms.CharField(label="What to say to the client", max_length=300, required=False)
