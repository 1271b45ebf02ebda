"""Time stamps by an outside clock (RFC 3161): asked for when a certificate is signed, and judged offline afterwards.

A token says that the signature was there at a moment, in the word of an authority that is not the laboratory. Only what
the authority signed counts: it is written one way only, with no certificate that is not needed, so that not one byte of
it can be another, once it leads to a root that was given. Whether the authority's key was called back is not asked:
that needs a network.
"""

import asyncio
import hashlib
import logging
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from asn1crypto import algos, cms, pem, x509
from pyhanko.sign.general import extract_certificate_info
from pyhanko.sign.timestamps import TimeStamper
from pyhanko.sign.timestamps.aiohttp_client import HTTPTimeStamper
from pyhanko.sign.validation.generic_cms import validate_tst_signed_data
from pyhanko.sign.validation.status import TimestampSignatureStatus
from pyhanko_certvalidator import ValidationContext

from reports.signing.keys import KeyTrouble, PublicHalf

logging.getLogger("pyhanko").setLevel(logging.CRITICAL)  # what is wrong is said in words, by whoever asked

ANSWERS_WITHIN_S = 20
RESERVED_DIGITS = 32 * 1024
"""Hex digits kept free in the file for signature and token, 16 KiB: tokens have some 2 to 8 (from memory)."""
MOST_TOKEN_BYTES = RESERVED_DIGITS // 2 - 5 * 1024


class StampTrouble(KeyTrouble):
    """There is no time stamp that holds: says why."""


@dataclass(frozen=True)
class TimeStamp:
    """What a token says. by: subject of the authority's certificate; problems: empty where it covers the signature."""

    at: datetime
    by: str
    is_trusted: bool  # it leads to a root that was given
    problems: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Judged:
    stamp: TimeStamp
    needed: list[x509.Certificate]  # from the authority's own up to below the root


class Authority:
    """An authority of time stamps: where it is reached, and the roots that its certificates lead to."""

    def __init__(self, address: str, roots: Sequence[PublicHalf], asker: TimeStamper | None = None) -> None:
        """asker: asks it in another way than by HTTP."""
        if not roots:
            raise StampTrouble(
                "The root certificate of the time-stamping authority is not given: set LABRESULTS_TIMESTAMPS_ROOT to"
                " its file (PEM), so that its stamps can be checked."
            )
        self.address = address
        self.roots = tuple(roots)
        self.asker = asker or HTTPTimeStamper(address, timeout=ANSWERS_WITHIN_S)


class Stamper(TimeStamper):
    """Asks an authority, and hands on its token only once it is judged, written in the one way."""

    def __init__(self, authority: Authority) -> None:
        super().__init__()
        self._authority = authority

    async def async_timestamp(self, message_digest: bytes, md_algorithm: str) -> cms.ContentInfo:
        """The token for a digest. Raises StampTrouble when the authority gives none that is good, in words."""
        where = f"The time-stamping authority at {self._authority.address}"
        try:
            token = await self._authority.asker.async_timestamp(message_digest, md_algorithm)
            judged = await _judge(token, self._authority.roots, lambda _: message_digest)
            written = written_one_way(token, judged.needed)
        except Exception as trouble:  # no network, no answer, another answer than a token: whatever its readers raise
            raise StampTrouble(f"{where} gave no time stamp ({_in_words(trouble)}).") from trouble
        if judged.stamp.problems or not judged.stamp.is_trusted:
            why = " ".join(judged.stamp.problems) or "It does not lead to the root in LABRESULTS_TIMESTAMPS_ROOT."
            raise StampTrouble(f"{where} gave a time stamp that does not hold: {why}")
        if len(written.dump()) > MOST_TOKEN_BYTES:
            raise StampTrouble(f"{where} gave a time stamp of more than {MOST_TOKEN_BYTES} bytes: there is no room.")
        return written


def judge_token(token: cms.ContentInfo, roots: Sequence[PublicHalf], signature: bytes) -> TimeStamp:
    """What a token says of a signature. Raises whatever a damaged token makes its readers raise."""
    judged = asyncio.run(_judge(token, roots, lambda algorithm: hashlib.new(algorithm, signature).digest()))
    problems = list(judged.stamp.problems)
    needless = {one.dump() for one in _certificates(token)} - {one.dump() for one in judged.needed}
    if roots and not judged.stamp.is_trusted:
        problems.append(f"The time stamp, of {judged.stamp.by}, leads to none of the roots that were given.")
    if needless:
        problems.append("The time stamp holds certificates that are not needed.")
    return TimeStamp(judged.stamp.at, judged.stamp.by, judged.stamp.is_trusted, tuple(problems))


