"""The shop's signature in a PDF: PAdES B-B, ECDSA P-256, no change allowed afterwards."""

from __future__ import annotations

import datetime as dt
import io

_FIELD = "Shop"
_ROOM_BYTES = 8192
"""Kept free for the signature; without timestamps and revocation lists it takes about 1,500 bytes."""


class BadSignatureInput(ValueError):
    """A PDF, key or certificate that cannot be used to sign; says which and what was expected."""


def sign_pdf(pdf: bytes, *, key_pem: bytes, certificate_pem: bytes, at: dt.datetime, reason: str) -> bytes:
    """The PDF with the shop's signature, certified so that any later change invalidates it.

    `at` (aware) is the time of signing that the signature claims; nobody else vouches for it. The certificate is the
    shop's own: a reader says that it is valid and unknown, and its fingerprint on paper says whose it is. ETSI EN 319
    142-1, baseline profile B-B; SHA-256. Refuses what is no PDF and a key that is none of the certificate's
    (`BadSignatureInput`).
    """
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
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
    signer = PdfSigner(details, signer=_signer(key_pem, certificate_pem, at))
    out = io.BytesIO()
    try:
        writer = IncrementalPdfFileWriter(io.BytesIO(pdf))
        signer.sign_pdf(writer, output=out, bytes_reserved=2 * _ROOM_BYTES)
    except PdfError as error:
        raise BadSignatureInput(f"what should be signed is no PDF that can be read ({error})") from error
    return out.getvalue()


def _signer(key_pem: bytes, certificate_pem: bytes, at: dt.datetime) -> object:
    """A signer whose claimed time is `at` and not the machine's clock."""
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
    return SimpleSigner(signing_cert=certificate, signing_key=info, cert_registry=SimpleCertificateStore())
