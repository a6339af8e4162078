"""The statement and the packet that the client takes home; both are kept byte for byte."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db import transaction

from samestone import paper
from samestone.shop import drawing, ledger, vault
from samestone.shop.casefile import examination_record
from samestone.shop.models import Entry, Job, Member, Photograph, Shop
from samestone.shop.pickup import queries

_ENDINGS = {"image/jpeg": "jpg", "image/png": "png", "image/webp": "webp"}


@transaction.atomic
def give_papers(job: Job, *, at: dt.datetime, by: Member) -> Entry | None:
    """Statement (signed) and packet of the first stone that was judged; None where nothing was compared."""
    judged = next((one for one in queries.stones_at_pick_up(job) if one.judgement and one.after), None)
    if judged is None:
        return None
    record = record_of(judged)
    receipt = ledger.issue_receipt(job, at=at)
    seal = {"receipt": receipt.printed, "qr": receipt.qr, "key": ledger.key_fingerprint()}
    pdf = paper.statement(statement_sheet(job, judged, record, seal, at=at, by=by), at=at)
    signed = paper.sign_pdf(
        pdf,
        key_pem=ledger.signing_key().to_pem(),
        certificate_pem=ledger.certificate_pem(at=at),
        at=at,
        reason=f"Statement on envelope {job.envelope}",
    )
    pictures = photographs_of(judged)
    packet = ledger.build_packet(job, record=record, statement=signed, photographs=pictures, at=at, by=by)
    details = {
        "receipt": receipt.as_json(),
        "statement_kept": vault.store(signed),
        "packet_kept": vault.store(packet),
    }
    return ledger.append("papers given", about=job, at=at, by=by, details=details)


def kept(job: Job, what: str) -> bytes | None:
    """`statement` or `packet` as it was given; None where there is none, or it was let go with the client's name."""
    entry = queries.papers(job)
    return vault.find(entry.payload.data[f"{what}_kept"]) if entry else None


def record_of(judged: queries.StoneAtPickUp) -> dict[str, Any]:
    """Both examinations and the verdict on them."""
    assert judged.after is not None and judged.judgement is not None
    return {
        "examinations": {"take_in": examination_record(judged.before), "pick_up": examination_record(judged.after)},
        "verdict": judged.judgement.verdict,
    }


def photographs_of(judged: queries.StoneAtPickUp) -> dict[str, bytes]:
    """The pictures of both looks, under names that say which."""
    found: dict[str, bytes] = {}
    for examination in (judged.before, judged.after):
        if examination is None:
            continue
        for number, photo in enumerate(examination.photographs.current(), start=1):
            view = photo.view.replace(" ", "-")
            found[f"{examination.occasion}-{number}-{view}.{_ENDINGS[photo.media_type]}"] = vault.read(photo.digest)
    return found


def statement_sheet(
    job: Job,
    judged: queries.StoneAtPickUp,
    record: dict[str, Any],
    seal: dict[str, str],
    *,
    at: dt.datetime,
    by: Member,
) -> Any:
    """What the statement says, as paper takes it."""
    assert judged.judgement is not None
    shop, piece = Shop.objects.get(), judged.stone.piece
    pair = next(iter(queries.picture_pairs(judged.stone)), None)
    pictures = {"before": _picture(pair.before, "at take-in"), "now": _picture(pair.now, "at pick-up")} if pair else {}
    client = {"client": job.person.name} if job.person else {}
    return {
        "shop": {"name": shop.name, "street": shop.street, "town": shop.town},
        "envelope": job.envelope,
        "at": drawing.local_words(at),
        "by": by.name,
        **client,
        "piece": ", ".join(filter(None, (piece.kind, piece.metal, judged.stone.words))),
        **pictures,
        "face": {"cut": judged.stone.cut, "marks": drawing.paper_marks(queries.face_marks(judged.stone))},
        "stations": drawing.stations(job),
        "checked": [finding["name"] for finding in judged.judgement.compared],
        "unchecked": judged.judgement.unchecked,
        "changes": [change.replace("_", " ") for change in judged.after.declared_changes] if judged.after else [],
        "verdict": judged.judgement.verdict,
        "record": ledger.record_bytes(record),
        "seal": seal,
        "signatures": ["for the shop", "the client"],
        "simulated": shop.simulated,
    }


def _picture(photo: Photograph, when: str) -> dict[str, Any]:
    taken = drawing.local_words(photo.taken_at)
    picture = {"data": vault.read(photo.digest), "caption": f"{photo.view}, {when}, {taken}"}
    return {**picture, "simulated": True} if photo.simulated else picture
