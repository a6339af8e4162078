"""The questions of an examination: what is asked, in which words, with which instrument."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["pictures", "reading", "probe", "uv", "observation", "inscription", "characteristics"]


@dataclass(frozen=True)
class Question:
    """One page of an examination. `whats` are the names that the record uses; `instrument` the kind that measures."""

    name: str
    title: str
    kind: Kind
    whats: tuple[str, ...]
    hint: str = ""
    instrument: str = ""
    caution: str = ""  # which of gem's cautions belongs here

    @property
    def single(self) -> str:
        """The one thing that is asked, where there is only one."""
        return self.whats[0]


QUESTIONS = (
    Question("pictures", "Pictures", "pictures", ("photographs",), "Face-up first, then the side."),
    Question(
        "diameter",
        "Diameter",
        "reading",
        ("diameter_min_mm", "diameter_max_mm"),
        "Turn the stone; keep the smallest and the largest, each read three times.",
        "gauge",
    ),
    Question("depth", "Depth", "reading", ("depth_mm",), "Table to culet, three times.", "gauge"),
    Question("table", "Table", "reading", ("table_percent",), "In per cent of the mean girdle diameter.", "microscope"),
    Question("weight", "Weight", "reading", ("weight_ct",), "Lid shut, level, three times.", "scale"),
    Question("probe", "Thermal probe", "probe", ("thermal_probe",), "Known stones first, then three touches.", "probe"),
    Question(
        "uv-long",
        "Long-wave UV",
        "uv",
        ("uv_long_wave",),
        "In the dark box, at the usual distance.",
        "uv lamp",
        "uv",
    ),
    Question(
        "uv-short",
        "Short-wave UV",
        "uv",
        ("uv_short_wave",),
        "In the closed box only.",
        "uv lamp",
        "uv",
    ),
    Question("girdle", "Girdle", "observation", ("girdle_finish",), "How is it finished?"),
    Question("culet", "Culet", "observation", ("culet",), "How large is the point at the bottom?"),
    Question("inscription", "Inscription", "inscription", ("inscription",), "Read it as it stands, letter by letter."),
    Question(
        "characteristics",
        "Marks in the stone",
        "characteristics",
        ("characteristics",),
        "Choose what it is, then tap where it is.",
    ),
)
BY_NAME = {question.name: question for question in QUESTIONS}
# A weight is a matter of the loose stone; while it is set this is recorded without asking.
LOOSE_ONLY = "weight"

LABELS = {
    "photographs": "pictures",
    "diameter_min_mm": "smallest",
    "diameter_max_mm": "largest",
    "depth_mm": "depth",
    "table_percent": "table",
    "weight_ct": "weight",
    "thermal_probe": "thermal probe",
    "uv_long_wave": "long-wave",
    "uv_short_wave": "short-wave",
    "girdle_finish": "girdle",
    "culet": "culet",
    "inscription": "inscription",
    "characteristics": "marks in the stone",
}
STRENGTHS = ("none", "faint", "medium", "strong", "very strong")
COLOURS = ("blue", "white", "yellow", "orange", "green", "red", "other")
PROBE_RESULTS = ("diamond", "not diamond", "moissanite", "unclear")
OBSERVATIONS = {
    "girdle_finish": ("unpolished", "polished", "faceted"),
    "culet": ("none", "very small", "small", "medium", "large", "broken"),
}
CHARACTERISTICS = (
    "crystal", "cloud", "feather", "needle", "pinpoint", "twinning", "natural", "extra facet", "chip", "nick",
    "bruise", "abrasion", "cavity", "other",
)  # fmt: skip
WHY_NOT = (
    "hidden by the setting",
    "claws in the way",
    "too dirty",
    "no instrument at hand",
    "no time",
)


# As it comes over the counter, before it is cleaned, only pictures are taken.
AS_RECEIVED = ("pictures",)


def questions_for(setting: str, occasion: str = "") -> tuple[Question, ...]:
    """What is asked of a stone that is set or loose, on this occasion; loose, its weight comes first."""
    if occasion == "received":
        return tuple(BY_NAME[name] for name in AS_RECEIVED)
    weight = BY_NAME[LOOSE_ONLY]
    others = tuple(question for question in QUESTIONS if question is not weight)
    return (weight, *others) if setting == "loose" else others
