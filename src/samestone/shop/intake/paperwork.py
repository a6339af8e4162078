"""The receipt and the label: rows → plain values → paper; the receipt is kept byte for byte."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db import transaction
from django.utils.translation import gettext

from samestone import paper
from samestone.shop import agreement, drawing, language, ledger, vault, wording
from samestone.shop.intake import queries
from samestone.shop.models import Entry, Examination, Job, Member, NotExamined, Photograph, Piece, Shop, Stone
from samestone.shop.photo_reading import FACE_UP


class NotReadyForPaper(Exception):
    """Something that a receipt must say is not recorded yet."""


def missing_for_receipt(job: Job) -> tuple[queries.Step, ...]:
    """What a receipt must say and is not recorded yet."""
    needed = ("piece", "stones", "clean") if job.express else ("piece", "stones", "condition", "work")
    return tuple(step for step in queries.steps(job) if step.question in needed and not step.done)


@transaction.atomic
def give_receipt(job: Job, *, at: dt.datetime, by: Member) -> Entry:
    """A receipt for everything recorded so far: the paper in the vault, its digest and number in the log."""
    job = Job.objects.get(pk=job.pk)
    if missing := missing_for_receipt(job):
        raise NotReadyForPaper("A receipt needs first: " + ", ".join(step.title for step in missing) + ".")
    receipt = ledger.issue_receipt(job, at=at)
    seal = {"receipt": receipt.printed, "qr": receipt.qr, "key": ledger.key_fingerprint()}
    with language.spoken_here():
        pdf = paper.receipt(receipt_sheet(job, seal=seal, at=at, by=by), at=at, words=wording.paper_words())
    details = {"receipt": receipt.as_json(), "receipt_kept": vault.store(pdf)}
    return ledger.append("receipt given", about=job, at=at, by=by, details=details)


def kept_receipt(job: Job) -> bytes | None:
    """The newest receipt as it was given; None where there is none, or it was let go with the client's name."""
    entry = ledger.history(job, "receipt given").last()
    return vault.find(entry.payload.data["receipt_kept"]) if entry else None


def receipt_sheet(job: Job, *, seal: dict[str, str], at: dt.datetime, by: Member) -> Any:
    """What the receipt says, as paper takes it; a surprise gift shows no value."""
    shop, piece = Shop.objects.get(), Piece.objects.get(job=job)
    optional = {
        "client": job.person.name if job.person else "",
        "collector": job.collector,
        "condition": piece.condition,
        "value": "" if job.gift else job.declared_value,
        "due": f"{job.due:%-d %b %Y}" if job.due else "",
    }
    return {
        "shop": {"name": shop.name, "street": shop.street, "town": shop.town},
        "envelope": job.envelope,
        "at": drawing.local_words(at),
        "by": by.name,
        "piece": _piece_words(piece),
        "stones": [_stone_line(stone) for stone in job.stones],
        "not_seen": _not_seen(job),
        "pictures": [_picture(photo) for photo in _pictures(job)],
        "work": _work_words(job),
        "risks": [gettext(topic) for topic in job.risks],
        "terms": shop.terms,
        "seal": seal,
        "signatures": ["client", shop.name],
        "simulated": shop.simulated,
        "faces": faces(job),
        **{name: value for name, value in optional.items() if value},
    }


def label(job: Job, *, at: dt.datetime) -> bytes:
    """The label for the envelope or for the parcel of a loose stone."""
    piece = Piece.objects.filter(job=job).first()
    if piece is None:
        raise NotReadyForPaper("A label needs the piece first.")
    mark = next(iter(queries.agreed_marks(job)), None)
    optional = {
        "look_for": mark.words if mark else "",
        "grams": f"{piece.grams} g" if piece.grams else "",
        "due": f"{job.due:%-d %b}" if job.due else "",
    }
    drawn = faces(job)
    sheet: Any = {
        "envelope": job.envelope,
        "qr": job.envelope,
        "piece": piece.kind,
        "simulated": Shop.objects.get().simulated,
        **({"face": drawn[0]} if drawn else {}),
        **{name: value for name, value in optional.items() if value},
    }
    with language.spoken_here():
        return paper.label(sheet, at=at, words=wording.paper_words())


def _work_words(job: Job) -> str:
    changes = agreement.change_words(job)
    agreed = f" Changed on the stone itself: {', '.join(changes)}." if changes else ""
    return (job.work or "cleaning while the client waits") + agreed


def _piece_words(piece: Piece) -> str:
    size, grams = f"size {piece.size}" if piece.size else "", f"{piece.grams} g" if piece.grams else ""
    hallmark = f"hallmark {piece.hallmark}" if piece.hallmark else ""
    return ", ".join(filter(None, (piece.kind, piece.words, piece.metal, hallmark, size, grams)))


def _stone_line(stone: Stone) -> dict[str, Any]:
    count = f"{stone.count} × " if stone.count > 1 else ""
    material = stone.material.replace("_", " ")
    treatment = {"none": "no treatment known", "unknown": "treatment not known"}.get(stone.treatment, stone.treatment)
    places = f" at places {stone.places}" if stone.places else ""
    words = f"{count}{stone.cut} {material}{places}, {treatment}"
    blind = NotExamined.objects.current().filter(
        examination__stone=stone, examination__occasion=Examination.Occasion.TAKE_IN
    )
    not_seen = [f"{wording.name_of(row.what)} ({wording.reason_words(row.why)})" for row in blind]
    return {"position": stone.position, "words": words, "basis": stone.basis, "not_seen": not_seen}


def _not_seen(job: Job) -> list[str]:
    """What could not be seen of the whole piece."""
    hidden = sum(mark.category == "hidden" for mark in queries.condition_marks(job))
    places = f"{hidden} place{'s' if hidden > 1 else ''}"
    under = gettext("under claws or setting (hatched on the drawing)")
    arcs = f"the stone's edge in {places}, {under}"
    return [arcs] if hidden else []


def _pictures(job: Job) -> list[Photograph]:
    """The newest pictures of the take-in that count, as received and cleaned; face-up ones before any other view."""
    found = []
    for occasion in (Examination.Occasion.RECEIVED, Examination.Occasion.TAKE_IN):
        usable = [photo for photo in queries.photographs(job, occasion) if photo.usable]
        found += sorted(usable, key=lambda photo: photo.view in FACE_UP)[-1:]
    return found


def _picture(photo: Photograph) -> dict[str, Any]:
    return {"data": vault.read(photo.digest), "caption": photo.view, "simulated": photo.simulated}


def faces(job: Job) -> list[dict[str, Any]]:
    """A drawing of each stone that something was marked on."""
    marks = [*queries.condition_marks(job), *queries.agreed_marks(job)]
    drawn = ((stone, queries.marks_on(stone, marks)) for stone in job.stones.select_related("piece"))
    return [{"name": stone.position, **drawing.face(stone, found)} for stone, found in drawn if found]
