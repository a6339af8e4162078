"""What cleaning and the bench do to the stones of a job; the answers are gem's, the stricter of two sources wins."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from samestone.gem import care
from samestone.shop.models import Job, Stone
from samestone.shop.wording import said

BY_HAND = "by hand"  # what is left when nothing else may be done
PROCESSES = ("ultrasonic", "steam")
UNKNOWN = "unknown"
OFTEN = ("diamond", "sapphire", "ruby", "emerald", "moissanite", "cubic_zirconia")


@dataclass(frozen=True)
class Answer:
    """What a way of cleaning does to one stone. `verdict` is usual | caution | never."""

    stone: Stone
    process: str
    verdict: str
    why: str
    source: str

    @property
    def says(self) -> str:
        return {"usual": "usual here", "caution": "with care", "never": "not here"}[self.verdict]

    @property
    def summary(self) -> str:
        treatment = "treatment unknown" if self.stone.treatment == UNKNOWN else self.stone.treatment
        return f"{self.stone.position} {self.stone.material}, {treatment}; {self.process}: {self.verdict}"


def materials() -> list[tuple[str, str]]:
    """Those that come over the counter most often first, then every one that the care table knows."""
    names = [*OFTEN, *(name for name in care.material_names() if name not in OFTEN), "other"]
    return [(name, name.replace("_", " ")) for name in names]


def treatments() -> list[tuple[str, str]]:
    return [(name, name) for name in (UNKNOWN, "none", *care.treatment_names())]


def answers_for(job: Job) -> tuple[Answer, ...]:
    """For each stone of the job, what ultrasonic and steam would do to it."""
    return tuple(_answer(stone, process) for stone in job.stones for process in PROCESSES)


def bench_warnings(job: Job) -> tuple[Answer, ...]:
    """What the bench must leave alone or do with care, “never” first; one line for each process and kind of stone."""
    found: dict[tuple[str, str, str], Answer] = {}
    for stone in job.stones:
        for process in care.PROCESSES:
            answer = _answer(stone, process)
            if answer.verdict != "usual":
                found.setdefault((process, stone.material, stone.treatment), answer)
    return tuple(sorted(found.values(), key=lambda one: one.verdict != "never"))


def cautions(processes: Iterable[str] = PROCESSES) -> tuple[str, ...]:
    """The usual cautions for the person who does it."""
    return tuple(dict.fromkeys(words for process in processes for words in care.cautions(process)))


def refusals(answers: Iterable[Answer], methods: Iterable[str], *, tight: str, careful: bool) -> tuple[str, ...]:
    """Why this clean may not be logged; empty when it may. `careful`: the cautions were weighed, and said so."""
    chosen = [answer for answer in answers if answer.process in set(methods)]
    refused = [f"No {answer.process}: {answer.why}." for answer in chosen if answer.verdict == "never"]
    if any(answer.verdict == "caution" for answer in chosen) and not careful:
        refused.append("Say that you have weighed what needs care, or clean by hand.")
    if tight != "yes" and chosen:
        refused.append("Dirt may be all that holds a stone: until every stone is known to be tight, clean by hand.")
    return tuple(refused)


def _answer(stone: Stone, process: str) -> Answer:
    """An unknown treatment is never the usual case: a filled stone does not show it."""
    treatments = () if stone.treatment in {UNKNOWN, "none"} else (stone.treatment,)
    advice = care.advise(stone.material, process, treatments)
    reason = next(reason for reason in advice.reasons if reason.verdict == advice.verdict)
    what = f"{stone.position} {reason.about.replace('_', ' ')}"
    why = f"{what}, {said(reason.words)}" if reason.words else what
    if stone.treatment == UNKNOWN and advice.verdict == "usual":
        return Answer(stone, process, "caution", f"{why}; nobody knows whether it is filled", said(reason.source))
    return Answer(stone, process, advice.verdict, why, said(reason.source))
