"""The statement and the packet that the client takes home; both are kept byte for byte."""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from django.db import transaction

from samestone import paper
from samestone.shop import drawing, language, ledger, vault, wording
from samestone.shop.casefile import examination_record
from samestone.shop.models import Entry, Examination, Job, Member, Photograph, Shop
from samestone.shop.pickup import queries
from samestone.shop.suspicion import doubts

FORMAT = "samestone-packet/2"
_ENDINGS = {"image/jpeg": "jpg", "image/png": "png", "image/webp": "webp"}


@transaction.atomic
def give_papers(job: Job, *, at: dt.datetime, by: Member) -> Entry | None:
    """Statement (signed) and packet of every stone that was compared; None where nothing was."""
    stones = queries.stones_at_pick_up(job)
    judged = tuple(one for one in stones if one.judgement and one.after)
    if not judged:
        return None
    pictures = photographs_of(judged)
    record = record_of(job, judged, pictures)
    receipt = ledger.issue_receipt(job, at=at)
    seal = {"receipt": receipt.printed, "qr": receipt.qr, "key": ledger.key_fingerprint()}
    with language.spoken_here():
        sheet: Any = {**statement_sheet(job, judged, at=at, by=by), "record": ledger.record_bytes(record), "seal": seal}
        printed = paper.statement(sheet, at=at, words=wording.paper_words())
    signed = paper.sign_pdf(
        printed,
        key_pem=ledger.signing_key().to_pem(),
        certificate_pem=ledger.certificate_pem(at=at),
        at=at,
        reason=f"Statement on envelope {job.envelope}",
    )
    files = {name: vault.read(photo.digest) for name, photo in pictures.items()}
    packet = ledger.build_packet(job, record=record, statement=signed, photographs=files, at=at, by=by)
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


def record_of(job: Job, judged: Sequence[queries.StoneAtPickUp], pictures: Mapping[str, Photograph]) -> dict[str, Any]:
    """The packet's record: of every stone both examinations, the verdict on them, and what its pictures say."""
    return {
        "format": FORMAT,
        "piece": judged[0].stone.piece.kind,
        "simulated": Shop.objects.get().simulated,
        "stones": [_stone_record(one) for one in judged],
        "not_compared": _not_compared(job, judged),
        "photographs": [
            {
                "name": name,
                "caption": _caption(photo, photo.examination.occasion),
                "sha256": photo.digest,
            }
            for name, photo in pictures.items()
        ],
    }


def _stone_record(one: queries.StoneAtPickUp) -> dict[str, Any]:
    assert one.after is not None and one.judgement is not None
    examinations = {"take_in": examination_record(one.before), "pick_up": examination_record(one.after)}
    line = one.judgement.pictures.get("line")
    said = {"examinations": examinations, "verdict": one.judgement.verdict, **({"pictures": line} if line else {})}
    return {"name": one.stone.position, **said}


def _not_compared(job: Job, judged: Sequence[queries.StoneAtPickUp]) -> list[str]:
    there = {one.stone.pk for one in judged}
    return [f"{stone.position}: {stone.words}" for stone in job.stones if stone.pk not in there]


def photographs_of(judged: Sequence[queries.StoneAtPickUp]) -> dict[str, Photograph]:
    """The pictures of both looks at each stone, and those that its picture line or the statement rests on, under names
    that say which."""
    found: dict[str, Photograph] = {}
    for place, one in enumerate(judged, start=1):
        which = f"stone-{place}-" if len(judged) > 1 else ""
        numbers: Counter[str] = Counter()
        for photo in _pictures_behind(one):
            occasion, view = photo.examination.occasion, photo.view.replace(" ", "-")
            numbers[occasion] += 1
            found[f"{which}{occasion}-{numbers[occasion]}-{view}.{_ENDINGS[photo.media_type]}"] = photo
    return found


def _pictures_behind(one: queries.StoneAtPickUp) -> list[Photograph]:
    """Each once. Those laid together may be of another look than the two compared: as received, or of one repeated."""
    looks = [photo for look in (one.before, one.after) if look is not None for photo in look.photographs.current()]
    laid = one.judgement.pictures if one.judgement else {}
    compared = Photograph.objects.filter(pk__in=[laid[key] for key in ("before", "now") if key in laid])
    shown = [photo for pair in queries.picture_pairs(one.stone)[:1] for photo in (pair.before, pair.now)]
    once = {photo.pk: photo for photo in (*looks, *compared.order_by("pk"), *shown)}
    occasions = Examination.Occasion.values
    return sorted(once.values(), key=lambda photo: occasions.index(photo.examination.occasion))


