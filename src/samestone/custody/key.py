"""The shop's key: ECDSA on P-256, because browsers, PDF readers and openssl all check it."""

from __future__ import annotations

import datetime
import hashlib
from dataclasses import dataclass

from cryptography import x509
from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature, encode_dss_signature
from cryptography.x509.oid import NameOID

RAW_BYTES = 64
_YEARS_VALID = 30


class BadKey(ValueError):
    """Not a P-256 key, or the password does not open it."""


@dataclass(frozen=True)
class Signature:
    """One signature, written twice: ``raw`` is r || s for WebCrypto (64 bytes), ``der`` for openssl."""

    raw: bytes

    @property
    def der(self) -> bytes:
        return encode_dss_signature(int.from_bytes(self.raw[:32], "big"), int.from_bytes(self.raw[32:], "big"))


@dataclass(frozen=True)
class Key:
    """A private P-256 key with its public half; ``fingerprint`` is what the paper shows."""

    private: ec.EllipticCurvePrivateKey

    @classmethod
    def generate(cls) -> Key:
        """A new key from the operating system's randomness."""
        return cls(ec.generate_private_key(ec.SECP256R1()))

    @classmethod
    def from_pem(cls, pem: bytes, password: str | None = None) -> Key:
        """Refuses a wrong password and any key that is not P-256."""
        try:
            private = serialization.load_pem_private_key(pem, password.encode() if password else None)
        except (ValueError, TypeError) as error:
            raise BadKey(f"the key cannot be opened, is the password right? ({error})") from error
        if not isinstance(private, ec.EllipticCurvePrivateKey) or not isinstance(private.curve, ec.SECP256R1):
            raise BadKey("found another kind of key; expected ECDSA on P-256")
        return cls(private)

    def to_pem(self, password: str | None = None) -> bytes:
        """PKCS#8; encrypted where a password is given."""
        guard: serialization.KeySerializationEncryption = serialization.NoEncryption()
        if password:
            guard = serialization.BestAvailableEncryption(password.encode())
        return self.private.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, guard)

    @property
    def public_pem(self) -> bytes:
        """SubjectPublicKeyInfo (RFC 5280, 4.1.2.7)."""
        return self.private.public_key().public_bytes(
            serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo
        )

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the public key in DER, 64 hexadecimal digits."""
        return fingerprint(self.public_pem)

    @property
    def printed(self) -> str:
        """The fingerprint in sixteen groups of four, as it stands on paper."""
        return in_groups(self.fingerprint)

    def sign(self, data: bytes) -> Signature:
        """ECDSA with SHA-256 and the deterministic nonce of RFC 6979: the same data gives the same signature."""
        der = self.private.sign(data, ec.ECDSA(hashes.SHA256(), deterministic_signing=True))
        r, s = decode_dss_signature(der)
        return Signature(r.to_bytes(32, "big") + s.to_bytes(32, "big"))

    def certificate_pem(self, *, name: str, at: datetime.datetime) -> bytes:
        """A self-signed certificate for ``name``, valid from ``at`` (with time zone) for thirty years.

        It lets PDF readers check a signature; that the key is the shop's is shown by the fingerprint on paper.
        """
        subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
        usage = x509.KeyUsage(True, True, False, False, False, False, False, False, False)
        builder = (
            x509.CertificateBuilder()
            .subject_name(subject)
            .issuer_name(subject)
            .public_key(self.private.public_key())
            .serial_number(int(hashlib.sha256(self.public_pem + at.isoformat().encode()).hexdigest()[:30], 16) + 1)
            .not_valid_before(at)
            .not_valid_after(at.replace(year=at.year + _YEARS_VALID, day=min(at.day, 28)))
            .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
            .add_extension(usage, critical=True)
            .add_extension(x509.SubjectKeyIdentifier.from_public_key(self.private.public_key()), critical=False)
        )
        signed = builder.sign(self.private, hashes.SHA256(), ecdsa_deterministic=True)
        return signed.public_bytes(serialization.Encoding.PEM)


def fingerprint(public_pem: bytes) -> str:
    """SHA-256 of a P-256 public key in DER; the same as ``openssl pkey -pubin -outform DER | sha256sum``."""
    der = _public(public_pem).public_bytes(serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo)
    return hashlib.sha256(der).hexdigest()


def in_groups(digits: str) -> str:
    """Digits in groups of four, for reading out."""
    return " ".join(digits[place : place + 4] for place in range(0, len(digits), 4))


def verify_signature(public_pem: bytes, raw: bytes, data: bytes) -> bool:
    """Whether ``raw`` (r || s) is the key's signature over ``data``."""
    if len(raw) != RAW_BYTES:
        return False
    try:
        _public(public_pem).verify(Signature(raw).der, data, ec.ECDSA(hashes.SHA256()))
    except InvalidSignature:
        return False
    return True


def certificate_key(certificate_pem: bytes) -> bytes:
    """The public key inside a certificate, as PEM."""
    try:
        public = x509.load_pem_x509_certificate(certificate_pem).public_key()
    except (ValueError, UnsupportedAlgorithm) as error:
        raise BadKey(f"the certificate cannot be read ({error})") from error
    return public.public_bytes(serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo)


def _public(public_pem: bytes) -> ec.EllipticCurvePublicKey:
    try:
        public = serialization.load_pem_public_key(public_pem)
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise BadKey(f"the public key cannot be read ({error})") from error
    if not isinstance(public, ec.EllipticCurvePublicKey) or not isinstance(public.curve, ec.SECP256R1):
        raise BadKey("found another kind of public key; expected ECDSA on P-256")
    return public
