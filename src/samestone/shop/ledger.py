"""The only writer of the log, and the only place of the shop that touches keys and signatures.

How a stage writes: one function in its `actions`, one transaction, the rows and the entry that names them:

    with transaction.atomic():
        row = Reading.objects.create(examination=examination, at=at, by=by, property="depth_mm", …)
        ledger.append("reading recorded", about=examination.job, at=at, by=by, rows=[row])

`rows` are written into the payload field by field; `samestone check` compares them with the tables. An append-only row
is named by exactly one entry; of the other logged rows the newest entry that names them tells how they stand now.
`details` takes what has no row of its own (a hand-over, a verdict): JSON with whole numbers and decimal strings, never
floats, never a client's name.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import secrets
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection, models

from samestone import custody
from samestone.shop.folder import write_secret
from samestone.shop.models import (
    Entry,
    Examination,
    Instrument,
    InstrumentCheck,
    Job,
    Mark,
    Member,
    NotExamined,
    Observation,
    Payload,
    Photograph,
    Piece,
    Reaction,
    Reading,
    Shop,
    Stone,
)

ONCE = (Reading, Reaction, Observation, NotExamined, Photograph, Mark, InstrumentCheck)
LOGGED: tuple[type[models.Model], ...] = (Job, Piece, Stone, Examination, Instrument, *ONCE)
# Who a client is never enters the log, and a declared value only by an entry of its own that a packet can leave out.
_NOT_LOGGED = {"person", "collector", "declared_value", "once"}
_WITHHELD = {"notice written", "value declared"}
_LOCK = 0x5A_3E_57_0E  # PostgreSQL's advisory lock for appends: numbers without gaps


class OutsideTransaction(RuntimeError):
    """An entry was to be appended without a transaction that holds its rows."""


def append(
    kind: str,
    *,
    about: models.Model | str,
    at: dt.datetime,
    by: Member,
    rows: Iterable[models.Model] = (),
    details: Mapping[str, Any] | None = None,
) -> Entry:
    """Adds one entry inside the caller's transaction (`OutsideTransaction` without one)."""
    if not connection.in_atomic_block:
        raise OutsideTransaction("append an entry inside `with transaction.atomic():`, together with its rows")
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_LOCK])
    payload = {"by": by.username, "rows": [describe(row) for row in rows], **(details or {})}
    salt = secrets.token_bytes(custody.chain.SALT_BYTES)
    newest = Entry.objects.order_by("-number").first()
    entry = custody.chain.next_entry(
        as_link(newest) if newest else None, at=utc(at), kind=kind, subject=subject(about), payload=payload, salt=salt
    )
    row = Entry.objects.create(**entry.as_json(), digest=entry.digest)
    Payload.objects.create(entry=row, salt=salt.hex(), data=payload)
    return row


def describe(row: models.Model) -> dict[str, Any]:
    """A row as the log writes it: table, id and every logged field as text, number, list or truth."""
    fields = {
        field.name: _plain(getattr(row, field.attname))
        for field in row._meta.concrete_fields
        if field.name not in _NOT_LOGGED and not field.primary_key
    }
    return {"table": row._meta.model_name, "id": row.pk, **fields}


def subject(about: models.Model | str) -> str:
    """What an entry is about: `job 1042`, `instrument 3`, or a word such as `shop`."""
    if isinstance(about, Job):
        return f"job {about.envelope}"
    return about if isinstance(about, str) else f"{about._meta.model_name} {about.pk}"


def decimal_strings(value: Any) -> Any:
    """The same JSON value with every float as a decimal string, as a packet prints it."""
    return custody.canonical.decimal_strings(value)


def record_bytes(value: Any) -> bytes:
    """A record as a packet keeps it: decimal strings, canonical JSON."""
    return custody.canonical.canonical_bytes(decimal_strings(value))


