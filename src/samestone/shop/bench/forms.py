"""What the browser may send to the bench."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, cast

from django import forms

from samestone.shop import agreement, plausible
from samestone.shop.care import materials, treatments
from samestone.shop.field import DecimalText
from samestone.shop.form import Form
from samestone.shop.models import Instrument, Member, Stone
from samestone.shop.tool import ToolField

PLACES = ("safe", "bench", "counter", "setter's bench", "out for work")
MARK_SEEN = ("yes", "no", "could not look")
_WEIGHINGS = ("first", "second", "third")


class HandOverForm(Form):
    """Ten to thirty seconds: the number, one mark, grams, where to."""

    number_read = forms.CharField(
        label="Number on the envelope",
        max_length=20,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autofocus": True}),
    )
    mark_seen = forms.ChoiceField(
        label="The mark is there", choices=[(word, word) for word in MARK_SEEN], widget=forms.RadioSelect
    )
    grams = DecimalText(label="Weight of the piece", unit="g", lowest="0.05", highest="2000", required=False)
    stones = forms.IntegerField(label="Stones counted", min_value=0, max_value=2000, required=False)
    to = forms.ChoiceField(label="Goes to", choices=[(place, place) for place in PLACES], widget=forms.RadioSelect)
    holder = forms.ModelChoiceField(
        label="In whose hands", queryset=Member.objects.none(), required=False, empty_label="no one, it lies there"
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        cast("forms.ModelChoiceField[Member]", self.fields["holder"]).queryset = Member.objects.filter(is_active=True)


class LooseWeightForm(Form):
    """Three indications of the loose weight; fewer are taken, and said."""

    first = DecimalText(label="1st", unit="ct", lowest="0.005", highest="200")
    second = DecimalText(label="2nd", unit="ct", lowest="0.005", highest="200", required=False)
    third = DecimalText(label="3rd", unit="ct", lowest="0.005", highest="200", required=False)
    instrument = ToolField(label="Scale", empty_label=None)
    once = forms.CharField(max_length=36, required=False, widget=forms.HiddenInput)

    def __init__(
        self, *args: Any, stone: Stone | None = None, sizes: Mapping[str, Sequence[str]] | None = None, **kwargs: Any
    ) -> None:
        """`sizes`: what was measured of the stone, as indications by property; a weight that cannot be is refused."""
        super().__init__(*args, **kwargs)
        self.stone, self.sizes = stone, sizes or {}
        cast("ToolField", self.fields["instrument"]).offer(Instrument.objects.filter(kind="scale"))

    @property
    def indications(self) -> list[str]:
        return [text for name in _WEIGHINGS if (text := self.cleaned_data.get(name))]

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        if self.stone is None or self.errors:
            return cleaned
        for slip in plausible.slips({"weight_ct": self.indications}, cut=self.stone.cut, earlier=self.sizes):
            self.add_error(None, slip.words)
        return cleaned


class TurnedOutForm(Form):
    """What a stone is, now that someone has looked closely."""

    material = forms.ChoiceField(label="It is", choices=materials)
    treatment = forms.ChoiceField(label="Treatment", choices=treatments)


class NewsForm(Form):
    words = forms.CharField(label="What was found", max_length=400, widget=forms.Textarea(attrs={"rows": 2}))
    question = forms.CharField(label="What to ask the client", max_length=400, required=False)
    price = forms.CharField(label="New price, if it changes", max_length=60, required=False)


class AnswerForm(Form):
    words = forms.CharField(label="What the client said", max_length=400)
    agreed = forms.ChoiceField(choices=[("yes", "yes"), ("no", "no")], widget=forms.RadioSelect, label="Agreed")
    changes = forms.MultipleChoiceField(
        label="On the stone itself, if anything",
        choices=agreement.CHANGES,
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )


class InspectionForm(Form):
    against_instruction = forms.CharField(label="Looked at against the instruction", max_length=400)
