"""An authority of time stamps of our own: a root, one below it, and the one that stamps; in here, or behind HTTP."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from http.server import BaseHTTPRequestHandler, HTTPServer
from threading import Thread

from asn1crypto import keys, tsp
from asn1crypto import x509 as asn1
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID
from pyhanko.sign.timestamps import DummyTimeStamper

from reports.signing.keys import PublicHalf, public_half
from reports.signing.stamps import Authority

SINCE = datetime(2026, 1, 1, tzinfo=UTC)
ADDRESS = "http://clock.example/stamp"


@dataclass(frozen=True)
class Clock:
    """What stamps, and its root."""

    root: PublicHalf
    below: x509.Certificate
    stamps: x509.Certificate
    key: rsa.RSAPrivateKey

    def asker(self, at: datetime | None, more: tuple[x509.Certificate, ...] = ()) -> DummyTimeStamper:
        """What answers a request, at that moment of its clock; more: certificates that it sends needlessly."""
        der = serialization.Encoding.DER
        private = self.key.private_bytes(der, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
        return DummyTimeStamper(
            asn1.Certificate.load(self.stamps.public_bytes(der)),
            keys.PrivateKeyInfo.load(private),
            [asn1.Certificate.load(one.public_bytes(der)) for one in (self.below, *more)],
            fixed_dt=at,
        )

    def authority(self, at: datetime, **more: tuple[x509.Certificate, ...]) -> Authority:
        """The authority as a certificate is signed with it."""
        return Authority(ADDRESS, [self.root], self.asker(at, **more))


@cache
def a_clock(name: str = "Tern Rock Clock", bits: int = 2048, since: datetime = SINCE) -> Clock:
    """An authority with keys of its own, made once."""
    top, middle, own = (rsa.generate_private_key(public_exponent=65537, key_size=bits) for _ in range(3))
    root = _certificate(f"{name}, root", top, f"{name}, root", top, since, is_authority=True)
    below = _certificate(f"{name}, 2026", middle, f"{name}, root", top, since, is_authority=True)
    stamps = _certificate(name, own, f"{name}, 2026", middle, since, is_authority=False)
    return Clock(public_half(root.public_bytes(serialization.Encoding.PEM).decode()), below, stamps, own)


@contextmanager
def served(asker: DummyTimeStamper | None, kind: str = "application/timestamp-reply") -> Iterator[str]:
    """The address of a server on loopback that answers requests (RFC 3161, 3.4); None: with nonsense."""

    class Answering(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            asked = self.rfile.read(int(self.headers["Content-Length"]))
            said = asker.request_tsa_response(tsp.TimeStampReq.load(asked)).dump() if asker else b"nonsense"
            self.send_response(200)
            self.send_header("Content-Type", kind)
            self.send_header("Content-Length", str(len(said)))
            self.end_headers()
            self.wfile.write(said)

        def log_message(self, *said: object) -> None:
            """Silent."""

    server = HTTPServer(("127.0.0.1", 0), Answering)
    thread = Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/stamp"
    finally:
        server.shutdown()
        server.server_close()


def _certificate(
    name: str, key: rsa.RSAPrivateKey, by: str, by_key: rsa.RSAPrivateKey, since: datetime, is_authority: bool
) -> x509.Certificate:
    usage = x509.KeyUsage(
        digital_signature=not is_authority, content_commitment=False, key_encipherment=False, data_encipherment=False,
        key_agreement=False, key_cert_sign=is_authority, crl_sign=is_authority, encipher_only=False,
        decipher_only=False,
    )  # fmt: skip
    builder = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)]))
        .issuer_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, by)]))
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(since)
        .not_valid_after(since + timedelta(days=4 * 365))
        .add_extension(x509.BasicConstraints(ca=is_authority, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(by_key.public_key()), critical=False)
    )
    if not is_authority:
        builder = builder.add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.TIME_STAMPING]), critical=True)
    return builder.sign(by_key, hashes.SHA256())
