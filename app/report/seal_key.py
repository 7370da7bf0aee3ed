"""The key of the clinic's seal: read from a PKCS#12 file, or made once and kept."""

import os
import secrets
import unicodedata
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from app.language.words import _

if TYPE_CHECKING:
    from pyhanko.sign.signers import SimpleSigner

# A key that nobody outside vouches for gains nothing by running out soon; pages must outlive it.
VALID_FOR = timedelta(days=365 * 10)
# Servers that share a folder need not agree on the time to the second.
_BEFORE = timedelta(days=1)
_ALIAS = b"evenhand seal"
# X.520: what a common name and an organisation's name may have.
_LONGEST_NAME = 64


class CannotSeal(ValueError):
    """No seal can be given; the message says why in one line, without the passphrase."""


@dataclass(frozen=True)
class SealKey:
    """A key with its certificate. name: the organisation it names; certificate: in DER."""

    signer: "SimpleSigner"
    certificate: bytes
    name: str
    not_before: datetime
    not_after: datetime

    def check(self, now: datetime) -> None:
        """Refuse a certificate that does not hold now.

        Raises: CannotSeal.
        """
        if now < self.not_before:
            raise CannotSeal(
                _("the certificate holds only from {not_before}").format(
                    not_before=_when(self.not_before)
                )
            )
        if now > self.not_after:
            raise CannotSeal(
                _("the certificate ran out on {not_after}").format(not_after=_when(self.not_after))
            )


def read_key(file: Path, passphrase: str) -> SealKey:
    """Read a PKCS#12 file.

    Raises: CannotSeal, where it is missing, not such a file, or the passphrase is another.
    """
    try:
        content = file.read_bytes()
    except OSError as error:
        raise CannotSeal(
            _("{file} cannot be read: {strerror}").format(file=file, strerror=error.strerror)
        ) from None
    from pyhanko.sign.signers import SimpleSigner

    try:
        # None and an empty passphrase are not the same to PKCS#12.
        signer = SimpleSigner.load_pkcs12_data(
            content, other_certs=[], passphrase=passphrase.encode() if passphrase else None
        )
    except (ValueError, TypeError):
        raise CannotSeal(
            _("{file}: not a PKCS#12 file, or the passphrase is wrong").format(file=file)
        ) from None
    certificate = signer.signing_cert
    if certificate is None:
        raise CannotSeal(_("{file}: holds no certificate for its key").format(file=file))
    return SealKey(
        signer,
        certificate.dump(),
        name_of(certificate.subject.native),
        certificate.not_valid_before,
        certificate.not_valid_after,
    )


def own_key(file: Path, clinic: str, now: datetime) -> SealKey:
    """The key that was made at first start, or one made now; readable for its owner alone.

    Several servers over one folder end up with the same key, whoever was first.
    Raises: CannotSeal, where the file cannot be written or read.
    """
    if not file.exists():
        try:
            _make(file, clinic, now)
        except OSError as error:
            raise CannotSeal(
                _("{file} cannot be written: {strerror}").format(file=file, strerror=error.strerror)
            ) from None
    return read_key(file, "")


def name_of(subject: object) -> str:
    """Whom a certificate names: its common name, or else its organisation."""
    names = subject if isinstance(subject, dict) else {}
    for part in ("common_name", "organization_name"):
        found = names.get(part)
        if isinstance(found, str) and found:
            return found
    return _("somebody whom the certificate does not name")


def _make(file: Path, clinic: str, now: datetime) -> None:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.hazmat.primitives.serialization import pkcs12
    from cryptography.x509.oid import NameOID

    key = ec.generate_private_key(ec.SECP256R1())
    name = _fitting(clinic) or "Evenhand"
    subject = x509.Name(
        [
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, name),
            x509.NameAttribute(NameOID.COMMON_NAME, _fitting(f"Seal of {name}")),
        ]
    )
    public = key.public_key()
    certificate = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(public)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now.astimezone(UTC) - _BEFORE)
        .not_valid_after(now.astimezone(UTC) + VALID_FOR)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(
            x509.KeyUsage(
                digital_signature=True,
                content_commitment=True,
                key_encipherment=False,
                data_encipherment=False,
                key_agreement=False,
                key_cert_sign=False,
                crl_sign=False,
                encipher_only=False,
                decipher_only=False,
            ),
            critical=True,
        )
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public), critical=False)
        .sign(key, hashes.SHA256())
    )
    content = pkcs12.serialize_key_and_certificates(
        _ALIAS, key, certificate, None, serialization.NoEncryption()
    )
    file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    # Whole or not at all, and never over one that another server has just put there.
    part = file.with_name(f".{file.name}.{secrets.token_hex(8)}")
    descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(descriptor, "wb") as written:
            written.write(content)
            written.flush()
            os.fsync(written.fileno())
        with suppress(FileExistsError):
            os.link(part, file)
    finally:
        part.unlink()


def _fitting(name: str) -> str:
    kept = "".join(c for c in name if unicodedata.category(c)[0] != "C")
    return " ".join(kept.split())[:_LONGEST_NAME].strip()


def _when(moment: datetime) -> str:
    return f"{moment.astimezone(UTC):%Y-%m-%d %H:%M} UTC"
