"""A small invented job and its packet, made the same way every time. Not a real shop, client or stone."""

from __future__ import annotations

import datetime
import hashlib
from dataclasses import dataclass
from typing import Any

from samestone.custody import canonical, chain, key, packet, receipt

# A fixed private number, for tests only: it signs nothing but invented packets.
TEST_SECRET = int.from_bytes(hashlib.sha256(b"a key for tests only").digest(), "big")
SHOP = "Larkfield Goldsmiths"
JOB = "2026-0007"
# The smallest PNG that is a picture: 1 x 1 pixel, and another one.
PHOTOGRAPHS = {
    "received.png": bytes.fromhex(
        "89504e470d0a1a0a0000000d4948445200000001000000010802000000907753de0000000c4944415478da63d8b1310d0003f401d0"
        "8763011e0000000049454e44ae426082"
    ),
    "pickup.png": bytes.fromhex(
        "89504e470d0a1a0a0000000d4948445200000001000000010802000000907753de0000000c4944415478da63b0e99906000266015f"
        "c3b432510000000049454e44ae426082"
    ),
}


def shop_key() -> key.Key:
    from cryptography.hazmat.primitives.asymmetric import ec

    return key.Key(ec.derive_private_key(TEST_SECRET, ec.SECP256R1()))


def other_key() -> key.Key:
    from cryptography.hazmat.primitives.asymmetric import ec

    return key.Key(ec.derive_private_key(TEST_SECRET - 1, ec.SECP256R1()))


@dataclass
class Log:
    """A shop's whole log in memory."""

    logged: list[packet.LoggedEntry]

    @property
    def digests(self) -> list[str]:
        return [item.entry.digest for item in self.logged]

    @property
    def entries(self) -> list[chain.Entry]:
        return [item.entry for item in self.logged]

    def append(self, kind: str, subject: str, payload: Any) -> chain.Entry:
        number = len(self.logged)
        salt = hashlib.sha256(f"salt {number}".encode()).digest()
        last = self.logged[-1].entry if self.logged else None
        at = f"2026-03-02T{9 + number // 60:02}:{number % 60:02}:00Z"
        entry = chain.next_entry(last, at=at, kind=kind, subject=subject, payload=payload, salt=salt)
        self.logged.append(packet.LoggedEntry(entry, payload, salt))
        return entry

    def receipt(self, entry: chain.Entry) -> receipt.Receipt:
        return receipt.issue_receipt(entry, self.digests, at=entry.at, key_fingerprint=shop_key().fingerprint)


def examination(diameter: str, weight: str | None) -> dict[str, Any]:
    readings = [{"property": "diameter_min_mm", "indications": [diameter] * 3, "instrument": "gauge"}]
    if weight:
        readings.append({"property": "weight_ct", "indications": [weight], "instrument": "scale"})
    return {
        "format": "samestone-examination/1",
        "stone": {"cut": "round brilliant", "setting": "loose" if weight else "set"},
        "instruments": [
            {"name": "gauge", "kind": "gauge", "unit": "mm", "resolution": "0.01", "u": "0.010"},
            {"name": "scale", "kind": "scale", "unit": "ct", "resolution": "0.001", "u": "0.001"},
        ],
        "readings": readings,
    }


RECORD: dict[str, Any] = {
    "format": "samestone-packet/1",
    "job": JOB,
    "shop": {"name": SHOP, "place": "14 Mill Lane, Ashby Vale"},
    "piece": "ring, white metal, one stone",
    "simulated": True,
    "photographs": [
        {"name": name, "caption": caption, "sha256": hashlib.sha256(PHOTOGRAPHS[name]).hexdigest()}
        for name, caption in (("received.png", "as received"), ("pickup.png", "at pick-up"))
    ],
    "examinations": {"take_in": examination("6.47", None), "pick_up": examination("6.46", None)},
    "verdict": {"ladder": "not_enough", "log10_lr": {"random": {"value": "1.2", "lower": "0", "upper": "3"}}},
    "note": "An invented ring, é, “quotes”, \u2028 and all.",
}


def statement_with(record: bytes) -> bytes:
    """A blank PDF to which this record is attached, as it is to a real statement; always the same bytes."""
    objects = (
        b"<</Type/Catalog/Pages 2 0 R/Names<</EmbeddedFiles<</Names[(record.json)3 0 R]>>>>>>",
        b"<</Type/Pages/Kids[]/Count 0>>",
        b"<</Type/Filespec/F(record.json)/EF<</F 4 0 R>>>>",
        b"<</Type/EmbeddedFile/Length %d>>\nstream\n%s\nendstream" % (len(record), record),
    )
    out, table = b"%PDF-1.7\n", b"0000000000 65535 f \n"
    for number, written in enumerate(objects, start=1):
        table += b"%010d 00000 n \n" % len(out)
        out += b"%d 0 obj\n%s\nendobj\n" % (number, written)
    end = b"trailer\n<</Size 5/Root 1 0 R>>\nstartxref\n%d\n%%%%EOF\n" % len(out)
    return out + b"xref\n0 5\n" + table + end


def digest_of(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def worked_job() -> tuple[Log, receipt.Receipt, packet.Content]:
    """The log, the receipt that the client took home at take-in, and what goes into the packet."""
    log = Log([])
    log.append("opened", "shop", {"name": SHOP})
    log.append("checked", "gauge", {"block_mm": "5.00", "shown_mm": "5.00"})
    log.append("taken in", JOB, {"photographs": [digest_of(PHOTOGRAPHS["received.png"])]})
    log.append("taken in", "2026-0008", {"what": "somebody else's"})
    given = log.receipt(log.append("receipt", JOB, {"to": "the client"}))
    log.append("value declared", JOB, {"value": "withheld from the packet"})
    again = log.receipt(log.entries[-1])
    for number in range(3):
        log.append("bench", "2026-0008", {"step": str(number)})
    photographed = {"photographs": [digest_of(PHOTOGRAPHS["pickup.png"])]}
    log.append("examined", JOB, photographed)
    log.append("released", JOB, {"record": digest_of(canonical.canonical_bytes(RECORD))})
    log.append("taken in", "2026-0009", {"what": "another one"})
    own = [item for item in log.logged if item.entry.subject == JOB and item.entry.kind != "value declared"]
    certificate = shop_key().certificate_pem(name=SHOP, at=datetime.datetime(2026, 3, 2, tzinfo=datetime.UTC))
    content = packet.Content(
        subject=JOB,
        shop=SHOP,
        at="2026-03-09T16:00:00Z",
        record=RECORD,
        statement=statement_with(canonical.canonical_bytes(RECORD)),
        photographs=PHOTOGRAPHS,
        entries=own,
        digests=log.digests,
        receipts=[given, again],
        certificate_pem=certificate,
    )
    return log, given, content


def worked_packet() -> bytes:
    return packet.build_packet(worked_job()[2], key=shop_key())
