"""What the browser may send about instruments."""

from __future__ import annotations

import csv
import io
from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy

from samestone.metrology import diary
from samestone.shop.field import DecimalText
from samestone.shop.form import Form
from samestone.shop.instrument import KINDS

WEIGHT_CLASSES = ("E2", "F1", "F2", "M1")
TOUCHES = ("diamond", "not diamond", "metal")
MOST_TRIALS = 5000


def words(*choices: str) -> list[tuple[str, str]]:
    return [(choice, choice) for choice in choices]


class Indications(forms.CharField):
    """Several numbers in one field, with blanks between them; kept as typed."""

    def __init__(self, *, unit: str = "", most: int = 10, **kwargs: Any) -> None:
        self.unit, self.most = unit, most
        kwargs.setdefault("widget", forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}))
        super().__init__(max_length=200, **kwargs)

    def clean(self, value: Any) -> list[str]:
        texts = str(super().clean(value)).replace(",", ".").split()
        for text in texts:
            try:
                finite = Decimal(text).is_finite() and "e" not in text.lower()
            except InvalidOperation:
                finite = False
            if not finite or abs(Decimal(text)) > 100000:
                raise forms.ValidationError(f"“{text}” is not a number; expected some such as 5.00 5.01 5.00.")
        if len(texts) > self.most:
            raise forms.ValidationError(f"{len(texts)} numbers; at most {self.most}.")
        return texts


class NewInstrumentForm(Form):
    kind = forms.ChoiceField(label="Kind", choices=words(*KINDS), widget=forms.RadioSelect)
    name = forms.CharField(label="Its name here", max_length=60)


class ZeroForm(Form):
    title = "Zero"
    help = "Closed gauge or empty scale. Three times."
    shows = Indications(label="It shows", help_text="for example 0.00 0.01 0.00")


class BlocksForm(Form):
    title = "Gauge blocks"
    help = "Two or three sizes across the range in use, each once or more."
    block_1 = DecimalText(label="Block", unit="mm", lowest="0.1", highest="200", initial="2")
    shows_1 = Indications(label="It shows", unit="mm")
    block_2 = DecimalText(label="Block", unit="mm", lowest="0.1", highest="200", initial="5")
    shows_2 = Indications(label="It shows", unit="mm")
    block_3 = DecimalText(label="Block", unit="mm", lowest="0.1", highest="200", required=False)
    shows_3 = Indications(label="It shows", unit="mm", required=False)
    u_block = DecimalText(
        label="The blocks’ own u", unit="mm", lowest="0", highest="0.05", initial="0.0005", help_text="from their paper"
    )

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        if bool(cleaned.get("block_3")) != bool(cleaned.get("shows_3")):
            self.add_error("shows_3", "Give the third block and what it shows, or neither.")
        return cleaned


class WeightForm(Form):
    title = "Known weight"
    help = "Lid shut, level, three times. The class stands on the weight’s paper (OIML R 111)."
    nominal_g = DecimalText(label="Weight", unit="g", lowest="0.1", highest="100", initial="10")
    weight_class = forms.ChoiceField(label="Class", choices=words(*WEIGHT_CLASSES), initial="F1")
    shows = Indications(label="It shows", unit="ct", help_text="10 g is 50 ct")


class StonesForm(Form):
    title = "Known stones"
    help = gettext_lazy("Three touches on a known diamond, three on a known imitation. A claw reads as metal.")
    diamond_1 = forms.ChoiceField(label="Diamond, 1st", choices=words(*TOUCHES), initial="diamond")
    diamond_2 = forms.ChoiceField(label="2nd", choices=words(*TOUCHES), initial="diamond")
    diamond_3 = forms.ChoiceField(label="3rd", choices=words(*TOUCHES), initial="diamond")
    imitation_1 = forms.ChoiceField(label="Imitation, 1st", choices=words(*TOUCHES), initial="not diamond")
    imitation_2 = forms.ChoiceField(label="2nd", choices=words(*TOUCHES), initial="not diamond")
    imitation_3 = forms.ChoiceField(label="3rd", choices=words(*TOUCHES), initial="not diamond")


