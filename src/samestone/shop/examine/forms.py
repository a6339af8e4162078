"""What the browser may send while a stone is looked at; numbers stay as typed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext, gettext_lazy

from samestone.gem import PROPERTIES
from samestone.shop import plausible
from samestone.shop.examine import question as asked
from samestone.shop.field import DecimalText
from samestone.shop.form import Form
from samestone.shop.instrument import CAMERAS, same_instrument
from samestone.shop.models import Examination, Instrument, Photograph, Reaction
from samestone.shop.photograph import VIEWS
from samestone.shop.tool import ToolField
from samestone.shop.wording import said

TURNS = 3


def words(*choices: str) -> list[tuple[str, str]]:
    return [(choice, choice) for choice in choices]


class ReadingsForm(Form):
    """Three indications for each property of one question, and the instrument; one indication is enough, and said."""

    once = forms.CharField(max_length=36, required=False, widget=forms.HiddenInput)

    def __init__(
        self,
        question: asked.Question,
        examination: Examination,
        *args: Any,
        earlier: Mapping[str, Sequence[str]] | None = None,
        **kwargs: Any,
    ) -> None:
        """`earlier`: indications of an earlier look that these must fit; none where this look is blind."""
        super().__init__(*args, **kwargs)
        self.question, self.examination, self.earlier = question, examination, earlier
        self.missing = {
            row.what: said(row.why) for row in examination.not_examined.current() if row.what in question.whats
        }
        before = {row.property: row for row in examination.readings.current() if row.property in question.whats}
        for what in question.whats:
            typed = before[what].indications if what in before else []
            for turn in range(TURNS):
                shown = typed[turn] if turn < len(typed) else None
                self.fields[f"{what}-{turn}"] = self._field(what, turn, shown)
        unit = PROPERTIES[question.single].unit
        used = next((row.instrument_id for row in before.values()), None)
        tool = ToolField(label="Read with", empty_label=None)
        tool.offer(Instrument.objects.filter(unit=unit), used=used)
        self.fields["instrument"] = tool

    def _field(self, what: str, turn: int, shown: str | None) -> forms.Field:
        known = PROPERTIES[what]
        label = f"{known.label}, {turn + 1} of {TURNS}"
        field = DecimalText(unit=known.unit, lowest="0", highest="100000", label=label, required=False, initial=shown)
        field.widget.attrs["aria-label"] = label
        if turn == 0 and what == self.question.single and not shown:
            field.widget.attrs["autofocus"] = True
        return field

    @property
    def rows(self) -> list[dict[str, Any]]:
        """For the page: each property with its three fields and what is wrong with it."""
        return [
            {
                "what": what,
                "label": asked.LABELS[what],
                "unit": PROPERTIES[what].unit,
                "fields": [self[f"{what}-{turn}"] for turn in range(TURNS)],
                "errors": [error for turn in range(TURNS) for error in self[f"{what}-{turn}"].errors],
                "missing": self.missing.get(what, ""),
            }
            for what in self.question.whats
        ]

    @property
    def indications(self) -> dict[str, list[str]]:
        """What was typed, property by property, without the empty fields."""
        typed = {
            what: [text for turn in range(TURNS) if (text := self.cleaned_data.get(f"{what}-{turn}"))]
            for what in self.question.whats
        }
        return {what: texts for what, texts in typed.items() if texts}

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        if self.errors:
            return cleaned
        typed = self.indications
        for what in self.question.whats:
            if what not in typed and what not in self.missing:
                self.add_error(f"{what}-0", f"Type the {PROPERTIES[what].label}, or tap “could not look”.")
        if not self.errors:
            self._refuse_slips(typed)
        return cleaned

    def _refuse_slips(self, typed: dict[str, list[str]]) -> None:
        """Against the other readings of this same examination; against an earlier one only where it was given."""
        beside = {row.property: list(row.indications) for row in self.examination.readings.current()}
        for slip in plausible.slips(typed, cut=self.examination.stone.cut, beside=beside, earlier=self.earlier):
            self.add_error(f"{slip.what}-{slip.turn}", slip.words)


class UvForm(Form):
    strength = forms.ChoiceField(choices=words(*asked.STRENGTHS), widget=forms.RadioSelect, label="How strong")
    colour = forms.ChoiceField(
        choices=words(*asked.COLOURS), widget=forms.RadioSelect, label=gettext_lazy("Which colour"), required=False
    )
    instrument = ToolField(label="Lamp", required=False)
    distance_mm = DecimalText(label="Distance", unit="mm", lowest="1", highest="1000", required=False)
    once = forms.CharField(max_length=36, required=False, widget=forms.HiddenInput)

    def __init__(self, test: str, *args: Any, **kwargs: Any) -> None:
        """`test` is the record's name; the lamp offered is the one used last for it, and short wave has none before."""
        super().__init__(*args, **kwargs)
        lamp: Any = self.fields["instrument"]
        before = Reaction.objects.current().filter(test=test).exclude(instrument=None).last()
        lamp.offer(Instrument.objects.filter(kind="uv lamp"), used=before.instrument_id if before else None)
        if not before and test == "uv_short_wave":
            lamp.initial = None

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        if cleaned.get("strength") == "none":
            cleaned["colour"] = ""
        elif cleaned.get("strength") and not cleaned.get("colour"):
            self.add_error("colour", gettext("It glows: choose its colour."))
        return cleaned


