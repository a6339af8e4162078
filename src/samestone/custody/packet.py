"""The packet: everything about one job, with its proof, in one file that can be checked without us.

docs/format/packet.md describes the file; the page inside each packet makes the checks of ``verify_packet`` as well.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from samestone.custody.archive import BadArchive, read_archive, write_archive
from samestone.custody.bag import TAG_MANIFEST, make_bag
from samestone.custody.canonical import NotCanonical, canonical_bytes, read_canonical
from samestone.custody.chain import Entry
from samestone.custody.key import Key
from samestone.custody.page import check_page
from samestone.custody.receipt import Receipt
from samestone.custody.tree import consistency_proof, inclusion_proofs, tree_root
from samestone.custody.verification import Check, NotChecked, pictures_of, read_log, verify_packet

__all__ = [
    "BadPacket",
    "Check",
    "Content",
    "Judged",
    "LoggedEntry",
    "Packet",
    "build_packet",
    "listed_photographs",
    "logged_payloads",
    "read_packet",
    "replay_input",
    "verify_packet",
]

LOG_FORMAT = "samestone-log/1"
_PLAIN_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,99}")


class BadPacket(ValueError):
    """Not a packet, or not to be made into one: what was found, what was expected, what to do next."""


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
    ``at`` is UTC as in 2026-03-02T09:30:00Z.
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
class Packet:
    """A packet's files by their names inside its folder; ``wrapping`` says what is wrong with the zip, if anything."""

    files: Mapping[str, bytes]
    wrapping: str = ""


@dataclass(frozen=True)
class Judged:
    """One stone of a record: its examinations at take-in and at pick-up, its verdict with numbers as decimal strings.

    ``where`` is its place in record.json, empty in samestone-packet/1; ``name`` tells it from the piece's others.
    ``pictures`` is what two photographs say beside the verdict; None where the record holds nothing of the kind.
    """

    where: str
    name: str
    take_in: Any
    pick_up: Any
    verdict: Any
    pictures: Any = None


def build_packet(content: Content, *, key: Key) -> bytes:
    """One zip, the same bytes for the same content and key; refuses what its own checks would not pass."""
    payload = {
        "record.json": canonical_bytes(content.record),
        "log.json": canonical_bytes(_log(content)),
        "statement.pdf": content.statement,
        **{f"photographs/{_plain(name)}": data for name, data in content.photographs.items()},
    }
    tags = {
        "check.html": check_page(),
        "signature/public-key.pem": key.public_pem,
        "signature/certificate.pem": content.certificate_pem,
    }
    facts = {
        "Bagging-Date": content.at[:10],
        "External-Identifier": content.subject,
        "Source-Organization": content.shop,
    }
    files = make_bag(payload, tags, facts)
    signature = key.sign(files[TAG_MANIFEST])
    files["signature/tagmanifest.raw"], files["signature/tagmanifest.der"] = signature.raw, signature.der
    if failed := [check.says for check in verify_packet(Packet(files)) if not check.holds]:
        raise BadPacket("this would not be a sound packet: " + "; ".join(failed))
    folder = "packet-" + re.sub(r"[^A-Za-z0-9]+", "-", content.subject).strip("-")
    return write_archive({f"{folder}/{name}": data for name, data in files.items()})


def read_packet(data: bytes) -> Packet:
    """The packet in a zip; refuses (``BadPacket``) what is no packet at all."""
    try:
        archive = read_archive(data)
    except BadArchive as error:
        kind = "a PDF; give the packet, the zip that came with it" if data.startswith(b"%PDF") else str(error)
        raise BadPacket(f"cannot be read as a packet: {kind}") from error
    folders = {name.split("/", 1)[0] for name in archive.files}
    files = {name.split("/", 1)[1]: content for name, content in archive.files.items() if "/" in name}
    if TAG_MANIFEST not in files:
        raise BadPacket(f"a zip, but not a packet: expected one folder with {TAG_MANIFEST} in it")
    if len(folders) != 1 or len(files) != len(archive.files):
        raise BadPacket(f"a packet holds one folder; found {', '.join(sorted(folders))}")
    return Packet(files, _wrapping(archive.damaged, as_written=archive.as_written))


def replay_input(packet: Packet) -> tuple[Judged, ...]:
    """What the record says of each stone, also where it is of samestone-packet/1, which knows one stone alone."""
    if "data/record.json" not in packet.files:
        raise BadPacket("the packet has no data/record.json")
    try:
        record = read_canonical(packet.files["data/record.json"])
        if "stones" not in record:
            return (_judged("", "", record),)
        if not record["stones"]:
            raise BadPacket("data/record.json has no stone in stones; expected at least one")
        stones = enumerate(record["stones"])
        return tuple(_judged(f"stones[{index}].", str(stone["name"]), stone) for index, stone in stones)
    except NotCanonical as error:
        raise BadPacket(f"data/record.json {error}") from error
    except (KeyError, TypeError) as error:
        raise BadPacket("data/record.json has no examinations.take_in, examinations.pick_up and verdict") from error


def listed_photographs(packet: Packet) -> dict[str, str]:
    """The names of photographs that the record lists, by their SHA-256; whether they are there is not asked."""
    try:
        record = read_canonical(packet.files.get("data/record.json", b""))
    except NotCanonical as error:
        raise BadPacket(f"data/record.json {error}") from error
    return {digest: name for name, digest in pictures_of(record)}


def logged_payloads(packet: Packet, kind: str) -> tuple[Any, ...]:
    """What the entries of one kind say in the packet's part of the log, oldest first."""
    try:
        log = read_log(packet.files.get("data/log.json", b""))
    except NotChecked as error:
        raise BadPacket(f"data/log.json: {error}") from error
    return tuple(payload for entry, payload, *_ in log.entries if entry.kind == kind)


def _judged(where: str, name: str, told: Any) -> Judged:
    examinations = told["examinations"]
    return Judged(where, name, examinations["take_in"], examinations["pick_up"], told["verdict"], told.get("pictures"))


def _log(content: Content) -> dict[str, Any]:
    """This job's entries with payloads, salts and proofs; of all others nothing but digests inside the proofs."""
    digests = content.digests
    numbers = [logged.entry.number for logged in content.entries] + [receipt.number for receipt in content.receipts]
    proofs = iter(inclusion_proofs(digests, numbers))
    entries = [
        {
            "entry": logged.entry.as_json(),
            "payload": logged.payload,
            "proof": list(next(proofs)),
            "salt": logged.salt.hex(),
        }
        for logged in content.entries
    ]
    receipts = [
        {
            "consistency": list(consistency_proof(digests, receipt.size)),
            "proof": list(next(proofs)),
            "receipt": receipt.as_json(),
        }
        for receipt in content.receipts
    ]
    head = {"root": tree_root(digests), "size": len(digests)}
    return {"entries": entries, "format": LOG_FORMAT, "head": head, "receipts": receipts, "subject": content.subject}


def _plain(name: str) -> str:
    if not _PLAIN_NAME.fullmatch(name):
        raise BadPacket(f"the photograph is called {name!r}; expected letters, digits, dots and dashes only")
    return name


def _wrapping(damaged: Sequence[str], *, as_written: bool) -> str:
    if damaged:
        return f"The zip is damaged at {', '.join(damaged)}"
    return "" if as_written else "The zip was packed again or altered around its files since the shop wrote it"