class LampForm(Form):
    title = "UV box"
    help = "The agreed distance, and the shop’s own stone that glows."
    distance_mm = DecimalText(label="Distance now", unit="mm", lowest="1", highest="1000")
    agreed_mm = DecimalText(label="Distance agreed", unit="mm", lowest="1", highest="1000")
    seen = forms.ChoiceField(label="The stone glows", choices=words(*diary.STRENGTHS), widget=forms.RadioSelect)
    expected = forms.ChoiceField(label="It is known to glow", choices=words(*diary.STRENGTHS))


class MicrometerForm(Form):
    title = "Stage micrometer"
    help = "Photograph it as stones are photographed. The first scale goes on file; later ones are held against it."
    photograph = forms.FileField(label="Its picture", required=False)
    division_um = DecimalText(
        label="One division", unit="µm", lowest="0.1", highest="5000", initial="10", required=False
    )
    magnification = DecimalText(
        label="Magnification set", unit="×", lowest="0.01", highest="10000", required=False,
        help_text="as the instrument shows it",
    )  # fmt: skip
    um_per_px = DecimalText(
        label="Or the scale, measured elsewhere", unit="µm per pixel", lowest="0.001", highest="1000", required=False
    )
    u = DecimalText(label="Its u", unit="µm per pixel", lowest="0.000001", highest="100", required=False)

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        if cleaned.get("photograph"):
            if not cleaned.get("division_um"):
                self.add_error("division_um", "Say how far apart the rulings are.")
        elif not (cleaned.get("um_per_px") and cleaned.get("u")):
            self.add_error("photograph", "Choose its picture, or give the scale and its u.")
        return cleaned


CHECK_FORMS: dict[str, type[forms.Form]] = {
    "zero": ZeroForm,
    "gauge blocks": BlocksForm,
    "known weight": WeightForm,
    "known stones": StonesForm,
    "uv box": LampForm,
    "stage micrometer": MicrometerForm,
}


class StudyForm(Form):
    """The readings of a gauge study, from a file or typed: one line for each reading."""

    file = forms.FileField(label="CSV file", required=False)
    typed = forms.CharField(
        label="Or the lines themselves",
        required=False,
        max_length=400_000,
        widget=forms.Textarea(attrs={"rows": 6, "placeholder": "part,appraiser,value\n1,Ines,6.47\n1,Ines,6.46"}),
        help_text="columns part, appraiser, value; each person measures each part as often",
    )

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        file = cleaned.get("file")
        text = _text_of(file) if file else cleaned.get("typed", "")
        if not text.strip():
            raise forms.ValidationError("Choose a CSV file, or type the lines.")
        cleaned["text"], cleaned["rows"] = text, read_trials(text)
        return cleaned


def _text_of(file: Any) -> str:
    if file.size > 400_000:
        raise forms.ValidationError(f"The file has {file.size // 1000} kB; a study has at most 400.")
    try:
        return str(file.read().decode("utf-8-sig"))
    except UnicodeDecodeError:
        raise forms.ValidationError("The file is not text in UTF-8; save it as CSV (UTF-8).") from None


def read_trials(text: str) -> list[tuple[str, str, float]]:
    """Part, appraiser and value of each line; refuses, by line, what cannot be read."""
    lines = csv.DictReader(io.StringIO(text.strip()), skipinitialspace=True)
    missing = {"part", "appraiser", "value"} - {(name or "").strip().lower() for name in lines.fieldnames or ()}
    if missing:
        raise forms.ValidationError(
            f"The first line lacks {', '.join(sorted(missing))}; it must name part, appraiser, value."
        )
    rows: list[tuple[str, str, float]] = []
    for number, line in enumerate(lines, start=2):
        row = {(name or "").strip().lower(): (value or "") for name, value in line.items() if isinstance(value, str)}
        if len(rows) >= MOST_TRIALS:
            raise forms.ValidationError(f"More than {MOST_TRIALS} readings.")
        try:
            rows.append((row["part"].strip(), row["appraiser"].strip(), float(row["value"].replace(",", "."))))
        except (KeyError, ValueError):
            found = row.get("value", "")
            raise forms.ValidationError(f"Line {number}: value is “{found}”; expected a number.") from None
    return rows