class ProbeForm(Form):
    result = forms.ChoiceField(choices=words(*asked.PROBE_RESULTS), widget=forms.RadioSelect, label="It shows")
    instrument = ToolField(label="Probe", required=False)
    once = forms.CharField(max_length=36, required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        probe: Any = self.fields["instrument"]
        probe.offer(Instrument.objects.filter(kind="probe"))


class ObservationForm(Form):
    once = forms.CharField(max_length=36, required=False, widget=forms.HiddenInput)

    def __init__(self, what: str, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["value"] = forms.ChoiceField(
            choices=words(*asked.OBSERVATIONS[what]), widget=forms.RadioSelect, label="It is"
        )


class InscriptionForm(Form):
    value = forms.CharField(label="As it reads", max_length=120, widget=forms.TextInput(attrs={"autocomplete": "off"}))
    once = forms.CharField(max_length=36, required=False, widget=forms.HiddenInput)


class PictureForm(Form):
    """`anyway`: keep it though it does not count. Lamp and distance belong to a picture under ultraviolet.

    `instrument` is the camera or microscope of the diary; empty for any other.
    """

    view = forms.ChoiceField(choices=words(*VIEWS))
    photograph = forms.FileField()
    instrument = ToolField(required=False, empty_label="another camera", label="Taken with")
    simulated = forms.BooleanField(required=False)
    anyway = forms.BooleanField(required=False)
    lamp = forms.CharField(max_length=60, required=False)
    distance_mm = DecimalText(lowest="1", highest="1000", required=False)
    once = forms.CharField(max_length=36, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        tool: Any = self.fields["instrument"]
        tool.offer(Instrument.objects.filter(kind__in=CAMERAS))
        newest = Photograph.objects.select_related("instrument").order_by("pk").last()
        if newest:
            sound = tool.queryset.exclude(pk__in=tool.failed)
            again = sound.filter(same_instrument(newest.instrument)).first() if newest.instrument else None
            tool.initial = again.pk if again else (None if newest.instrument is None else tool.initial)

    @property
    def notes(self) -> dict[str, str]:
        """What is kept with the reading, of an ultraviolet picture only."""
        if self.cleaned_data["view"] != "uv":
            return {}
        return {name: self.cleaned_data[name] for name in ("lamp", "distance_mm") if self.cleaned_data[name]}


class FrameForm(Form):
    """What comes with a live frame: its view, what it is taken with, and how wide the picture will be that is kept."""

    view = forms.CharField(max_length=30, required=False)
    instrument = forms.ModelChoiceField(Instrument.objects.filter(kind__in=CAMERAS, retired_at=None), required=False)
    width_px = forms.IntegerField(min_value=1, max_value=100_000, required=False)


class CharacteristicForm(Form):
    """A tap: `r` in girdle radii, the angle in degrees counter-clockwise from 3 o'clock."""

    kind = forms.ChoiceField(choices=words(*asked.CHARACTERISTICS))
    r = DecimalText(highest="1.1")
    angle_deg = DecimalText(lowest="-360", highest="720")
    once = forms.CharField(max_length=36, required=False)


class NotExaminedForm(Form):
    """`why` is “what|reason”, one tap."""

    why = forms.CharField(max_length=200)

    def clean_why(self) -> tuple[str, str]:
        what, _, why = self.cleaned_data["why"].partition("|")
        if what not in asked.LABELS or not why.strip():
            raise forms.ValidationError("Say what could not be looked at, and why.")
        return what, why.strip()[:120]


class SpotForm(Form):
    """What the jeweller says of one feature after cleaning."""

    spot = forms.CharField(max_length=3)
    said = forms.ChoiceField(choices=words("in the stone", "agreed", "gone: it was dirt", "nothing there"))
    kind = forms.ChoiceField(choices=words(*asked.CHARACTERISTICS), required=False)
    words = forms.CharField(max_length=200, required=False)


class TappedClawForm(Form):
    """Two taps on a picture: where on the ring, how far apart, and how finely one can tap."""

    angle_deg = forms.FloatField(min_value=0, max_value=360)
    width_px = forms.FloatField(min_value=1, max_value=20_000)
    u_px = forms.FloatField(min_value=0.05, max_value=500)
