"""What the browser may send to the records."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext, gettext_lazy

from samestone import gem
from samestone.shop.field import DecimalText
from samestone.shop.form import Form

GIRDLES = (
    "extremely thin", "thin", "medium", "medium to slightly thick", "slightly thick", "thick", "very thick",
    "extremely thick",
)  # fmt: skip
STRENGTHS = ("none", "faint", "medium", "strong", "very strong")
COLOURS = ("blue", "white", "yellow", "orange", "green", "red", "other")
HOW = ("telephone", "e-mail", "letter", "in person")
# What came to the bench and what left it: (field, label, way).
GRAMS = (
    ("came", "The piece, before", "in"),
    ("metal", "Metal and solder added", "added"),
    ("stones_in", "Stones added", "added"),
    ("went", "The piece, after", "out"),
    ("old_parts", "Old parts, bagged", "removed"),
    ("stones_out", "Stones kept apart", "removed"),
    ("filings", "Filings collected", "removed"),
)


def words(*choices: str, blank: str | None = None) -> list[tuple[str, str]]:
    first = [("", blank)] if blank is not None else []
    return [*first, *((choice, choice.replace("_", " ")) for choice in choices)]


class WeightForm(Form):
    cut = forms.ChoiceField(label="Cut", choices=lambda: words(*gem.weight.cut_names()))
    length = DecimalText(label="Length, or largest diameter", unit="mm", lowest="0.4", highest="60")
    width = DecimalText(label="Width, or smallest diameter", unit="mm", lowest="0.4", highest="60")
    depth = DecimalText(label="Depth", unit="mm", lowest="0.4", highest="60")
    table = DecimalText(label="Table", unit="%", lowest="20", highest="99", required=False)
    girdle = forms.ChoiceField(label="Girdle", choices=words(*GIRDLES))
    gravity = DecimalText(label="Specific gravity", lowest="1", highest="8")
    blocked = forms.BooleanField(label="The setting hides part of the outline", required=False)


class MaterialForm(Form):
    doubling = forms.ChoiceField(
        label="Doubled edges under the loupe",
        choices=words("seen", "not seen", "not seen in several directions", blank="not looked"),
        required=False,
    )
    electrical_probe = forms.ChoiceField(
        label="Electrical probe",
        choices=words("does not conduct", "conducts", "metal", blank="not tried"),
        required=False,
    )
    index = DecimalText(label="Refractive index", lowest="1.3", highest="3", required=False)
    over_limit = forms.BooleanField(label="Over the refractometer’s limit", required=False)
    in_air = DecimalText(label="Weight in air", unit="ct", lowest="0.01", highest="500", required=False)
    in_water = DecimalText(label="Weight in water", unit="ct", lowest="0", highest="500", required=False)
    water_c = DecimalText(label="Water", unit="°C", lowest="0", highest="40", required=False, initial="20")

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        if bool(cleaned.get("in_air")) != bool(cleaned.get("in_water")):
            self.add_error("in_water", "Give both weights, in air and in water, or neither.")
        return cleaned


class GramsForm(Form):
    """Grams in and out; what is left empty was not there."""

    scale_u = DecimalText(label="The scale’s u", unit="g", lowest="0.0001", highest="1", initial="0.01")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, label, way in GRAMS:
            needed = way in ("in", "out")
            self.fields[name] = DecimalText(
                label=label, unit="g", lowest="0", highest="2000", required=needed, initial=None
            )
        self.order_fields([name for name, _, _ in GRAMS])

    @property
    def items(self) -> list[gem.metal.Item]:
        """What was weighed, as gem takes it."""
        u = float(self.cleaned_data["scale_u"])
        ways: dict[str, gem.metal.Way] = {"in": "in", "added": "added", "out": "out", "removed": "removed"}
        return [
            gem.metal.Item(label, ways[way], float(self.cleaned_data[name]), u)
            for name, label, way in GRAMS
            if self.cleaned_data[name]
        ]


class AttemptForm(Form):
    how = forms.ChoiceField(label="How", choices=words(*HOW), widget=forms.RadioSelect)
    words = forms.CharField(label="What came of it", max_length=300)


class ExportForm(Form):
    to = forms.ChoiceField(
        label="For whom", choices=words("the insurer", "the police", "the client", "a court"), widget=forms.RadioSelect
    )
    reference = forms.CharField(label="Their reference", max_length=80, required=False)
    name = forms.BooleanField(label="With the client’s name", required=False)
    value = forms.BooleanField(label="With the client’s own figure of its value", required=False)


class StrayForm(Form):
    """A stone without an envelope: whatever is known of it."""

    among = forms.ChoiceField(
        label="Look among",
        choices=[("open", "open jobs"), ("all", "all records")],
        widget=forms.RadioSelect,
        initial="open",
    )
    setting = forms.ChoiceField(
        label="The stone is", choices=words("loose", "set"), widget=forms.RadioSelect, initial="loose"
    )
    weight_ct = DecimalText(label="Weight", unit="ct", lowest="0.005", highest="200", required=False)
    diameter_min_mm = DecimalText(label="Smallest diameter", unit="mm", lowest="0.4", highest="60", required=False)
    diameter_max_mm = DecimalText(label="Largest diameter", unit="mm", lowest="0.4", highest="60", required=False)
    depth_mm = DecimalText(label="Depth", unit="mm", lowest="0.4", highest="60", required=False)
    table_percent = DecimalText(label="Table", unit="%", lowest="20", highest="99", required=False)
    uv_strength = forms.ChoiceField(
        label="Long-wave glow", choices=words(*STRENGTHS, blank="not looked"), required=False
    )
    uv_colour = forms.ChoiceField(
        label=gettext_lazy("Its colour"), choices=words(*COLOURS, blank="none"), required=False
    )

    MEASURED = ("weight_ct", "diameter_min_mm", "diameter_max_mm", "depth_mm", "table_percent")

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        if not self.errors and not any(cleaned.get(name) for name in self.MEASURED):
            raise forms.ValidationError("Weigh it or measure it: give at least one number.")
        if cleaned.get("uv_strength") not in (None, "", "none") and not cleaned.get("uv_colour"):
            self.add_error("uv_colour", gettext("It glows: choose its colour."))
        return cleaned
