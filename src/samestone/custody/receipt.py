"""The receipt: what a client carries away so that the log's owner cannot shorten or rewrite it unnoticed."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from typing import Any

from samestone.custody.chain import Entry, Problem
from samestone.custody.tree import tree_root

FORMAT = "samestone-receipt/1"
GROUPS, GROUP = 8, 4
_HEX = re.compile(r"[0-9a-f]{64}")
_QR = re.compile(r"SAMESTONE1/([0-9]{1,15})/([0-9A-F]{64})/([0-9]{1,15})/([0-9A-F]{64})/([0-9T:.Z-]+)/([0-9A-F]{64})")
_MISREAD = str.maketrans({"o": "0", "l": "1", "i": "1", "s": "5"})


class BadReceipt(ValueError):
    """Not a receipt, or one that was typed wrongly; says which part and how it should look."""


@dataclass(frozen=True)
class Receipt:
    """Entry ``number`` with its ``digest``, and the log as it stood then: ``size`` entries with the tree's ``root``.

    ``key_fingerprint`` is the SHA-256 of the shop's public key. All digests are lower-case hexadecimal.
    """

    number: int
    digest: str
    size: int
    root: str
    at: str
    key_fingerprint: str

    def __post_init__(self) -> None:
        if any(isinstance(n, bool) or not isinstance(n, int) for n in (self.number, self.size)):
            raise BadReceipt("number and size of a receipt are whole numbers")
        if not 0 <= self.number < self.size:
            raise BadReceipt(f"a receipt for entry {self.number} cannot come from a log of {self.size} entries")
        for name in ("digest", "root", "key_fingerprint"):
            if not isinstance(getattr(self, name), str) or not _HEX.fullmatch(getattr(self, name)):
                raise BadReceipt(f"{name} is {getattr(self, name)!r}; expected 64 lower-case hexadecimal digits")
        if not isinstance(self.at, str):
            raise BadReceipt(f"at is {self.at!r}; expected UTC as in 2026-03-02T09:30:00Z")

    @property
    def start(self) -> str:
        """The part of the digest that is printed."""
        return self.digest[: GROUPS * GROUP]

    @property
    def printed(self) -> str:
        """What stands on paper and can be read out: the entry's number, eight groups of its digest, one check group.

        The check group tells a slip of the pen from a changed log.
        """
        return ShortReceipt(self.number, self.start).printed

    @property
    def qr(self) -> str:
        """The whole receipt in the alphanumeric characters of a QR code; no address, it opens nothing."""
        digests = self.digest.upper(), self.root.upper(), self.key_fingerprint.upper()
        return f"SAMESTONE1/{self.number}/{digests[0]}/{self.size}/{digests[1]}/{self.at}/{digests[2]}"

    def as_json(self) -> dict[str, Any]:
        return {"format": FORMAT, **asdict(self)}

    @classmethod
    def from_json(cls, value: Mapping[str, Any]) -> Receipt:
        """Refuses missing, unknown and bad fields."""
        expected = {"format", *(field.name for field in fields(cls))}
        if not isinstance(value, Mapping) or set(value) != expected or value["format"] != FORMAT:
            raise BadReceipt(f"expected format {FORMAT!r} and the fields {sorted(expected)}")
        return cls(**{name: item for name, item in value.items() if name != "format"})


@dataclass(frozen=True)
class ShortReceipt:
    """What was typed from paper: an entry's number and the first 32 hexadecimal digits of its digest."""

    number: int
    start: str

    @property
    def printed(self) -> str:
        groups = [self.start[place : place + GROUP] for place in range(0, len(self.start), GROUP)]
        return "-".join([str(self.number), *groups, _check_group(self.number, self.start)])


def issue_receipt(entry: Entry, digests: Sequence[str], *, at: str, key_fingerprint: str) -> Receipt:
    """The receipt for ``entry`` of the log whose entries have ``digests``, in order."""
    if entry.number >= len(digests) or digests[entry.number] != entry.digest:
        raise ValueError(f"entry {entry.number} is not in this log of {len(digests)} entries")
    return Receipt(entry.number, entry.digest, len(digests), tree_root(digests), at, key_fingerprint.replace(" ", ""))


def read_receipt(text: str) -> Receipt | ShortReceipt:
    """A receipt from its JSON, its QR text, or its printed groups with any separators; says what was typed wrongly."""
    text = text.strip()
    if text.startswith("{"):
        try:
            value = json.loads(text)
            pairs = json.loads(text, object_pairs_hook=list)
        except (ValueError, RecursionError) as error:
            raise BadReceipt(f"the receipt is not JSON: {error}") from error
        if len(pairs) != len(value):
            raise BadReceipt("found a key twice in the receipt, expected each once; read it in again from the paper")
        return Receipt.from_json(value)
    if found := _QR.fullmatch(text.upper()):
        number, digest, size, root, at, fingerprint = found.groups()
        return Receipt(int(number), digest.lower(), int(size), root.lower(), at, fingerprint.lower())
    return _read_printed(text)


def check_receipt(receipt: Receipt | ShortReceipt, digests: Sequence[str]) -> tuple[Problem, ...]:
    """What a receipt says against a whole log; nothing is good news.

    Notices a log shortened below the receipt's entry, rewritten at or before it, or not the log it was issued from.
    """
    where = f"receipt for entry {receipt.number}"
    if receipt.number >= len(digests):
        return (Problem("shortened", where, f"the log ends after {len(digests)} entries: it was shortened"),)
    if not digests[receipt.number].startswith(getattr(receipt, "digest", receipt.start)):
        return (Problem("rewritten", where, "the log holds another entry there: it was rewritten"),)
    if isinstance(receipt, ShortReceipt):
        return ()
    if receipt.size > len(digests):
        says = f"it was given when the log had {receipt.size} entries, now there are {len(digests)}: it was shortened"
        return (Problem("shortened", where, says),)
    if tree_root(digests[: receipt.size]) != receipt.root:
        says = f"the first {receipt.size} entries are no longer those it was given for: the log was rewritten"
        return (Problem("rewritten", where, says),)
    return ()


def _read_printed(text: str) -> ShortReceipt:
    words = re.findall(r"[0-9a-z]+", text.lower())
    how = "expected the entry's number and nine groups of four, such as 42-3f2a-91bc-…"
    if len(words) < 2 or not words[0].isdecimal() or len(words[0]) > 15:
        raise BadReceipt(f"{text!r} is not a receipt: {how}")
    number, digits = int(words[0]), "".join(words[1:]).translate(_MISREAD)
    if len(digits) != (GROUPS + 1) * GROUP or not set(digits) <= set("0123456789abcdef"):
        raise BadReceipt(f"the receipt for entry {number} has {len(digits)} digits after the number: {how}")
    start, check = digits[: GROUPS * GROUP], digits[GROUPS * GROUP :]
    if check != _check_group(number, start):
        raise BadReceipt(f"the receipt for entry {number} was mistyped: its last group does not go with the others")
    return ShortReceipt(number, start)


def _check_group(number: int, start: str) -> str:
    return hashlib.sha256(f"{FORMAT} {number} {start}".encode()).hexdigest()[:GROUP]
