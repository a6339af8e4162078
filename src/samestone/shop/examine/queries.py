"""What the pages of an examination show: this examination only, never an earlier one."""

from __future__ import annotations

from dataclasses import dataclass

from samestone.gem import PROPERTIES
from samestone.shop.examine import question as asked
from samestone.shop.examine.actions import answered_whats
from samestone.shop.models import Examination, Mark, Photograph
from samestone.shop.wording import said


@dataclass(frozen=True)
class Step:
    """One question with what this examination says to it so far."""

    name: str
    title: str
    line: str
    done: bool
    missing: bool


def steps(examination: Examination) -> tuple[Step, ...]:
    """Every question of this examination, answered or not."""
    answered = answered_whats(examination)
    told = _told(examination)
    missing = {row.what: said(row.why) for row in examination.not_examined.current()}
    return tuple(
        Step(
            question.name,
            question.title,
            " · ".join(told[what] for what in question.whats if what in told)
            or "; ".join(missing[what] for what in question.whats if what in missing),
            all(what in answered for what in question.whats),
            all(what in missing for what in question.whats),
        )
        for question in asked.questions_for(examination.setting, examination.occasion)
    )


def summary(examination: Examination) -> tuple[tuple[str, str, bool], ...]:
    """Everything that was asked, as (name, what was found or why not, whether it was found)."""
    told, missing = _told(examination), {row.what: said(row.why) for row in examination.not_examined.current()}
    units = {row.property: f" {PROPERTIES[row.property].unit}" for row in examination.readings.current()}
    return tuple(
        (
            question.title if len(question.whats) == 1 else f"{question.title}, {asked.LABELS[what]}",
            told.get(what, missing.get(what, "not looked at")) + units.get(what, ""),
            what in told,
        )
        for question in asked.questions_for(examination.setting, examination.occasion)
        for what in question.whats
    )


def next_question(examination: Examination) -> str:
    """The first question without an answer; “finish” when all have one."""
    return next((step.name for step in steps(examination) if not step.done), "finish")


def question_after(examination: Examination, name: str) -> str:
    """The next unanswered question after this one, else the first unanswered one."""
    all_steps = steps(examination)
    place = next((n for n, step in enumerate(all_steps) if step.name == name), -1)
    later = (step.name for step in all_steps[place + 1 :] if not step.done)
    return next(later, next_question(examination))


def unanswered(examination: Examination) -> tuple[str, ...]:
    return tuple(step.title for step in steps(examination) if not step.done)


def plate(examination: Examination) -> Photograph | None:
    """The picture to have in sight while other things are asked: the newest face-up that counts, else the newest."""
    newest = examination.photographs.current().order_by("-pk")
    return newest.filter(view="face-up", usable=True).first() or newest.first()


def pictures(examination: Examination) -> tuple[Photograph, ...]:
    return tuple(examination.photographs.current())


def characteristics(examination: Examination) -> tuple[Mark, ...]:
    return tuple(examination.marks.current().filter(category="characteristic"))


def _told(examination: Examination) -> dict[str, str]:
    told = {row.property: " ".join(row.indications) for row in examination.readings.current()}
    for reaction in examination.reactions.current():
        told[reaction.test] = " ".join(filter(None, (reaction.strength, reaction.colour, reaction.result)))
    told |= {row.what: row.value for row in examination.observations.current()}
    if count := len(pictures(examination)):
        told["photographs"] = f"{count} picture{'s' if count > 1 else ''}"
    if count := len(characteristics(examination)):
        told["characteristics"] = f"{count} mark{'s' if count > 1 else ''}"
    return told
