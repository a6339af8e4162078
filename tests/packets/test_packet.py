"""A frozen good packet, a cabinet of bad ones, and outside tools that read them."""

from __future__ import annotations

import dataclasses
import datetime
import subprocess
import zipfile
from pathlib import Path

import bagit
import pytest
from tests.packets import cabinet, worked_example

from samestone.custody import key, packet, receipt

FROZEN = Path(__file__).parent / "good-1.zip"
FROZEN_RECEIPT = "4-8ba5-9a7c-b3cd-8646-4d08-80f3-fb54-51ec-5dc6"


def failing(data: bytes, *receipts: receipt.Receipt | receipt.ShortReceipt) -> set[str]:
    return {check.name for check in packet.verify_packet(packet.read_packet(data), receipts) if not check.holds}


def said_of(data: bytes, outside: receipt.Receipt | receipt.ShortReceipt) -> str:
    return packet.verify_packet(packet.read_packet(data), [outside])[-1].says


def unpacked(data: bytes, place: Path) -> Path:
    (place / "packet.zip").write_bytes(data)
    with zipfile.ZipFile(place / "packet.zip") as archive:
        assert archive.testzip() is None
        archive.extractall(place)
    return place / cabinet.FOLDER


def test_the_frozen_packet_of_this_format_still_holds() -> None:
    given = receipt.read_receipt(FROZEN_RECEIPT)
    checks = packet.verify_packet(packet.read_packet(FROZEN.read_bytes()), [given])
    assert [check.name for check in checks if check.holds] == [
        "wrapping", "files", "digests", "signature", "record", "entries", "tree", "named", "receipts", "receipt",
    ]  # fmt: skip


def test_the_same_content_makes_the_same_bytes_and_the_standard_library_agrees_on_the_zip() -> None:
    data = worked_example.worked_packet()
    assert data == worked_example.worked_packet()
    assert data == cabinet.zipped(cabinet.good_files())


@pytest.mark.parametrize("name", sorted(cabinet.DEFECTS))
def test_each_defect_is_noticed_by_the_check_that_is_meant_to(name: str) -> None:
    expected = cabinet.DEFECTS[name][1]
    data = cabinet.bad_packet(name)
    if expected == {cabinet.REFUSED}:
        with pytest.raises(packet.BadPacket):
            packet.read_packet(data)
    else:
        assert failing(data) == expected


@pytest.mark.parametrize(("how", "word"), [("rewritten", "rewritten"), ("shortened", "shortened")])
def test_a_log_rewritten_or_shortened_as_a_whole_fails_only_the_receipt(how: str, word: str) -> None:
    data, given = cabinet.other_log(how)
    assert failing(data) == set()
    for outside in (given, receipt.read_receipt(given.printed)):
        checks = packet.verify_packet(packet.read_packet(data), [outside])
        assert [word in check.says for check in checks if not check.holds] == [True]


def test_a_full_receipt_also_names_the_key() -> None:
    _, given, content = worked_example.worked_job()
    data = packet.build_packet(
        dataclasses.replace(
            content,
            certificate_pem=worked_example.other_key().certificate_pem(
                name="Another", at=datetime.datetime(2026, 3, 2, tzinfo=datetime.UTC)
            ),
        ),
        key=worked_example.other_key(),
    )
    assert failing(data) == set()
    assert failing(data, given) == {"receipt"}
    on_paper = worked_example.shop_key().printed
    checks = packet.verify_packet(packet.read_packet(data), key_fingerprint=on_paper)
    assert [check.name for check in checks if not check.holds] == ["key"]


def test_the_receipt_for_a_withheld_entry_is_checked_too() -> None:
    log, _, content = worked_example.worked_job()
    withheld = content.receipts[1]
    assert withheld.number not in {item.entry.number for item in content.entries}
    data = worked_example.worked_packet()
    assert b"withheld from the packet" not in data
    for outside in (withheld, receipt.read_receipt(withheld.printed)):
        assert failing(data, outside) == set()
        assert "what that entry says is not in this packet" in said_of(data, outside)
    assert failing(data, log.receipt(log.entries[1])) == {"receipt"}


