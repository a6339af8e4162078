"""Papers read by programs that are not ours: poppler, qpdf, openssl, a barcode reader, an XML parser."""

from __future__ import annotations

import datetime as dt
import re
import subprocess
from pathlib import Path

import pytest
import zxingcpp
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID
from PIL import Image
from tests.unit.paper_sheet import AT, SEAL, label_sheet, receipt_sheet, statement_sheet

from samestone import paper
from samestone.paper.signature import BadSignatureInput

FAR = dt.timedelta(days=3650)


def run(*command: str | Path) -> str:
    done = subprocess.run([str(part) for part in command], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def new_key() -> tuple[bytes, bytes]:
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Larkfield Goldsmiths")])
    builder = x509.CertificateBuilder(name, name, key.public_key(), 7, AT - FAR, AT + FAR)
    certificate = builder.sign(key, hashes.SHA256())
    pem = key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    return pem, certificate.public_bytes(serialization.Encoding.PEM)


@pytest.fixture(scope="module")
def keys() -> tuple[bytes, bytes]:
    return new_key()


@pytest.fixture(scope="module")
def signed(tmp_path_factory: pytest.TempPathFactory, keys: tuple[bytes, bytes]) -> Path:
    pdf = paper.statement(statement_sheet(), at=AT)
    path = tmp_path_factory.mktemp("paper") / "statement.pdf"
    path.write_bytes(paper.sign_pdf(pdf, key_pem=keys[0], certificate_pem=keys[1], at=AT, reason="Issued by the shop"))
    return path


def test_poppler_finds_the_signature_valid_and_over_the_whole_document(signed: Path) -> None:
    said = run("pdfsig", signed)
    assert "Signature is Valid" in said
    assert "Total document signed" in said
    assert "ETSI.CAdES.detached" in said
    assert "Signing Hash Algorithm: SHA-256" in said


def test_poppler_notices_one_changed_byte(signed: Path, tmp_path: Path) -> None:
    data = bytearray(signed.read_bytes())
    place = data.index(b"/Title") + 9
    data[place] ^= 1
    changed = tmp_path / "changed.pdf"
    changed.write_bytes(data)
    assert "Signature is Valid" not in run("pdfsig", changed)


def test_openssl_verifies_the_signature_over_the_signed_bytes(
    signed: Path, keys: tuple[bytes, bytes], tmp_path: Path
) -> None:
    data = signed.read_bytes()
    first, length, second, rest = map(int, re.findall(rb"/ByteRange\s*\[\s*(\d+) (\d+) (\d+) (\d+)", data)[0])
    assert (first, second + rest) == (0, len(data))
    gap = data[length:second].strip(b"<>")
    der = bytes.fromhex(gap.decode())
    (tmp_path / "signature.der").write_bytes(der[: 4 + int.from_bytes(der[2:4], "big")])
    (tmp_path / "content").write_bytes(data[:length] + data[second:])
    (tmp_path / "shop.pem").write_bytes(keys[1])
    command = "openssl cms -verify -binary -inform DER -purpose any -partial_chain"
    run(*command.split(), "-in", tmp_path / "signature.der", "-content", tmp_path / "content",
        "-CAfile", tmp_path / "shop.pem", "-attime", str(int(AT.timestamp())), "-out", tmp_path / "out")  # fmt: skip


def test_no_change_is_allowed_after_the_signature(signed: Path) -> None:
    """ISO 32000-1, 12.8.2.2: DocMDP with P 1, named in the catalogue's permissions."""
    expanded = signed.with_suffix(".qdf")
    run("qpdf", "--qdf", "--object-streams=disable", signed, expanded)
    text = expanded.read_bytes()
    assert re.search(rb"/Perms\s*<<\s*/DocMDP", text)
    assert re.search(rb"/TransformParams\s*<<[^>]*/P 1\b", text)


def test_qpdf_finds_no_fault(signed: Path) -> None:
    assert "No syntax or stream encoding errors found" in run("qpdf", "--check", signed)


def test_the_record_is_attached_byte_for_byte(signed: Path, tmp_path: Path) -> None:
    assert "1: record.json" in run("pdfdetach", "-list", signed)
    run("pdfdetach", "-save", "1", "-o", tmp_path / "record.json", signed)
    assert (tmp_path / "record.json").read_bytes() == statement_sheet()["record"]


def test_it_declares_what_it_means_to_be_and_its_dates_are_those_given(signed: Path) -> None:
    """ISO 19005-3 (PDF/A-3, level A) is PDF 1.7; ISO 14289-1 (PDF/UA-1). Declared; no validator is at hand."""
    declared = run("pdfinfo", "-meta", signed)
    assert "<pdfaid:part>3</pdfaid:part>" in declared
    assert "<pdfaid:conformance>A</pdfaid:conformance>" in declared
    assert "<pdfuaid:part>1</pdfuaid:part>" in declared
    said = run("pdfinfo", "-isodates", signed)
    assert re.search(r"PDF version:\s+1\.7", said)
    assert re.search(r"Tagged:\s+yes", said)
    assert len(re.findall(r"(?:CreationDate|ModDate):\s+2026-03-13T16:05:00", said)) == 2


@pytest.mark.parametrize(
    "make", [lambda: paper.receipt(receipt_sheet(), at=AT), lambda: paper.label(label_sheet(), at=AT)]
)
def test_only_bundled_letters_are_used_and_all_are_embedded(make, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "paper.pdf"
    path.write_bytes(make())
    fonts = [line.split() for line in run("pdffonts", path).splitlines()[2:]]
    assert fonts
    for font in fonts:
        assert "AtkinsonHyperlegibleNext" in font[0]
        assert font[-5] == "yes", "embedded"


@pytest.mark.parametrize(
    ("make", "expected", "dpi"),
    [
        (lambda: paper.receipt(receipt_sheet(), at=AT), SEAL["qr"], 200),
        (lambda: paper.statement(statement_sheet(), at=AT), SEAL["qr"], 200),
        (lambda: paper.label(label_sheet(), at=AT), "1042", 203),
    ],
)
def test_a_scanner_reads_the_code_as_printed(make, expected: str, dpi: int, tmp_path: Path) -> None:  # type: ignore
    """203 dots an inch is what common label printers have (common practice, no source)."""
    (tmp_path / "paper.pdf").write_bytes(make())
    run("pdftoppm", "-r", str(dpi), "-png", "-gray", tmp_path / "paper.pdf", tmp_path / "page")
    codes = [
        code.text for page in sorted(tmp_path.glob("page*.png")) for code in zxingcpp.read_barcodes(Image.open(page))
    ]
    assert codes == [expected]


def test_sizes_are_those_of_the_paper(tmp_path: Path) -> None:
    """A5 is 148 × 210 mm and A4 210 × 297 mm (ISO 216); a point is 1/72 inch."""
    made = [
        (paper.receipt(receipt_sheet(), at=AT), 148, 210),
        (paper.statement(statement_sheet(), at=AT), 210, 297),
        (paper.label(label_sheet(), at=AT), 62, 29),
    ]
    for pdf, width, height in made:
        (tmp_path / "paper.pdf").write_bytes(pdf)
        size = re.search(r"Page size:\s+([\d.]+) x ([\d.]+)", run("pdfinfo", tmp_path / "paper.pdf"))
        assert size is not None
        assert [float(side) * 25.4 / 72 for side in size.groups()] == pytest.approx([width, height], abs=0.1)


def test_a_label_is_one_page_whatever_is_said(tmp_path: Path) -> None:
    (tmp_path / "label.pdf").write_bytes(
        paper.label(label_sheet(look_for="dark spot " * 20, piece="ring " * 40), at=AT)
    )
    assert re.search(r"Pages:\s+1\b", run("pdfinfo", tmp_path / "label.pdf"))


def test_what_cannot_be_signed_is_refused_with_the_reason(keys: tuple[bytes, bytes]) -> None:
    pdf = paper.label(label_sheet(), at=AT)
    other = new_key()[1]
    with pytest.raises(BadSignatureInput, match="certificate is of another key"):
        paper.sign_pdf(pdf, key_pem=keys[0], certificate_pem=other, at=AT, reason="x")
    with pytest.raises(BadSignatureInput, match="no PDF"):
        paper.sign_pdf(b"%PDF-1.7 and no more", key_pem=keys[0], certificate_pem=keys[1], at=AT, reason="x")
    with pytest.raises(BadSignatureInput, match="key or certificate"):
        paper.sign_pdf(pdf, key_pem=b"no key", certificate_pem=keys[1], at=AT, reason="x")
    with pytest.raises(BadSignatureInput, match="with its zone"):
        paper.sign_pdf(pdf, key_pem=keys[0], certificate_pem=keys[1], at=AT.replace(tzinfo=None), reason="x")