def written_one_way(token: cms.ContentInfo, certificates: Sequence[x509.Certificate] | None = None) -> cms.ContentInfo:
    """The token put together anew of what the authority signed (RFC 5652, 5.1), and of certificates: else of its own.

    What nobody signed (the order of things, versions, how a signer is named) is written as here, whatever it was.
    """
    signed = token["content"]
    signer = _only(signed["signer_infos"])
    own = extract_certificate_info(signed).signer_cert
    digest = algos.DigestAlgorithm({"algorithm": signer["digest_algorithm"]["algorithm"].native})
    identifier = cms.IssuerAndSerialNumber(
        {"issuer": own.issuer, "serial_number": own["tbs_certificate"]["serial_number"]}
    )
    info = cms.SignerInfo(
        {
            "version": "v1",
            "sid": cms.SignerIdentifier({"issuer_and_serial_number": identifier}),
            "digest_algorithm": digest,
            "signed_attrs": signer["signed_attrs"],
            "signature_algorithm": _algorithm(signer),
            "signature": signer["signature"].native,
        }
    )
    content = cms.EncapsulatedContentInfo(
        {"content_type": "tst_info", "content": cms.ParsableOctetString(bytes(signed["encap_content_info"]["content"]))}
    )
    parts = {
        "version": "v3",
        "digest_algorithms": cms.DigestAlgorithms([digest]),
        "encap_content_info": content,
        "certificates": [_certificate(one) for one in (certificates or _certificates(token))],
        "signer_infos": [info],
    }
    return cms.ContentInfo({"content_type": "signed_data", "content": cms.SignedData(parts)})


async def _judge(token: cms.ContentInfo, roots: Sequence[PublicHalf], expected: Any) -> _Judged:
    signed = token["content"]
    info = signed["encap_content_info"]["content"].parsed
    at = info["gen_time"].native
    trusted = [x509.Certificate.load(pem.unarmor(root.pem.encode("ascii"))[2]) for root in roots]
    context = ValidationContext(trust_roots=trusted, allow_fetching=False, revocation_mode="soft-fail", moment=at)
    status = TimestampSignatureStatus(**await validate_tst_signed_data(signed, context, expected))
    path = status.validation_path if status.trusted else None  # there may be one that is broken
    needed = list(path.iter_certs(include_root=False)) if path else _certificates(token)
    problems = []
    if not (status.valid and status.intact):
        problems.append("The time stamp does not belong to this signature, or was changed.")
    stamp = TimeStamp(at, _name(status.signing_cert), path is not None, tuple(problems))
    return _Judged(stamp, needed)


def _name(certificate: x509.Certificate) -> str:
    """As the authority calls itself: its common name, else all that it says."""
    named = certificate.subject.native
    return str(named.get("common_name") or certificate.subject.human_friendly)


def _certificates(token: cms.ContentInfo) -> list[x509.Certificate]:
    return [one.chosen for one in token["content"]["certificates"] if one.name == "certificate"]


def _certificate(one: x509.Certificate) -> x509.Certificate:
    """A certificate put together anew of what its issuer signed (RFC 5280, 4.1.1.2: both algorithms are the same)."""
    body = one["tbs_certificate"]
    return x509.Certificate(
        {
            "tbs_certificate": body,
            "signature_algorithm": body["signature"],
            "signature_value": one["signature_value"].native,
        }
    )


def _algorithm(signer: cms.SignerInfo) -> algos.SignedDigestAlgorithm:
    """Named with its digest, and without parameters where the name says all."""
    kind = signer["signature_algorithm"].signature_algo
    digest = signer["digest_algorithm"]["algorithm"].native
    names = {"rsassa_pkcs1v15": f"{digest}_rsa", "ecdsa": f"{digest}_ecdsa"}
    if kind in names:
        return algos.SignedDigestAlgorithm({"algorithm": names[kind]})
    return algos.SignedDigestAlgorithm.load(signer["signature_algorithm"].dump(force=True))


def _only(rows: Any) -> Any:
    if len(rows) != 1:
        raise ValueError("it is signed more than once, or not at all")
    return rows[0]


def _in_words(trouble: Exception) -> str:
    cause = trouble.__cause__ or trouble
    return f"{type(cause).__name__}: {cause}"[:200]
