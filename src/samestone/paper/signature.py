"""The shop's signature in a PDF: PAdES B-B, ECDSA P-256, no change allowed afterwards."""

from __future__ import annotations

import asyncio
import datetime as dt
import io
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
    from pyhanko.sign import PdfSigner
    from pyhanko.sign.signers import SimpleSigner

_FIELD = "Shop"
_ROOM_DIGITS = 8192
"""Hexadecimal digits kept free for the signature; with the shop's own certificate it takes about 2,000."""


class BadSignatureInput(ValueError):
    """A PDF, key or certificate that cannot be used to sign; says which and what was expected."""


def sign_pdf(pdf: bytes, *, key_pem: bytes, certificate_pem: bytes, at: dt.datetime, reason: str) -> bytes:
    """The PDF with the shop's signature, certified so that any later change invalidates it.

    `at` (aware) is the time of signing that the signature claims; nobody else vouches for it. The certificate is the
    shop's own: a reader says that it is valid and unknown, and its fingerprint on paper says whose it is. ETSI EN 319
    142-1, baseline profile B-B; SHA-256. Refuses what is no PDF and a key that is none of the certificate's
    (`BadSignatureInput`).
    """
    from pyhanko.pdf_utils.misc import PdfError
    from pyhanko.sign import PdfSignatureMetadata, PdfSigner
    from pyhanko.sign.fields import MDPPerm, SigSeedSubFilter

    if at.tzinfo is None:
        raise BadSignatureInput(f"the time of signing is {at}; expected a time with its zone")
    details = PdfSignatureMetadata(
        field_name=_FIELD,
        md_algorithm="sha256",
        subfilter=SigSeedSubFilter.PADES,
        certify=True,
        docmdp_permissions=MDPPerm.NO_CHANGES,
        reason=reason,
    )
    signer = PdfSigner(details, signer=_signer(key_pem, certificate_pem))
    try:
        return _signed(signer, _writer(pdf), at)
    except PdfError as error:
        raise BadSignatureInput(f"what should be signed is no PDF that can be read ({error})") from error


def _writer(pdf: bytes) -> IncrementalPdfFileWriter:
    """Appends the signature and leaves the rest as it is: a PDF/A-3 file stays PDF 1.7, its dates are its own."""
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

    class Appending(IncrementalPdfFileWriter):
        def ensure_output_version(self, version: tuple[int, int]) -> None:
            """The signature needs nothing of PDF 2.0, and PDF/A-3 does not allow it."""

        def _update_meta(self) -> None:
            """The document's dates would become the machine's clock."""

    return Appending(io.BytesIO(pdf))


def _signed(signer: PdfSigner, writer: IncrementalPdfFileWriter, at: dt.datetime) -> bytes:
    """Step by step, so that the time claimed is the one given and not the machine's."""
    from pyhanko.sign.signers.pdf_cms import PdfCMSSignedAttributes

    session = signer.init_signing_session(writer)
    session.system_time = at
    prepared = session.prepare_tbs_document(validation_info=None, bytes_reserved=_ROOM_DIGITS)
    out = io.BytesIO()
    digest, _ = prepared.digest_tbs_document(output=out)
    attributes = PdfCMSSignedAttributes(signing_time=at)
    signing = prepared.perform_signature(document_digest=digest.document_digest, pdf_cms_signed_attrs=attributes)
    asyncio.run(signing)
    return out.getvalue()


def _signer(key_pem: bytes, certificate_pem: bytes) -> SimpleSigner:
    """The shop's key and certificate as the signature library takes them."""
    from asn1crypto import keys, pem, x509
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from pyhanko.sign.signers import SimpleSigner
    from pyhanko_certvalidator.registry import SimpleCertificateStore

    try:
        key = serialization.load_pem_private_key(key_pem, password=None)
        certificate = x509.Certificate.load(pem.unarmor(certificate_pem)[2])
    except (ValueError, TypeError) as error:
        raise BadSignatureInput(
            f"key or certificate is no PEM that can be read ({error}); give both unlocked"
        ) from error
    if not isinstance(key, ec.EllipticCurvePrivateKey) or not isinstance(key.curve, ec.SECP256R1):
        raise BadSignatureInput("the key is not on the curve P-256; expected the shop's signing key")
    spki = key.public_key().public_bytes(serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo)
    if certificate.public_key.dump() != spki:
        raise BadSignatureInput("the certificate is of another key; expected the certificate of the key given")
    private = key.private_bytes(
        serialization.Encoding.DER, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    info = keys.PrivateKeyInfo.load(private)
    return SimpleSigner(signing_cert=certificate, signing_key=info, cert_registry=SimpleCertificateStore())  # type: ignore[no-untyped-call]
