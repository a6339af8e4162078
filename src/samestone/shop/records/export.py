"""A copy of a job's record for an insurer or the police: findings, pictures, story; never an address."""

from __future__ import annotations

import datetime as dt
import io
import json
import zipfile
from typing import Any

from django.template.loader import render_to_string

from samestone.shop import ledger, vault
from samestone.shop.casefile import examination_record
from samestone.shop.models import Examination, Job, Photograph, Shop

_ENDINGS = {"image/jpeg": "jpg", "image/png": "png", "image/webp": "webp"}
# Entries that are for the jeweller alone, or carry what is given only when asked for.
_WITHHELD = {"notice written", "value declared", "person forgotten"}


def build_export(job: Job, *, to: str, reference: str, name: bool, value: bool, at: dt.datetime) -> bytes:
    """One zip: `record.json` for programs, `summary.html` for people, the pictures as they were taken."""
    looks = list(Examination.objects.filter(stone__piece__job=job).select_related("stone", "by").order_by("at", "pk"))
    pictures = {_name(photo, number): photo for number, photo in enumerate(_pictures(job), start=1)}
    record = _record(job, looks, pictures, to=to, reference=reference, at=at)
    if name and job.person:
        record["client"] = job.person.name
    if value and job.declared_value:
        record["declared_value"] = {"the client's own figure": job.declared_value}
    page = render_to_string("records/export.html", {"record": record, "job": job, "shop": Shop.objects.get()})
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("record.json", json.dumps(record, indent=1, ensure_ascii=False))
        archive.writestr("summary.html", page)
        for path, photo in pictures.items():
            archive.writestr(f"pictures/{path}", vault.read(photo.digest))
    return packed.getvalue()


def _record(
    job: Job, looks: list[Examination], pictures: dict[str, Photograph], *, to: str, reference: str, at: dt.datetime
) -> dict[str, Any]:
    shop = Shop.objects.get()
    piece = job.pieces.first()
    return {
        "shop": shop.name,
        "simulated": shop.simulated,
        "written_at": ledger.utc(at),
        "for": to,
        "reference": reference,
        "envelope": job.envelope,
        "opened_at": ledger.utc(job.opened_at),
        "station": job.station,
        "piece": {
            field: getattr(piece, field)
            for field in ("kind", "words", "metal", "hallmark", "size", "grams", "condition")
        }
        if piece
        else {},
        "stones": [
            {"position": stone.position, "said_to_be": stone.words, "treatment": stone.treatment, "basis": stone.basis}
            for stone in job.stones
        ],
        "examinations": [
            {
                "stone": look.stone.position,
                "occasion": look.occasion,
                "at": ledger.utc(look.at),
                "by": look.by.initials,
                "record": examination_record(look),
            }
            for look in looks
        ],
        "pictures": [
            {
                "file": f"pictures/{path}",
                "sha256": photo.digest,
                "view": photo.view,
                "taken_at": ledger.utc(photo.taken_at),
                "simulated": photo.simulated,
            }
            for path, photo in pictures.items()
        ],
        "story": [
            {"number": entry.number, "at": entry.at, "what": entry.kind, "digest": entry.digest}
            for entry in ledger.history(job)
            if entry.kind not in _WITHHELD
        ],
        "key": ledger.key_fingerprint(),
    }


def _pictures(job: Job) -> list[Photograph]:
    rows = Photograph.objects.current().filter(examination__stone__piece__job=job)
    return list(rows.select_related("examination"))


def _name(photo: Photograph, number: int) -> str:
    occasion, view = photo.examination.occasion, photo.view.replace(" ", "-")
    return f"{number:02}-{occasion}-{view}.{_ENDINGS.get(photo.media_type, 'bin')}"
