"""Every check of a packet, one plain sentence each. The page inside the packet makes them too, and two of `replay`."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from samestone.custody.bag import BAGIT, MANIFEST, TAG_MANIFEST, BadManifest, read_manifest
from samestone.custody.canonical import NotCanonical, read_canonical
from samestone.custody.chain import BadEntry, Entry, payload_digest
from samestone.custody.key import BadKey, Signature, certificate_key, fingerprint, in_groups, verify_signature
from samestone.custody.receipt import BadReceipt, Receipt, ShortReceipt
from samestone.custody.tree import verify_consistency, verify_inclusion

LOG_FORMAT = "samestone-log/1"
PUBLIC_KEY, CERTIFICATE = "signature/public-key.pem", "signature/certificate.pem"
RAW, DER = "signature/tagmanifest.raw", "signature/tagmanifest.der"
EXPECTED = {
    "bagit.txt", "bag-info.txt", MANIFEST, TAG_MANIFEST, "check.html", PUBLIC_KEY, CERTIFICATE, RAW, DER,
    "data/record.json", "data/log.json", "data/statement.pdf",
}  # fmt: skip
UNLISTED = {TAG_MANIFEST, RAW, DER}


class PacketFiles(Protocol):
    """What is checked: files by name, and what is wrong with the zip around them."""

    @property
    def files(self) -> Mapping[str, bytes]: ...
    @property
    def wrapping(self) -> str: ...


@dataclass(frozen=True)
class Check:
    """One thing that was checked: whether it holds, in one plain sentence."""

    name: str
    holds: bool
    says: str


class NotChecked(ValueError):
    """A check that fails; its sentence says what does not hold."""


@dataclass(frozen=True)
class LogPart:
    """The part of the log that a packet shows."""

    size: int
    root: str
    entries: tuple[tuple[Entry, Any, bytes, tuple[str, ...]], ...]
    receipts: tuple[tuple[Receipt, tuple[str, ...], tuple[str, ...]], ...]

    @property
    def digests(self) -> dict[int, str]:
        """What is known of single entries: from this job's receipts, and from its entries, which go before."""
        promised = {receipt.number: receipt.digest for receipt, *_ in self.receipts}
        return promised | {entry.number: entry.digest for entry, *_ in self.entries}


def verify_packet(
    packet: PacketFiles, receipts: Sequence[Receipt | ShortReceipt] = (), *, key_fingerprint: str = ""
) -> tuple[Check, ...]:
    """Every check of a packet, in order: its wrapping, its files, the shop's key, the log, the receipts from outside.

    ``key_fingerprint`` is the one on paper, if at hand. A check that cannot be made does not hold, and says why.
    """
    files = packet.files
    checks = [
        _run("wrapping", lambda: _wrapping(packet.wrapping)),
        _run("files", lambda: _listed(files)),
        _run("digests", lambda: _unchanged(files)),
        _run("signature", lambda: _signed(files)),
        _run("record", lambda: _canonical_record(files)),
    ]
    if key_fingerprint:
        checks.append(_run("key", lambda: _same_key(files, key_fingerprint)))
    try:
        log = read_log(files.get("data/log.json", b""))
    except NotChecked as error:
        return (*checks, Check("log", False, str(error)))
    checks += [
        _run("entries", lambda: _payloads(log)),
        _run("tree", lambda: _included(log)),
        _run("named", lambda: _named(log, files)),
        _run("receipts", lambda: _own_receipts(log)),
    ]
    return (*checks, *(_run("receipt", lambda r=receipt: _given(r, log, files)) for receipt in receipts))


def read_log(content: bytes) -> LogPart:
    """The log's part in ``data/log.json``; refuses any field missing, unknown or wrong."""
    try:
        value = read_canonical(content)
        if set(value) != {"entries", "format", "head", "receipts", "subject"} or value["format"] != LOG_FORMAT:
            raise NotChecked(f"The log's part is not in the format {LOG_FORMAT}")
        return LogPart(
            size=_whole(value["head"]["size"]),
            root=_texts([value["head"]["root"]])[0],
            entries=tuple(_read_entry(item) for item in value["entries"]),
            receipts=tuple(_read_own_receipt(item) for item in value["receipts"]),
        )
    except (NotCanonical, BadEntry, BadReceipt) as error:
        raise NotChecked(f"The log's part cannot be read: {error}") from error
    except (KeyError, TypeError, AttributeError, ValueError) as error:
        raise NotChecked(f"The log's part has a field missing or of the wrong kind ({error})") from error