def test_an_entry_left_out_shows_only_to_a_receipt_for_it() -> None:
    """What docs/format/packet.md says of omissions; those of entries that name a file are in the cabinet."""
    _, given, content = worked_example.worked_job()
    assert "is not in this packet" not in said_of(worked_example.worked_packet(), given)
    kept = [item for item in content.entries if item.entry.number != given.number]
    assert len(kept) == len(content.entries) - 1
    hidden = dataclasses.replace(content, entries=kept, receipts=content.receipts[1:])
    data = packet.build_packet(hidden, key=worked_example.shop_key())
    assert failing(data) == set()
    for outside in (given, receipt.read_receipt(given.printed)):
        assert failing(data, outside) == {"receipt"}
        assert "that entry is not in this packet" in said_of(data, outside)
    told = packet.build_packet(dataclasses.replace(content, entries=kept), key=worked_example.shop_key())
    assert failing(told, given) == set()
    assert "what that entry says is not in this packet" in said_of(told, given)


def test_no_client_reads_about_another() -> None:
    data = worked_example.worked_packet()
    assert b"2026-0008" not in data
    assert b"somebody else" not in data


def test_build_refuses_a_record_that_the_log_does_not_name() -> None:
    content = worked_example.worked_job()[2]
    with pytest.raises(packet.BadPacket, match=r"does not name data/record\.json"):
        packet.build_packet(dataclasses.replace(content, record={"format": "another"}), key=worked_example.shop_key())


def test_bagit_accepts_the_folder(tmp_path: Path) -> None:
    """The Library of Congress's bagit, an implementation of RFC 8493 of its own."""
    folder = unpacked(worked_example.worked_packet(), tmp_path)
    bag = bagit.Bag(str(folder))
    bag.validate()
    assert bag.version_info == (1, 0)
    assert bag.info["External-Identifier"] == worked_example.JOB
    (folder / "data" / "record.json").write_bytes(b"{}")
    with pytest.raises(bagit.BagValidationError):
        bagit.Bag(str(folder)).validate()


def test_openssl_verifies_the_signature_and_prints_the_same_fingerprint(tmp_path: Path) -> None:
    folder = unpacked(worked_example.worked_packet(), tmp_path)
    sign = ["openssl", "dgst", "-sha256", "-verify", "signature/public-key.pem"]
    verify = [*sign, "-signature", "signature/tagmanifest.der", "tagmanifest-sha256.txt"]
    assert subprocess.run(verify, cwd=folder, capture_output=True, check=True, text=True).stdout == "Verified OK\n"
    der = subprocess.run(
        ["openssl", "pkey", "-pubin", "-in", "signature/public-key.pem", "-outform", "DER"],
        cwd=folder,
        capture_output=True,
        check=True,
    ).stdout
    assert worked_example.digest_of(der) == worked_example.shop_key().fingerprint
    certified = subprocess.run(
        ["openssl", "x509", "-in", "signature/certificate.pem", "-noout", "-pubkey"],
        cwd=folder,
        capture_output=True,
        check=True,
    ).stdout
    assert key.fingerprint(certified) == worked_example.shop_key().fingerprint
    (folder / "tagmanifest-sha256.txt").write_bytes(b"another list")
    assert subprocess.run(verify, cwd=folder, capture_output=True, check=False).returncode == 1


def test_replay_reads_the_two_examinations_and_the_verdict() -> None:
    (stone,) = packet.replay_input(packet.read_packet(worked_example.worked_packet()))
    assert stone.take_in == worked_example.RECORD["examinations"]["take_in"]
    assert stone.pick_up == worked_example.RECORD["examinations"]["pick_up"]
    assert stone.verdict == worked_example.RECORD["verdict"]
