"""The key that certificates are signed with: made once, kept in a folder outside the database.

A folder holds `signing-key.pem` (private: PKCS #8, encrypted where there is a passphrase) and `signing-certificate.pem`
(public: X.509, signed by itself, to be given to whoever wants to check). RSA of 3072 bits with SHA-256: 128 bits of
strength (NIST SP 800-57 Part 1 Rev. 5, table 2), understood by every reader of PDF, and the same bytes each time.
"""

import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.x509.oid import NameOID

KEY_FILE, CERTIFICATE_FILE = "signing-key.pem", "signing-certificate.pem"
BITS = 3072
YEARS = 5
"""How long a key is used (common practice, no source); what it signed stays valid afterwards."""


class KeyTrouble(Exception):
    """The key cannot be used: says why, and what to do."""


@dataclass(frozen=True)
class PublicHalf:
    """An X.509 certificate. sha256: its fingerprint, hex; times in UTC."""

    pem: str
    sha256: str
    subject: str
    valid_from: datetime
    valid_to: datetime

    def holds_at(self, moment: datetime) -> bool:
        """Whether something may be signed with it at that moment."""
        return self.valid_from <= moment <= self.valid_to


@dataclass(frozen=True)
class SigningKey:
    """A private key with its public half, as DER."""

    private: bytes
    public: PublicHalf


def make_key(folder: Path, *, laboratory: str, at: datetime, passphrase: str = "") -> PublicHalf:
    """Make a key in `folder` and return its public half. Raises KeyTrouble when there is one: it is kept."""
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    for name in (KEY_FILE, CERTIFICATE_FILE):
        if (folder / name).exists():
            raise KeyTrouble(
                f"{folder / name} is there already. Move it away first: what it signed is checked with its public half."
            )
    key = rsa.generate_private_key(public_exponent=65537, key_size=BITS)
    certificate = _self_signed(key, laboratory, at)
    hidden: serialization.KeySerializationEncryption = (
        serialization.BestAvailableEncryption(passphrase.encode()) if passphrase else serialization.NoEncryption()
    )
    pem = key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, hidden)
    _write_private(folder / KEY_FILE, pem)
    (folder / CERTIFICATE_FILE).write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    return _public_half(certificate)


def set_aside(folder: Path) -> list[Path]:
    """Rename the files of the key that is there by its fingerprint, so that a new one can be made. Returns both."""
    mark = read_public(folder / CERTIFICATE_FILE).sha256[:12]
    moved = []
    for name in (KEY_FILE, CERTIFICATE_FILE):
        stem, suffix = name.rsplit(".", 1)
        moved.append((folder / name).rename(folder / f"{stem}-{mark}.{suffix}"))
    return moved


def open_key(folder: Path, passphrase: str = "") -> SigningKey:
    """Open the key in `folder`. Raises KeyTrouble when there is none, or the passphrase does not open it."""
    path = folder / KEY_FILE
    if not path.exists():
        raise KeyTrouble(f"There is no signing key in {folder}. Make one: python3 manage.py make_signing_key --by NAME")
    try:
        key = serialization.load_pem_private_key(path.read_bytes(), passphrase.encode() if passphrase else None)
    except (ValueError, TypeError) as problem:
        raise KeyTrouble(f"{path} cannot be opened. Set LABRESULTS_KEY_PASSPHRASE to its passphrase.") from problem
    plain = key.private_bytes(
        serialization.Encoding.DER, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    return SigningKey(plain, read_public(folder / CERTIFICATE_FILE))


def read_public(path: Path) -> PublicHalf:
    """Read the first public half that a file holds. Raises KeyTrouble when it holds none."""
    return read_public_halves(path)[0]


def public_half(pem: str) -> PublicHalf:
    """The public half that a PEM text holds. Raises ValueError when it holds none."""
    return _public_half(x509.load_pem_x509_certificate(pem.encode("ascii")))


def read_public_halves(path: Path) -> Sequence[PublicHalf]:
    """Read every public half that a file holds, in order. Raises KeyTrouble when it holds none."""
    try:
        return [_public_half(one) for one in x509.load_pem_x509_certificates(path.read_bytes())]
    except (OSError, ValueError) as problem:
        raise KeyTrouble(f"{path} holds no certificate of a signing key (PEM). Ask the laboratory for it.") from problem


def public_halves_in(folder: Path) -> Sequence[PublicHalf]:
    """Read the public halves in a folder of keys: of the one that signs, then of those set aside for newer ones.

    Raises KeyTrouble where there is none, or one of them cannot be read.
    """
    stem, suffix = CERTIFICATE_FILE.rsplit(".", 1)
    aside = sorted(folder.glob(f"{stem}-*.{suffix}"))
    return [half for path in (folder / CERTIFICATE_FILE, *aside) for half in read_public_halves(path)]


def _self_signed(key: rsa.RSAPrivateKey, laboratory: str, at: datetime) -> x509.Certificate:
    name = x509.Name(
        [
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, laboratory[:64]),
            x509.NameAttribute(NameOID.COMMON_NAME, f"{laboratory[:46]}, certificates"),
        ]
    )
    usage = x509.KeyUsage(
        digital_signature=True, content_commitment=True, key_encipherment=False, data_encipherment=False,
        key_agreement=False, key_cert_sign=False, crl_sign=False, encipher_only=False, decipher_only=False,
    )  # fmt: skip
    return (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(at - timedelta(minutes=5))  # clocks differ
        .not_valid_after(at + timedelta(days=round(365.25 * YEARS)))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )


def _public_half(certificate: x509.Certificate) -> PublicHalf:
    return PublicHalf(
        pem=certificate.public_bytes(serialization.Encoding.PEM).decode("ascii"),
        sha256=certificate.fingerprint(hashes.SHA256()).hex(),
        subject=certificate.subject.rfc4514_string(),
        valid_from=certificate.not_valid_before_utc,
        valid_to=certificate.not_valid_after_utc,
    )


def _write_private(path: Path, content: bytes) -> None:
    """Readable by its owner only, from its first byte on."""
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "wb") as file:
        file.write(content)