def _read_entry(item: Mapping[str, Any]) -> tuple[Entry, Any, bytes, tuple[str, ...]]:
    if set(item) != {"entry", "payload", "proof", "salt"}:
        raise NotChecked(f"An entry in the log's part has the fields {sorted(item)}")
    return Entry.from_json(item["entry"]), item["payload"], bytes.fromhex(item["salt"]), _texts(item["proof"])


def _read_own_receipt(item: Mapping[str, Any]) -> tuple[Receipt, tuple[str, ...], tuple[str, ...]]:
    if set(item) != {"consistency", "proof", "receipt"}:
        raise NotChecked(f"A receipt in the log's part has the fields {sorted(item)}")
    return Receipt.from_json(item["receipt"]), _texts(item["proof"]), _texts(item["consistency"])


def _whole(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise NotChecked(f"The log's part has {value!r} where a whole number is expected")
    return value


def _texts(values: Any) -> tuple[str, ...]:
    if not isinstance(values, list) or not all(isinstance(value, str) for value in values):
        raise NotChecked(f"The log's part has {values!r} where digests are expected")
    return tuple(values)


def _run(name: str, check: Any) -> Check:
    try:
        return Check(name, True, check())
    except (NotChecked, BadKey, BadManifest) as error:
        return Check(name, False, str(error))


def _wrapping(trouble: str) -> str:
    if trouble:
        raise NotChecked(trouble + "; to check the files alone, unpack it and give the folder")
    return "The packet is byte for byte as it was written"


def _listed(files: Mapping[str, bytes]) -> str:
    listed = {*read_manifest(files[TAG_MANIFEST]), *read_manifest(files.get(MANIFEST, b""))} | UNLISTED
    missing, added = (listed | EXPECTED) - set(files), (set(files) - listed)
    if missing or added:
        parts = [f"missing: {', '.join(sorted(missing))}"] * bool(missing)
        parts += [f"not on the shop's list: {', '.join(sorted(added))}"] * bool(added)
        raise NotChecked("The files are not those on the list; " + "; ".join(parts))
    if files["bagit.txt"] != BAGIT:
        raise NotChecked("bagit.txt is not that of a bag (RFC 8493, version 1.0)")
    return f"All {len(files)} files are there and none was added"


def _unchanged(files: Mapping[str, bytes]) -> str:
    listed = {**read_manifest(files.get(MANIFEST, b"")), **read_manifest(files[TAG_MANIFEST])}
    changed = [n for n, digest in listed.items() if n in files and hashlib.sha256(files[n]).hexdigest() != digest]
    if changed:
        raise NotChecked(f"Changed since the shop listed them: {', '.join(sorted(changed))}")
    return "No file was changed since the shop listed it (SHA-256)"


def _signed(files: Mapping[str, bytes]) -> str:
    public, raw = files.get(PUBLIC_KEY, b""), files.get(RAW, b"")
    printed = in_groups(fingerprint(public))
    if not verify_signature(public, raw, files[TAG_MANIFEST]):
        raise NotChecked(f"The list is not signed by the key {printed}")
    if Signature(raw).der != files.get(DER):
        raise NotChecked("The two copies of the signature differ")
    if fingerprint(certificate_key(files.get(CERTIFICATE, b""))) != fingerprint(public):
        raise NotChecked("The certificate is for another key")
    return f"The list is signed by the key {printed} (compare it with the paper)"


def _same_key(files: Mapping[str, bytes], expected: str) -> str:
    found = fingerprint(files.get(PUBLIC_KEY, b""))
    if found != "".join(expected.split()).lower():
        raise NotChecked(f"The key is not the one on paper: here it is {in_groups(found)}")
    return "The key is the one on paper"


def _canonical_record(files: Mapping[str, bytes]) -> str:
    try:
        record = read_canonical(files.get("data/record.json", b""))
    except NotCanonical as error:
        raise NotChecked(f"The record {error}") from error
    others = sorted(
        name for name, digest in pictures_of(record) if _digest_of(files, f"data/photographs/{name}") != digest
    )
    if others:
        raise NotChecked(f"Not the pictures that the record calls so: {', '.join(others)}")
    return "The record is readable and written in the one canonical way"


def pictures_of(record: Any) -> Iterator[tuple[str, str]]:
    """(name, SHA-256) of the photographs that the record lists with their digest."""
    listed = record.get("photographs") if isinstance(record, dict) else None
    for item in listed if isinstance(listed, list) else ():
        if isinstance(item, dict) and isinstance(item.get("name"), str) and isinstance(item.get("sha256"), str):
            yield item["name"], item["sha256"]


def _digest_of(files: Mapping[str, bytes], name: str) -> str:
    return hashlib.sha256(files[name]).hexdigest() if name in files else ""


def _payloads(log: LogPart) -> str:
    for entry, payload, salt, _ in log.entries:
        try:
            digest = payload_digest(payload, salt)
        except ValueError as error:
            raise NotChecked(f"Log entry {entry.number}: {error}") from error
        if digest != entry.payload_digest:
            raise NotChecked(f"Log entry {entry.number} ({entry.kind}) stands for something else than what is shown")
    return f"All log entries of this job ({len(log.entries)}) say what was logged then"


def _included(log: LogPart) -> str:
    digests = log.digests
    numbers = [entry.number for entry, *_ in log.entries]
    if not numbers or numbers != sorted(set(numbers)):
        raise NotChecked("The log entries are missing, repeated or out of order")
    for entry, _, _, proof in log.entries:
        if not verify_inclusion(entry.digest, entry.number, proof, size=log.size, root=log.root):
            raise NotChecked(f"Log entry {entry.number} ({entry.kind}) is not in the log of {log.size} entries")
        if entry.previous != digests.get(entry.number - 1, entry.previous):
            raise NotChecked(f"Log entry {entry.number} does not follow entry {entry.number - 1}")
    return f"All of them are in the shop's log, which had {log.size} entries"


def _named(log: LogPart, files: Mapping[str, bytes]) -> str:
    logged = {text for _, payload, _, _ in log.entries for text in _strings(payload)}
    named = ["data/record.json", *sorted(name for name in files if name.startswith("data/photographs/"))]
    unknown = [n for n in named if n in files and hashlib.sha256(files[n]).hexdigest() not in logged]
    if unknown:
        raise NotChecked(f"The log does not name {', '.join(unknown)}: put in without a log entry")
    return f"The log names the record and every photograph ({len(named) - 1})"


def _strings(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for item in value.values():
            yield from _strings(item)
    elif isinstance(value, list | tuple):
        for item in value:
            yield from _strings(item)


def _own_receipts(log: LogPart) -> str:
    digests = log.digests
    for receipt, proof, consistency in log.receipts:
        is_there = verify_inclusion(receipt.digest, receipt.number, proof, size=log.size, root=log.root)
        if not is_there or digests[receipt.number] != receipt.digest or not _continues(receipt, consistency, log):
            raise NotChecked(f"The log is not the one that the receipt for entry {receipt.number} was given from")
    return f"The log still holds what its receipts for this job ({len(log.receipts)}) promised"


def _continues(receipt: Receipt, proof: Sequence[str], log: LogPart) -> bool:
    return verify_consistency(proof, size=receipt.size, root=receipt.root, later_size=log.size, later_root=log.root)


def _given(receipt: Receipt | ShortReceipt, log: LogPart, files: Mapping[str, bytes]) -> str:
    """A receipt from outside: the only thing that notices a log which its owner shortened or rewrote as a whole."""
    number, digests = receipt.number, log.digests
    if number >= log.size:
        raise NotChecked(f"Receipt {number}: the log ends after {log.size} entries, it was shortened")
    if number not in digests:
        raise NotChecked(f"Receipt {number}: that entry is not in this packet; is it the receipt for this job?")
    if not digests[number].startswith(receipt.digest if isinstance(receipt, Receipt) else receipt.start):
        raise NotChecked(f"Receipt {number}: the log holds another entry there, it was rewritten")
    if isinstance(receipt, Receipt):
        _given_state(receipt, log, fingerprint(files.get(PUBLIC_KEY, b"")))
    shown = any(entry.number == number for entry, *_ in log.entries)
    unseen = "" if shown else "; what that entry says is not in this packet"
    return f"Receipt {number}: the log still holds the entry that this receipt was given for{unseen}"


def _given_state(receipt: Receipt, log: LogPart, key: str) -> None:
    number = receipt.number
    if receipt.key_fingerprint != key:
        raise NotChecked(f"Receipt {number}: it names another key, {in_groups(receipt.key_fingerprint)}")
    if receipt.size > log.size:
        raise NotChecked(f"Receipt {number}: the log had {receipt.size} entries and has {log.size}, it was shortened")
    proofs = [consistency for own, _, consistency in log.receipts if own.size == receipt.size]
    if not any(_continues(receipt, proof, log) for proof in proofs):
        raise NotChecked(f"Receipt {number}: the log before it is not the one that it was given from, it was rewritten")
