"""The log: entries that are only ever added, each naming the digest of the one before.

An entry holds no content, only a salted digest of its payload, so that a client's packet can show the log without
showing what was logged for others.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, fields
from datetime import datetime
from typing import Any

from samestone.custody.canonical import canonical_bytes
from samestone.custody.tree import leaf_digest

NOTHING_BEFORE = "0" * 64
SALT_BYTES = 32
_HEX = re.compile(r"[0-9a-f]{64}")
_UTC = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,6})?Z", re.ASCII)


class BadEntry(ValueError):
    """An entry that cannot be one: names the field, what was found and what was expected."""


@dataclass(frozen=True)
class Entry:
    """One line of the log.

    ``number`` counts from 0; ``at`` is UTC as RFC 3339 (``2026-03-02T09:30:00Z``); ``kind`` says what happened,
    ``subject`` to which job or instrument; ``payload_digest`` and ``previous`` are SHA-256 in lower-case hexadecimal.
    """

    number: int
    at: str
    kind: str
    subject: str
    payload_digest: str
    previous: str

    def __post_init__(self) -> None:
        if isinstance(self.number, bool) or not isinstance(self.number, int) or self.number < 0:
            raise BadEntry(f"number is {self.number!r}; expected a whole number from 0")
        if not isinstance(self.at, str) or not _is_utc(self.at):
            raise BadEntry(f"at is {self.at!r}; expected UTC as in 2026-03-02T09:30:00Z")
        for name in ("kind", "subject"):
            text = getattr(self, name)
            if not isinstance(text, str) or not text or len(text) > 200 or not text.isprintable():
                raise BadEntry(f"{name} is {text!r}; expected 1 to 200 printable characters")
        for name in ("payload_digest", "previous"):
            text = getattr(self, name)
            if not isinstance(text, str) or not _HEX.fullmatch(text):
                raise BadEntry(f"{name} is {text!r}; expected 64 lower-case hexadecimal digits")

    @property
    def digest(self) -> str:
        """SHA-256(0x00 || canonical entry): the leaf hash of RFC 9162, 2.1.1."""
        return leaf_digest(canonical_bytes(self.as_json()))

    def as_json(self) -> dict[str, Any]:
        return asdict(self)

    @classmethod
    def from_json(cls, value: Mapping[str, Any]) -> Entry:
        """Refuses missing and unknown fields as well as bad ones."""
        expected = {field.name for field in fields(cls)}
        if not isinstance(value, Mapping) or set(value) != expected:
            found = sorted(value) if isinstance(value, Mapping) else type(value).__name__
            raise BadEntry(f"an entry has the fields {sorted(expected)}; found {found}")
        return cls(**value)


@dataclass(frozen=True)
class Problem:
    """Something a check found: ``code`` for programs, ``where`` and ``says`` for people.

    ``breaks`` is false where the log still holds together but a person should know (the shop's clock went back).
    """

    code: str
    where: str
    says: str
    breaks: bool = True

    def __str__(self) -> str:
        return f"{self.where}: {self.says}"


def payload_digest(payload: Any, salt: bytes) -> str:
    """SHA-256(salt || canonical payload); the salt is 32 random bytes, so that a withheld payload cannot be guessed."""
    if len(salt) != SALT_BYTES:
        raise ValueError(f"the salt has {len(salt)} bytes; expected {SALT_BYTES} random ones")
    return hashlib.sha256(salt + canonical_bytes(payload)).hexdigest()


def next_entry(last: Entry | None, *, at: str, kind: str, subject: str, payload: Any, salt: bytes) -> Entry:
    """The entry that follows ``last`` (None: the first one).

    A clock set back is not refused, it would stop the shop: ``check_entries`` says it.
    """
    return Entry(
        number=last.number + 1 if last else 0,
        at=at,
        kind=kind,
        subject=subject,
        payload_digest=payload_digest(payload, salt),
        previous=last.digest if last else NOTHING_BEFORE,
    )


def check_entries(entries: Iterable[Entry]) -> tuple[Problem, ...]:
    """What is wrong with a whole log, from its first entry on; nothing is good news.

    Notices an entry dropped, swapped, repeated, put in or changed. It cannot notice a log cut at its end or rewritten
    as a whole: for that, ``receipt.check_receipt`` with a receipt from outside.
    """
    problems: list[Problem] = []
    last: Entry | None = None
    for place, entry in enumerate(entries):
        problems += _link_problems(place, entry, last)
        last = entry
    return tuple(problems)


def _link_problems(place: int, entry: Entry, last: Entry | None) -> Iterable[Problem]:
    where = f"entry {entry.number}"
    if entry.number != place:
        yield Problem("number", where, f"stands at place {place}: an entry was dropped, swapped, repeated or put in")
    if entry.previous != (last.digest if last else NOTHING_BEFORE):
        before = f"entry {last.number}" if last else "the beginning"
        yield Problem("link", where, f"does not follow {before}: one of the two was changed")
    if last and _instant(entry.at) < _instant(last.at):
        yield Problem("clock", where, f"is dated {entry.at}, before {last.at}: the clock was set back", breaks=False)


def _is_utc(at: str) -> bool:
    try:
        return bool(_UTC.fullmatch(at)) and bool(datetime.fromisoformat(at[:19]))
    except ValueError:
        return False


def _instant(at: str) -> tuple[str, str]:
    """Orders times with and without fractions of a second."""
    whole, _, fraction = at.removesuffix("Z").partition(".")
    return whole, fraction.ljust(6, "0")
