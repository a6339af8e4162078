"""Hand-made cases of custody: what is refused, in which words, and what the commands say."""

from __future__ import annotations

import dataclasses
import datetime
import json
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from tests.packets import cabinet, worked_example

from samestone import cli
from samestone.custody import canonical, chain, key, receipt

GOOD = {"number": 0, "at": "2026-03-02T09:30:00Z", "kind": "taken in", "subject": "2026-0007"}
DIGESTS = {"payload_digest": "ab" * 32, "previous": chain.NOTHING_BEFORE}


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ({"weight_ct": 1.012}, "value.weight_ct is the float 1.012"),
        ([float("nan")], r"value\[0\] is the float nan"),
        ({1: "a"}, "has the key 1"),
        (2**53, "cannot be written"),
        ("\ud800", "cannot be written"),
        ({"at": datetime.date(2026, 3, 2)}, "value.at is a date"),
    ],
)
def test_what_has_no_canonical_form_is_refused_by_name(value: object, words: str) -> None:
    with pytest.raises(canonical.NotCanonical, match=words):
        canonical.canonical_bytes(value)


def test_endless_nesting_is_refused() -> None:
    value: list[object] = []
    value.append(value)
    with pytest.raises(canonical.NotCanonical, match="nested more than 64 deep"):
        canonical.canonical_bytes(value)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"number": -1}, "number is -1"),
        ({"number": True}, "number is True"),
        ({"at": "2026-03-02 09:30"}, "expected UTC"),
        ({"at": "2026-03-02T09:30:00+01:00"}, "expected UTC"),
        ({"at": "2026-02-30T09:30:00Z"}, "expected UTC"),
        ({"kind": ""}, "kind is ''"),
        ({"subject": "a\nb"}, "printable"),
        ({"previous": "AB" * 32}, "lower-case hexadecimal"),
    ],
)
def test_a_bad_entry_names_its_field(change: dict[str, object], words: str) -> None:
    with pytest.raises(chain.BadEntry, match=words):
        chain.Entry.from_json({**GOOD, **DIGESTS, **change})


def test_an_entry_with_a_field_too_many_is_refused() -> None:
    with pytest.raises(chain.BadEntry, match="remark"):
        chain.Entry.from_json({**GOOD, **DIGESTS, "remark": ""})


def test_equal_payloads_have_unlike_digests_under_unlike_salts() -> None:
    first = chain.payload_digest({"weight_ct": "1.012"}, bytes(32))
    assert first != chain.payload_digest({"weight_ct": "1.012"}, bytes([1]) + bytes(31))
    with pytest.raises(ValueError, match="16 bytes; expected 32"):
        chain.payload_digest({}, bytes(16))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is not a receipt"),
        ("the blue one", "is not a receipt"),
        ("42-3f2a-91bc", "8 digits after the number"),
        ("{not json", "not JSON"),
        ('{"format": "samestone-receipt/1"}', "the fields"),
        ('{"number": 1, "number": 2}', "a key twice"),
    ],
)
def test_what_is_no_receipt_is_told_how_one_looks(text: str, words: str) -> None:
    with pytest.raises(receipt.BadReceipt, match=words):
        receipt.read_receipt(text)


def test_a_receipt_survives_json_qr_and_paper() -> None:
    _, given, _ = worked_example.worked_job()
    assert receipt.read_receipt(json.dumps(given.as_json())) == given
    assert receipt.read_receipt(given.qr) == given
    assert set(given.qr) <= set("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"), "the alphanumeric mode of QR codes"
    short = receipt.read_receipt(given.printed)
    assert isinstance(short, receipt.ShortReceipt)
    assert given.digest.startswith(short.start)


def test_a_receipt_read_with_letters_for_digits() -> None:
    """0 for O, 1 for l or I, 5 for S: the digits it has none of."""
    short = receipt.ShortReceipt(42, "0015" * 8)
    typed = short.printed.replace("0015", "OOlS")
    assert receipt.read_receipt(typed) == short


