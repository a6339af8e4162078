"""`samestone check`: is what the tables say what the log says, and is every picture still there?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.db import connection

from samestone.shop import ledger, vault
from samestone.shop.guard import missing_triggers
from samestone.shop.life import MOVES, NotPossibleNow, State
from samestone.shop.models import Entry, Job, Photograph


@dataclass(frozen=True)
class Problem:
    """Where something does not fit, and what; `breaks` is false for what only wants a look."""

    where: str
    says: str
    breaks: bool = True


def check_shop(receipts: Sequence[str] = ()) -> tuple[Problem, ...]:
    """What does not fit between log, tables and vault, also against receipts typed in; nothing is good news."""
    entries = list(Entry.objects.select_related("payload").order_by("number"))
    found: list[Problem] = [
        Problem(problem.where, problem.says, problem.breaks) for problem in ledger.log_problems(receipts)
    ]
    found += _row_problems(entries)
    found += _life_problems(entries)
    found += _vault_problems(entries)
    found += [Problem("database", f"the trigger {name} is missing") for name in missing_triggers(connection)]
    return tuple(found)


def _row_problems(entries: Iterable[Entry]) -> Iterator[Problem]:
    once = {model._meta.model_name for model in ledger.ONCE}
    told: dict[tuple[str, int], tuple[int, dict[str, Any]]] = {}
    for entry in entries:
        for row in _payload(entry).get("rows", ()):
            key = row["table"], row["id"]
            if key in told and row["table"] in once:
                yield Problem(f"entry {entry.number}", f"describes {row['table']} {row['id']} a second time")
            told[key] = entry.number, row
    for model in ledger.LOGGED:
        for row in model._default_manager.all():
            name = f"{model._meta.model_name} {row.pk}"
            entry_number, written = told.pop((str(model._meta.model_name), row.pk), (None, {}))
            if entry_number is None:
                yield Problem(name, "stands in the tables, but no entry of the log tells of it")
                continue
            now = ledger.describe(row)
            differing = sorted(key for key, value in written.items() if key in now and now[key] != value)
            if differing:
                yield Problem(name, f"differs from entry {entry_number} in {', '.join(differing)}")
    for (table, pk), (entry_number, _) in told.items():
        yield Problem(f"{table} {pk}", f"entry {entry_number} tells of it, but it is not in the tables")


def _life_problems(entries: Iterable[Entry]) -> Iterator[Problem]:
    """Plays each job's moves again, in the log's order, and compares where it ends with where it stands."""
    states: dict[str, State] = {}
    for entry in entries:
        if not entry.subject.startswith("job "):
            continue
        described = [row for row in _payload(entry).get("rows", ()) if row["table"] == "job"]
        state = states.get(entry.subject, State(express=any(row.get("express") for row in described)))
        if entry.kind in MOVES:
            try:
                state = state.after(entry.kind)
            except NotPossibleNow as error:
                yield Problem(f"entry {entry.number}", f"tells a move that cannot be: {error}")
        elif entry.kind in {"held", "resumed"}:
            state = replace(state, held=described[-1]["held"] if described else "")
        states[entry.subject] = state
    for job in Job.objects.all():
        state = states.get(ledger.subject(job), State())
        if (state.station.value, state.held, state.loose) != (job.station, job.held, job.state.loose):
            yield Problem(
                f"job {job.envelope}", f"stands at “{job.station}”, but its entries lead to “{state.station}”"
            )


def _vault_problems(entries: Iterable[Entry]) -> Iterator[Problem]:
    kept = set(vault.digests())
    entries = list(entries)
    named = set(Photograph.objects.values_list("digest", flat=True)) | set(_papers(entries))
    forgotten = {digest for entry in entries for digest in _payload(entry).get("papers_let_go", ())}
    for digest in sorted(named - kept - forgotten):
        yield Problem(f"vault {digest[:12]}…", "a row names this file, but it is not in the vault")
    for digest in sorted(kept - named):
        yield Problem(
            f"vault {digest[:12]}…", "no row names this file: a crash left it, it harms nothing", breaks=False
        )
    for digest in sorted(kept & named):
        if not vault.is_intact(digest):
            yield Problem(f"vault {digest[:12]}…", "the file was changed: its bytes no longer have their digest")


def _papers(entries: Iterable[Entry]) -> Iterator[str]:
    """Receipts, statements and packets that are kept: their digests stand in `details` under a name ending so."""
    for entry in entries:
        for key, value in _payload(entry).items():
            if key.endswith("_kept"):
                yield value


def _payload(entry: Entry) -> dict[str, Any]:
    payload = getattr(entry, "payload", None)
    return payload.data if payload else {}
