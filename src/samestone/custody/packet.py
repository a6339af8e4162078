"""The packet: everything about one job, with its proof, in one file that can be checked without us."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from samestone.custody.chain import Entry
from samestone.custody.key import Key
from samestone.custody.receipt import Receipt, ShortReceipt


class BadPacket(ValueError):
    """Not a packet at all: what was found, what was expected, what to do next."""


@dataclass(frozen=True)
class LoggedEntry:
    """An entry of this job with what it stands for."""

    entry: Entry
    payload: Any
    salt: bytes


@dataclass(frozen=True)
class Content:
    """What goes into a packet.

    ``record`` is the job's record (canonical JSON: no floats, see ``canonical.decimal_strings``); its SHA-256, and that
    of every photograph, must stand somewhere in a payload of ``entries`` (append that entry before building).
    ``photographs`` maps plain file names to the original bytes. ``digests`` are those of the whole log, in order.
    """

    subject: str
    shop: str
    at: str
    record: Mapping[str, Any]
    statement: bytes
    photographs: Mapping[str, bytes]
    entries: Sequence[LoggedEntry]
    digests: Sequence[str]
    receipts: Sequence[Receipt]
    certificate_pem: bytes


@dataclass(frozen=True)
class Check:
    """One thing that was checked: whether it holds, in one plain sentence."""

    name: str
    holds: bool
    says: str


def build_packet(content: Content, *, key: Key) -> bytes:
    """One zip, the same bytes for the same content and key."""
    raise NotImplementedError


def verify_packet(data: bytes, receipts: Sequence[Receipt | ShortReceipt] = ()) -> tuple[Check, ...]:
    """Every check of a packet, in order; refuses (``BadPacket``) only what is no packet at all."""
    raise NotImplementedError


def replay_input(data: bytes) -> tuple[Mapping[str, Any], Mapping[str, Any], Mapping[str, Any]]:
    """The record's examinations at take-in and at pick-up, and its verdict with numbers as decimal strings."""
    raise NotImplementedError