def test_a_key_is_kept_under_a_password() -> None:
    shop = worked_example.shop_key()
    guarded = shop.to_pem("a long sentence")
    assert key.Key.from_pem(guarded, "a long sentence").fingerprint == shop.fingerprint
    for wrong in (None, "another"):
        with pytest.raises(key.BadKey, match="is the password right"):
            key.Key.from_pem(guarded, wrong)
    assert key.Key.from_pem(shop.to_pem()).fingerprint == shop.fingerprint
    assert shop.printed.replace(" ", "") == shop.fingerprint


# ---- the commands ----


@pytest.fixture(name="packet_file")
def packet_on_disk(tmp_path: Path) -> Path:
    place = tmp_path / "packet.zip"
    place.write_bytes(worked_example.worked_packet())
    return place


def test_verify_says_each_check_and_warns_without_a_receipt(
    packet_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["verify", str(packet_file)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line[0] for line in lines[:9]] == ["✓"] * 9
    assert "Everything holds." in lines
    assert "No receipt was given" in lines[-1]


def test_verify_takes_receipts_in_every_form_and_the_key(packet_file: Path, tmp_path: Path) -> None:
    _, given, _ = worked_example.worked_job()
    (tmp_path / "receipt.json").write_text(json.dumps(given.as_json()))
    forms = [given.printed, given.qr, str(tmp_path / "receipt.json")]
    options = [part for form in forms for part in ("--receipt", form)]
    assert cli.main(["verify", str(packet_file), *options, "--key", worked_example.shop_key().printed]) == 0
    assert cli.main(["verify", str(packet_file), "--key", worked_example.other_key().printed]) == 1


def test_verify_reads_an_unpacked_folder(packet_file: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(packet_file) as archive:
        archive.extractall(tmp_path / "unpacked")
    assert cli.main(["verify", str(tmp_path / "unpacked")]) == 0
    (tmp_path / "unpacked" / cabinet.FOLDER / "note.txt").write_text("mine")
    assert cli.main(["verify", str(tmp_path / "unpacked")]) == 1


def test_verify_prints_json(packet_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    packet_file.write_bytes(cabinet.bad_packet("payload changed"))
    assert cli.main(["verify", str(packet_file), "--json"]) == 1
    result = json.loads(capsys.readouterr().out)
    assert result["holds"] is False
    assert [check["check"] for check in result["checks"] if not check["holds"]] == ["entries"]


@pytest.mark.parametrize(
    ("content", "options", "words"),
    [
        (b"%PDF-1.7\n", [], "a PDF; give the packet"),
        (b"Dear Mrs. Farrow", [], "not a zip"),
        (None, [], "cannot be opened"),
        (b"", ["--receipt", "42-3f2a"], "4 digits after the number"),
        (b"", ["--key", "3f2a"], "sixteen groups of four"),
    ],
)
def test_verify_refuses_with_status_2(
    content: bytes | None, options: list[str], words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = tmp_path / "given"
    if content is not None:
        place.write_bytes(content)
    assert cli.main(["verify", str(place), *options]) == 2
    assert words in capsys.readouterr().err


def test_verify_imports_neither_numpy_nor_django(packet_file: Path) -> None:
    script = (
        "import sys; from samestone import cli; status = cli.main(['verify', sys.argv[1]]);"
        "heavy = sorted({'numpy', 'django', 'scipy', 'cv2'} & set(sys.modules));"
        "sys.exit(str(heavy) if heavy else status)"
    )
    done = subprocess.run([sys.executable, "-c", script, str(packet_file)], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_check_entries_speaks_plainly() -> None:
    log = worked_example.worked_job()[0]
    entries = log.entries
    entries[3] = dataclasses.replace(entries[3], kind="another")
    assert str(chain.check_entries(entries)[0]) == "entry 4: does not follow entry 3: one of the two was changed"