def utc(at: dt.datetime) -> str:
    """RFC 3339 in UTC to the millisecond, as it is hashed."""
    return at.astimezone(dt.UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def as_link(row: Entry) -> custody.chain.Entry:
    """The stored entry as custody knows it."""
    return custody.chain.Entry(row.number, row.at, row.kind, row.subject, row.payload_digest, row.previous)


def history(about: models.Model | str, *kinds: str) -> models.QuerySet[Entry]:
    """The entries about one thing, oldest first, with their payloads; of the given kinds, or all."""
    entries = Entry.objects.filter(subject=subject(about)).select_related("payload").order_by("number")
    return entries.filter(kind__in=kinds) if kinds else entries


def issue_receipt(job: Job, *, at: dt.datetime) -> custody.receipt.Receipt:
    """A receipt for the job's newest entry: `.printed` for people, `.qr`, `.as_json()`.

    Whoever gives it out logs it as "receipt given" with `details={"receipt": receipt.as_json(), …}`, so that the log
    can be held against it later.
    """
    newest = history(job).last()
    if newest is None:
        raise LookupError(f"job {job.envelope} has no entry in the log yet; record the take-in first")
    return custody.receipt.issue_receipt(
        as_link(newest), _digests(), at=utc(at), key_fingerprint=signing_key().fingerprint
    )


def last_receipt(job: Job) -> custody.receipt.Receipt | None:
    """The newest receipt given for a job."""
    receipts = receipts_given(job)
    return receipts[-1] if receipts else None


def receipts_given(job: Job | None = None) -> list[custody.receipt.Receipt]:
    """The receipts given for a job, or for all, oldest first."""
    kinds = ("receipt given", "papers given")
    entries = Entry.objects.filter(kind__in=kinds).select_related("payload").order_by("number")
    if job is not None:
        entries = entries.filter(subject=subject(job))
    return [custody.receipt.Receipt.from_json(entry.payload.data["receipt"]) for entry in entries]


def build_packet(
    job: Job,
    *,
    record: Mapping[str, Any],
    statement: bytes,
    photographs: Mapping[str, bytes],
    at: dt.datetime,
    by: Member,
) -> bytes:
    """The client's packet (one zip): record, photographs, this job's entries with their proofs, signatures.

    Appends the entry that seals record and statement, so call it inside a transaction. `record` has
    `examinations.take_in`, `examinations.pick_up` and `verdict`; floats in it become decimal strings. Entries that are
    for the jeweller alone, and a declared value, stay out.
    """
    sealed = custody.canonical.decimal_strings(record)
    digest = hashlib.sha256(custody.canonical.canonical_bytes(sealed)).hexdigest()
    details = {"record_sha256": digest, "statement_sha256": hashlib.sha256(statement).hexdigest()}
    append("packet sealed", about=job, at=at, by=by, details=details)
    shop = Shop.objects.get()
    entries = [
        custody.packet.LoggedEntry(as_link(row), row.payload.data, bytes.fromhex(row.payload.salt))
        for row in history(job)
        if row.kind not in _WITHHELD
    ]
    content = custody.packet.Content(
        subject=subject(job),
        shop=shop.name,
        at=utc(at),
        record=sealed,
        statement=statement,
        photographs=photographs,
        entries=entries,
        digests=_digests(),
        receipts=receipts_given(job),
        certificate_pem=certificate_pem(at=at),
    )
    return custody.packet.build_packet(content, key=signing_key())


def log_problems(receipts: Sequence[str] = ()) -> tuple[custody.chain.Problem, ...]:
    """What is wrong with the log itself, also against the receipts given and those typed in (JSON, QR or printed)."""
    rows = list(Entry.objects.select_related("payload").order_by("number"))
    problems = list(custody.chain.check_entries(as_link(row) for row in rows))
    problems += [problem for row in rows for problem in _payload_problems(row)]
    digests = [as_link(row).digest for row in rows]
    for receipt in [*receipts_given(), *map(custody.receipt.read_receipt, receipts)]:
        problems += custody.receipt.check_receipt(receipt, digests)
    return tuple(problems)


def _payload_problems(row: Entry) -> Iterable[custody.chain.Problem]:
    where = f"entry {row.number}"
    if row.digest != as_link(row).digest:
        yield custody.chain.Problem("digest", where, "its stored digest is not that of its content: it was changed")
    payload = getattr(row, "payload", None)
    if payload is None:
        yield custody.chain.Problem("payload", where, "what it says is missing")
    elif custody.chain.payload_digest(payload.data, bytes.fromhex(payload.salt)) != row.payload_digest:
        yield custody.chain.Problem("payload", where, "what it says was changed")


def signing_key() -> custody.key.Key:
    """The shop's key, made on first use (readable by its owner alone)."""
    path = Path(settings.DATA) / "key.pem"
    pem = path.read_bytes() if path.exists() else write_secret(path, custody.key.Key.generate().to_pem())
    return custody.key.Key.from_pem(pem)


def certificate_pem(*, at: dt.datetime) -> bytes:
    """The shop's self-signed certificate, made once."""
    path = Path(settings.DATA) / "certificate.pem"
    if path.exists():
        return path.read_bytes()
    return write_secret(path, signing_key().certificate_pem(name=Shop.objects.get().name, at=at))


def key_fingerprint() -> str:
    """The key's fingerprint in the groups that stand on paper."""
    return signing_key().printed


def _digests() -> list[str]:
    return list(Entry.objects.order_by("number").values_list("digest", flat=True))


def _plain(value: Any) -> Any:
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).isoformat()
    return value.isoformat() if isinstance(value, dt.date) else value
