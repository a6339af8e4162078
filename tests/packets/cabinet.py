"""A cabinet of bad packets: each is the worked example with one defect, and the checks that must notice it.

Where a defect would be caught by the signature alone, the packet is listed and signed again by the shop's own key, so
that the check behind it has to stand by itself.
"""

from __future__ import annotations

import dataclasses
import datetime
import json
import zipfile
from collections.abc import Callable
from io import BytesIO
from typing import Any

from tests.packets.worked_example import RECORD, SHOP, digest_of, other_key, shop_key, worked_job, worked_packet

from samestone.custody import canonical, key, packet, receipt

Files = dict[str, bytes]
FOLDER = "packet-2026-0007"
REFUSED = "refused"


def good_files() -> Files:
    return dict(packet.read_packet(worked_packet()).files)


def zipped(files: Files) -> bytes:
    """The files in the canonical zip, written by the standard library from the description of the format."""
    out = BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name in sorted(files):
            facts = zipfile.ZipInfo(f"{FOLDER}/{name}")
            facts.create_system, facts.external_attr = 0, 0
            archive.writestr(facts, files[name])
            facts.external_attr = 0
    return out.getvalue()


def signed_again(files: Files, signer: key.Key | None = None) -> bytes:
    """New lists and a new signature over changed files."""
    data = {name: content for name, content in files.items() if name.startswith("data/")}
    files["manifest-sha256.txt"] = _lines(data)
    unlisted = ("tagmanifest-sha256.txt", "signature/tagmanifest.raw", "signature/tagmanifest.der")
    files["tagmanifest-sha256.txt"] = _lines({n: c for n, c in files.items() if n not in data and n not in unlisted})
    signature = (signer or shop_key()).sign(files["tagmanifest-sha256.txt"])
    files["signature/tagmanifest.raw"], files["signature/tagmanifest.der"] = signature.raw, signature.der
    return zipped(files)


def _lines(files: Files) -> bytes:
    return "".join(f"{digest_of(files[name])}  {name}\n" for name in sorted(files)).encode()


def changed(name: str, content: bytes) -> bytes:
    return zipped(good_files() | {name: content})


def relisted(name: str, content: bytes) -> bytes:
    return signed_again(good_files() | {name: content})


def log_changed(change: Callable[[dict[str, Any]], None]) -> bytes:
    files = good_files()
    log = json.loads(files["data/log.json"])
    change(log)
    return signed_again(files | {"data/log.json": canonical.canonical_bytes(log)})


def record_changed() -> bytes:
    return changed("data/record.json", good_files()["data/record.json"].replace(b"6.46", b"6.47"))


def record_relisted_unsigned() -> bytes:
    files = good_files()
    forged = dict(files)
    forged["data/statement.pdf"] = b"%PDF-1.7 another statement"
    signed_again(forged)
    forged["signature/tagmanifest.raw"] = files["signature/tagmanifest.raw"]
    forged["signature/tagmanifest.der"] = files["signature/tagmanifest.der"]
    return zipped(forged)


def record_sloppy() -> bytes:
    return relisted("data/record.json", json.dumps(RECORD).encode())


def file_missing() -> bytes:
    files = good_files()
    del files["data/photographs/pickup.png"]
    return zipped(files)


def photographs_exchanged() -> bytes:
    files = good_files()
    one, other = "data/photographs/pickup.png", "data/photographs/received.png"
    return signed_again(files | {one: files[other], other: files[one]})


def signed_by_another() -> bytes:
    return signed_again(good_files(), other_key())


def certificate_of_another() -> bytes:
    pem = other_key().certificate_pem(name=SHOP, at=datetime.datetime(2026, 3, 2, tzinfo=datetime.UTC))
    return relisted("signature/certificate.pem", pem)


def der_of_another() -> bytes:
    return changed("signature/tagmanifest.der", shop_key().sign(b"something else").der)


def log_key_twice() -> bytes:
    log = good_files()["data/log.json"]
    return relisted("data/log.json", log.replace(b'"format"', b'"format":"samestone-log/1","format"', 1))


def payload_changed(log: dict[str, Any]) -> None:
    log["entries"][0]["payload"]["remark"] = "no chip was seen"


def salt_changed(log: dict[str, Any]) -> None:
    log["entries"][0]["salt"] = "00" * 32


def entry_backdated(log: dict[str, Any]) -> None:
    log["entries"][0]["entry"]["at"] = "2026-03-01T09:02:00Z"


def entry_repeated(log: dict[str, Any]) -> None:
    log["entries"].append(log["entries"][-1])


def entries_swapped(log: dict[str, Any]) -> None:
    log["entries"][0], log["entries"][1] = log["entries"][1], log["entries"][0]


def entry_renumbered(log: dict[str, Any]) -> None:
    log["entries"][2]["entry"]["number"] += 1


def entry_dropped(log: dict[str, Any]) -> None:
    """The one that names the record."""
    log["entries"].pop()


def root_changed(log: dict[str, Any]) -> None:
    log["head"]["root"] = "ab" * 32


def log_cut(log: dict[str, Any]) -> None:
    log["head"]["size"] = 10


def receipt_of_another_log(log: dict[str, Any]) -> None:
    log["receipts"][0]["receipt"]["root"] = "cd" * 32


