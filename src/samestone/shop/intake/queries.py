"""What the take-in shows: the questions of one job, what is recorded so far, and what may happen next."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext, gettext_noop

from samestone.shop import ledger
from samestone.shop.life import Station
from samestone.shop.models import DAMAGE, Entry, Examination, Job, Mark, Photograph, Stone

QUESTIONS = {
    "piece": "The piece",
    "stones": "Its stones",
    "condition": gettext_noop("Claws and damage"),
    "pictures": "Pictures as received",
    "clean": "Clean it?",
    "look": "Look and measure",
    "marks": "Agreed marks",
    "work": "Work and value",
    "receipt": "Receipt",
}


@dataclass(frozen=True)
class Step:
    """One question of the take-in with what is recorded for it so far."""

    question: str
    title: str
    lines: tuple[str, ...]
    done: bool


def first_stone(job: Job) -> Stone | None:
    """The stone that is examined: the first one described."""
    return job.stones.first()


def is_loose_stone(job: Job) -> bool:
    """Whether the job is about a stone without a piece around it."""
    piece = job.pieces.first()
    return piece is not None and piece.is_loose_stone


def title_of(job: Job, question: str) -> str:
    """The question in words; a loose stone has no claws."""
    return "Damage" if question == "condition" and is_loose_stone(job) else gettext(QUESTIONS[question])


def steps(job: Job) -> tuple[Step, ...]:
    """All questions with what is recorded; express jobs have only those that a clean at the counter needs."""
    lines = {question: _LINES[question](job) for question in QUESTIONS}
    shown = EXPRESS if job.express else tuple(QUESTIONS)
    return tuple(Step(name, title_of(job, name), lines[name], bool(lines[name])) for name in shown)


EXPRESS = ("piece", "stones", "condition", "pictures", "clean", "receipt")


def next_question(job: Job) -> str:
    """The first question without an answer; the receipt once all have one."""
    return next((step.question for step in steps(job) if not step.done), "receipt")


def question_after(job: Job, question: str) -> str:
    """The question that follows; the last one follows itself."""
    names = [step.question for step in steps(job)]
    return names[min(names.index(question) + 1, len(names) - 1)] if question in names else names[0]


def _piece_lines(job: Job) -> tuple[str, ...]:
    piece = job.pieces.first()
    if piece is None:
        return ()
    described = ", ".join(filter(None, (piece.kind, piece.metal, piece.size)))
    grams = f"{piece.grams} g" if piece.grams else ""
    return tuple(filter(None, (described, piece.words, grams, piece.condition)))


def _stone_lines(job: Job) -> tuple[str, ...]:
    return tuple(f"{stone.position}: {stone.words}" for stone in job.stones)


def _condition_lines(job: Job) -> tuple[str, ...]:
    marks = list(condition_marks(job))
    claws = sum(mark.category == "claw" for mark in marks)
    damage = sum(mark.category == "damage" for mark in marks)
    hidden = sum(mark.category == "hidden" for mark in marks)
    if not marks and not no_damage_said(job):
        return ()
    words = (
        f"{claws} {gettext('claws')}" if claws else "" if is_loose_stone(job) else gettext("no claws"),
        f"{hidden} hidden places" if hidden else "",
        f"{damage} place{'s' if damage > 1 else ''} damaged" if damage else "no damage seen",
    )
    return (", ".join(filter(None, words)),)


def no_damage_said(job: Job) -> bool:
    """Whether someone looked for damage and said that there is none."""
    looks = Examination.objects.filter(stone__piece__job=job, occasion=Examination.Occasion.RECEIVED)
    return any(look.observations.current().filter(what=DAMAGE).exists() for look in looks)


def _picture_lines(job: Job) -> tuple[str, ...]:
    count = len(photographs(job, Examination.Occasion.RECEIVED))
    return (f"{count} picture{'s' if count > 1 else ''}",) if count else ()


def cleaning(job: Job) -> str:
    """How it was cleaned, or why not; empty when neither is settled yet."""
    entry = ledger.history(job, "cleaned", "left uncleaned").last()
    if entry is None:
        return ""
    told = entry.payload.data
    return f"Not cleaned: {told['why']}" if "why" in told else "Cleaned: " + ", ".join(told["methods"])


def _clean_lines(job: Job) -> tuple[str, ...]:
    return tuple(filter(None, (cleaning(job),)))


def _look_lines(job: Job) -> tuple[str, ...]:
    examination = take_in_examination(job)
    if examination is None:
        return ()
    counts = (
        (examination.readings.current().count(), "reading"),
        (examination.reactions.current().count(), "reaction"),
        (examination.photographs.current().count(), "picture"),
        (examination.marks.current().filter(category="characteristic").count(), "characteristic"),
        (examination.not_examined.current().count(), "not looked at"),
    )
    parts = [f"{n} {word}{'s' if n > 1 and not word.startswith('not') else ''}" for n, word in counts if n]
    return (", ".join(parts),) if parts else ()


def has_looked(job: Job) -> bool:
    """Whether the take-in examination found anything that a later look can be compared with."""
    return bool(_look_lines(job))


def _mark_lines(job: Job) -> tuple[str, ...]:
    return tuple(f"“{mark.words}”" for mark in agreed_marks(job))


def _work_lines(job: Job) -> tuple[str, ...]:
    due = f"ready by {job.due:%d %b}" if job.due else ""
    return tuple(filter(None, (job.work, due))) if job.work else ()


def _receipt_lines(job: Job) -> tuple[str, ...]:
    receipt = ledger.last_receipt(job)
    return (f"No. {receipt.printed}",) if receipt else ()


_LINES = {
    "piece": _piece_lines,
    "stones": _stone_lines,
    "condition": _condition_lines,
    "pictures": _picture_lines,
    "clean": _clean_lines,
    "look": _look_lines,
    "marks": _mark_lines,
    "work": _work_lines,
    "receipt": _receipt_lines,
}


def condition_marks(job: Job) -> list[Mark]:
    """Claws, hidden arcs and damage as it came over the counter."""
    return _marks(job, "claw", "hidden", "damage")


def agreed_marks(job: Job) -> list[Mark]:
    """The marks that the client has seen, in the order they were agreed."""
    return _marks(job, "agreed")


def marks_on(stone: Stone, marks: list[Mark]) -> list[Mark]:
    """Those of the marks that lie on this stone."""
    return [mark for mark in marks if mark.examination.stone_id == stone.pk]


def _marks(job: Job, *categories: str) -> list[Mark]:
    return list(
        Mark.objects.current()
        .select_related("examination")
        .filter(
            examination__stone__piece__job=job,
            examination__occasion__in=(Examination.Occasion.RECEIVED, Examination.Occasion.TAKE_IN),
            category__in=categories,
        )
    )


def photographs(job: Job, occasion: str) -> list[Photograph]:
    rows = Photograph.objects.current()
    found = rows.filter(examination__stone__piece__job=job, examination__occasion=occasion)
    return list(found.select_related("examination__stone"))


def take_in_examination(job: Job) -> Examination | None:
    return (
        Examination.objects.filter(stone__piece__job=job, occasion=Examination.Occasion.TAKE_IN).order_by("-at").first()
    )


def notices(job: Job) -> tuple[Entry, ...]:
    """What the jeweller should know first."""
    return tuple(ledger.history(job, "notice written"))


def is_open_for_take_in(job: Job) -> bool:
    return job.station in {Station.TAKEN_IN.value, Station.CLEANED.value}