def statement_sheet(
    job: Job, judged: Sequence[queries.StoneAtPickUp], *, at: dt.datetime, by: Member
) -> dict[str, Any]:
    """What the statement says, as paper takes it; the record and the seal come to it."""
    shop, piece = Shop.objects.get(), judged[0].stone.piece
    alone = judged[0].stone.words if len(job.stones) == 1 else ""
    client = {"client": job.person.name} if job.person else {}
    left_out = _not_compared(job, judged)
    return {
        "shop": {"name": shop.name, "street": shop.street, "town": shop.town},
        "envelope": job.envelope,
        "at": drawing.local_words(at),
        "by": by.name,
        **client,
        "piece": ", ".join(filter(None, (piece.kind, piece.metal, alone))),
        "stones": [_judged_stone(one, named=not alone) for one in judged],
        **({"not_judged": left_out} if left_out else {}),
        "stations": drawing.stations(job),
        "signatures": ["for the shop", "the client"],
        "simulated": shop.simulated,
    }


def _judged_stone(one: queries.StoneAtPickUp, *, named: bool) -> dict[str, Any]:
    assert one.judgement is not None and one.after is not None
    return {
        **({"name": f"{one.stone.position}: {one.stone.words}"} if named else {}),
        **_pictures(one),
        "face": drawing.face(one.stone, queries.face_marks(one.stone)),
        "checked": [finding["name"] for finding in one.judgement.compared],
        "unchecked": one.not_checked,
        "changes": [change.replace("_", " ") for change in one.after.declared_changes],
        "verdict": wording.verdict_said(one.judgement.verdict),
        **({"picture_line": _line_said(line)} if (line := one.judgement.pictures.get("line")) else {}),
    }


def _line_said(line: Mapping[str, Any]) -> dict[str, Any]:
    """The picture line as it is printed; the record keeps it as it was made."""
    return {**line, **({"why_not": wording.said(line["why_not"])} if "why_not" in line else {})}


def _pictures(one: queries.StoneAtPickUp) -> dict[str, Any]:
    """Before and now, turned alike, the agreed marks ringed in both where the turn is known."""
    pair = next(iter(queries.picture_pairs(one.stone)), None)
    if pair is None or one.judgement is None:
        return {}
    laid = one.judgement.pictures
    known = laid.get("known") and (laid["before"], laid["now"]) == (pair.before.pk, pair.now.pk)
    turn = float(laid["turn_deg"]) if known else 0.0
    before, now = _picture(pair.before, "at take-in"), _picture(pair.now, "at pick-up")
    if known:
        marks = queries.agreed_places(one.stone)
        before["rings"] = rings_on(pair.before, laid["place_before"], marks)
        now |= {"turn_deg": turn, "rings": rings_on(pair.now, laid["place_now"], marks, turned_deg=turn)}
    return {"before": before, "now": now}


def rings_on(
    photo: Photograph, place: Mapping[str, str], marks: Sequence[queries.Place], *, turned_deg: float = 0.0
) -> list[dict[str, Any]]:
    """Agreed marks as shares of a picture as it was taken; `place` says where the stone lies, as shares of a square.

    A picture that must be turned by `turned_deg` to lie as the clock face has every mark that much earlier.
    """
    if not place:
        return []
    side = max(photo.width, photo.height)
    rings = []
    for mark in marks:
        angle = math.radians(mark.angle_deg - turned_deg)
        x = float(place["cx"]) + float(place["radius"]) * mark.r * math.cos(angle)
        y = float(place["cy"]) - float(place["radius"]) * mark.r * math.sin(angle)
        x, y = (0.5 + (x - 0.5) * side / photo.width, 0.5 + (y - 0.5) * side / photo.height)
        rings.append({"x": f"{x:.5f}", "y": f"{y:.5f}", "number": mark.number})
    return rings


def _picture(photo: Photograph, when: str) -> dict[str, Any]:
    picture = {"data": vault.read(photo.digest), "caption": _caption(photo, when)}
    return {**picture, "simulated": True} if photo.simulated else picture


def _caption(photo: Photograph, when: str) -> str:
    why = doubts([photo]).get(photo.pk, "")
    in_doubt = f"; in doubt: {why}" if why else ""
    return f"{photo.view}, {when}, {drawing.local_words(photo.taken_at)}{in_doubt}"