def number_as_text(log: dict[str, Any]) -> None:
    log["head"]["size"] = "12"


def packed_again() -> bytes:
    out = BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in good_files().items():
            archive.writestr(f"{FOLDER}/{name}", content)
    return out.getvalue()


def name_twice() -> bytes:
    files = good_files()
    data = zipped(files | {"data/statement.pdX": b"another"})
    return data.replace(b"data/statement.pdX", b"data/statement.pdf")


def name_escapes() -> bytes:
    data = zipped(good_files() | {"data/a/b/c.png": b"x"})
    return data.replace(b"data/a/b/c.png", b"../../../c.png")


def bomb() -> bytes:
    out = BytesIO(packed_again())
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(f"{FOLDER}/data/zeros", bytes(50_000_000))
    return out.getvalue().replace((50_000_000).to_bytes(4, "little"), (60).to_bytes(4, "little"))


def encrypted() -> bytes:
    data = bytearray(worked_packet())
    data[data.rfind(b"PK\x01\x02") + 8] |= 1
    return bytes(data)


DEFECTS: dict[str, tuple[Callable[[], bytes], set[str]]] = {
    "record changed": (record_changed, {"digests", "named"}),
    "statement changed and listed, not signed": (record_relisted_unsigned, {"signature"}),
    "record not canonical": (record_sloppy, {"record", "named"}),
    "photograph missing": (file_missing, {"files", "record"}),
    "file added": (lambda: zipped(good_files() | {"data/photographs/extra.png": b"x"}), {"files", "named"}),
    "photograph put in without a log entry": (lambda: relisted("data/photographs/extra.png", b"x"), {"named"}),
    "photograph replaced and signed again": (
        lambda: relisted("data/photographs/pickup.png", b"x"),
        {"named", "record"},
    ),
    "photographs exchanged and signed again": (photographs_exchanged, {"record"}),
    "signed by another key": (signed_by_another, {"signature"}),
    "certificate of another key": (certificate_of_another, {"signature"}),
    "public key is no key": (lambda: relisted("signature/public-key.pem", b"no key"), {"signature"}),
    "second copy of the signature": (der_of_another, {"signature"}),
    "manifest malformed": (lambda: changed("manifest-sha256.txt", b"nothing\n"), {"files", "digests"}),
    "log with a key twice": (log_key_twice, {"log"}),
    "log is not JSON": (lambda: relisted("data/log.json", b"\xff{"), {"log"}),
    "log nested deeply": (lambda: relisted("data/log.json", b"[" * 100_000), {"log"}),
    "log with a number as text": (lambda: log_changed(number_as_text), {"log"}),
    "payload changed": (lambda: log_changed(payload_changed), {"entries"}),
    "salt changed": (lambda: log_changed(salt_changed), {"entries"}),
    "entry backdated": (lambda: log_changed(entry_backdated), {"tree"}),
    "entry repeated": (lambda: log_changed(entry_repeated), {"tree"}),
    "entries swapped": (lambda: log_changed(entries_swapped), {"tree"}),
    "entry renumbered": (lambda: log_changed(entry_renumbered), {"tree"}),
    "entry dropped": (lambda: log_changed(entry_dropped), {"named"}),
    "root changed": (lambda: log_changed(root_changed), {"tree", "receipts"}),
    # Proofs to 10 entries have the shape of those to 12, so the receipt's check rightly sees the same root.
    "log cut": (lambda: log_changed(log_cut), {"tree"}),
    "receipt of another log": (lambda: log_changed(receipt_of_another_log), {"receipts"}),
    "packed again": (packed_again, {"wrapping"}),
    "bytes after the end": (lambda: worked_packet() + b"\0", {"wrapping"}),
    "bytes before the beginning": (lambda: b"\0" + worked_packet(), {REFUSED}),
    "cut in half": (lambda: worked_packet()[: len(worked_packet()) // 2], {REFUSED}),
    "a name twice": (name_twice, {REFUSED}),
    "a name that leaves its folder": (name_escapes, {REFUSED}),
    "a bomb": (bomb, {REFUSED}),
    "encrypted": (encrypted, {REFUSED}),
    "a zip of something else": (lambda: zipped({"letter.txt": b"Dear Mrs. Farrow"}), {REFUSED}),
    "nothing": (lambda: b"", {REFUSED}),
}


def bad_packet(name: str) -> bytes:
    return DEFECTS[name][0]()


def other_log(how: str) -> tuple[bytes, receipt.Receipt]:
    """A packet sound in itself, from a log that its owner rewrote or shortened, and the client's older receipt."""
    log, given, content = worked_job()
    if how == "shortened":
        given = log.receipt(log.append("examined", content.subject, {"found": "a chip"}))
        return packet.build_packet(content, key=shop_key()), given
    kept = log.logged[:2]
    rest = log.logged[2:]
    log.logged[:] = kept
    for item in rest:
        payload = {**item.payload, "remark": "written afterwards"}
        log.append(item.entry.kind, item.entry.subject, payload)
    own = [item for item in log.logged if item.entry.subject == content.subject]
    again = log.receipt(log.entries[-1])
    rewritten = dataclasses.replace(content, entries=own, digests=log.digests, receipts=[again])
    return packet.build_packet(rewritten, key=shop_key()), given
