"""What happened to a job, in the words of the counter: the log's entries, the small ones gathered into one line."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext, gettext_noop

from samestone.shop import ledger
from samestone.shop.models import Entry, Job, Member

RECENT = 8
_WORDS = {
    "job opened": "taken in at the counter",
    "left uncleaned": "left uncleaned",
    "examined": "take-in finished",
    "given to bench": "given to the bench",
    "unset": "stone taken out of its setting",
    "reset": "stone set again",
    "inspected": "work inspected",
    "made ready": "put away, ready",
    "made ready at once": "cleaned and ready",
    "picked up": "handed over",
    "value declared": "the client's own value written down",
    "notice written": gettext_noop("note for the jeweller"),
    "handed over": "changed hands",
    "news from the bench": "news from the bench, the client is asked",
    "client answered": "the client answered",
    "resumed": "hold lifted",
    "verdict reached": "compared with the take-in",
    "agreed mark looked for": "agreed marks looked for together",
    "client accepted": "the client was told what is missing, and takes it",
    "papers given": "statement and packet given",
    "change agreed": "changes of the stone itself agreed",
    "first record shown": "first record opened before the second look",
}
# What the lines beside them say already.
_UNSAID = {"examination begun", "examination finished", "packet sealed"}
_NOUNS = {
    "reading": "reading",
    "reaction": "reaction",
    "observation": "observation",
    "photograph": "picture",
    "mark": "mark",
    "not examined": "not looked at",
}
_LADDER = {
    "agrees": "agrees",
    "agrees_some_unchecked": "agrees, some things unchecked",
    "not_enough": "not enough to say",
    "disagrees": "does not agree",
}


@dataclass(frozen=True)
class Event:
    """One line of a job's story."""

    at: dt.datetime
    by: str
    words: str


def story(job: Job) -> tuple[Event, ...]:
    """What happened to the job, newest first; what one person found in one go is one line."""
    names = dict(Member.objects.values_list("username", "name"))
    events: list[Event] = []
    found: Counter[str] = Counter()
    last: Entry | None = None

    def gather() -> None:
        if found and last is not None:
            events.append(Event(last.when, _who(last, names), "recorded: " + ", ".join(_counted(found))))
            found.clear()

    for entry in ledger.history(job):
        if entry.kind in _UNSAID:
            continue
        if last is not None and _who(last, names) != _who(entry, names):
            gather()
        if noun := _finding(entry.kind):
            found[noun] += 1
            last = entry
            continue
        gather()
        last = entry
        event = Event(entry.when, _who(entry, names), _told(entry))
        if not (events and (events[-1].words, events[-1].by) == (event.words, event.by)):
            events.append(event)
    gather()
    return tuple(reversed(events))


def _who(entry: Entry, names: dict[str, str]) -> str:
    by: str = entry.payload.data["by"]
    return names.get(by, by)


def _finding(kind: str) -> str:
    """`reading`, `picture taken back` …; empty for what is no finding."""
    for name, noun in _NOUNS.items():
        if kind == f"{name} recorded":
            return noun
        if kind in (f"{name} corrected", f"{name} taken back"):
            return f"{noun} {kind.removeprefix(name).strip()}"
    return ""


def _counted(found: Counter[str]) -> list[str]:
    plain = {"reading", "reaction", "observation", "picture", "mark"}
    return [f"{n} {noun}{'s' if n > 1 and noun in plain else ''}" for noun, n in found.items()]


def _told(entry: Entry) -> str:
    told: dict[str, Any] = entry.payload.data
    words = gettext(_WORDS[entry.kind]) if entry.kind in _WORDS else entry.kind
    match entry.kind:
        case "held":
            more = told["rows"][0]["held"]
        case "handed over":
            more = f"{told['from']} to {told['to']}"
        case "picked up":
            more = f"to {told['to']}" if told.get("to") else ""
            return f"{words} {more}".strip()
        case "left uncleaned" | "resumed":
            more = told.get("why", "")
        case "change agreed":
            more = ", ".join(told["changes"]).replace("_", " ") or "none"
        case "verdict reached":
            more = _LADDER.get(told["verdict"]["ladder"], "")
        case _:
            more = ""
    return f"{words}: {more}" if more else words
