"""Say whether a PDF is as the laboratory signed it: from its bytes and the public half alone, without any network.

What must hold, each said where it does not: there is one signature; it covers every byte of the file, so that nothing
was added after it; its digest and its signature are right; what wraps the signature, which no signature can cover, is
written the one way in which it is written here, so that not one byte of the file can be another; it was made with a
key whose public half was given; that key was valid at the moment that the signature states. That moment is the
laboratory's word: no outside clock signs it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from io import BytesIO

from asn1crypto import algos, cms, pem, x509
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko.sign.validation.pdf_embedded import EmbeddedPdfSignature
from pyhanko.sign.validation.status import PdfSignatureStatus, SignatureCoverageLevel
from pyhanko_certvalidator import ValidationContext

from reports.signing.keys import PublicHalf

_NO_MOMENT = datetime(2000, 1, 1, tzinfo=UTC)  # at which no key of ours was valid


@dataclass(frozen=True)
class Verdict:
    """What a file's signature says. problems: empty where all holds; sha256: of the file's bytes."""

    problems: tuple[str, ...]
    sha256: str
    signer: str = ""
    signed_at: datetime | None = None
    key_sha256: str = ""
    meaning: str = ""

    @property
    def holds(self) -> bool:
        """Whether the file is as it was signed, by one of the keys that were given."""
        return not self.problems


def verify_pdf(content: bytes, trusted: Sequence[PublicHalf]) -> Verdict:
    """Return what the signature of a PDF says, judged by the public halves in `trusted`. Never raises for bad files."""
    digest = sha256(content).hexdigest()
    try:
        signatures = PdfFileReader(BytesIO(content), strict=False).embedded_signatures
        if len(signatures) != 1:
            found = "no signature" if not signatures else f"{len(signatures)} signatures"
            return Verdict((f"The file holds {found}; a certificate holds one.",), digest)
        return _of_signature(signatures[0], trusted, digest)
    except Exception as problem:  # whatever a damaged file makes its readers raise: it is not as it was signed
        return Verdict((f"The file cannot be read as a signed PDF ({problem}).",), digest)


def _of_signature(signature: EmbeddedPdfSignature, trusted: Sequence[PublicHalf], digest: str) -> Verdict:
    used = sha256(signature.signer_cert.dump()).hexdigest()
    known = {half.sha256: half for half in trusted}
    signed_at = signature.self_reported_timestamp
    problems = []
    if used not in known:
        problems.append(f"It was signed with another key ({used[:12]}…) than those that were given.")
    elif signed_at is None or not known[used].holds_at(signed_at):
        problems.append("It states a moment at which the key was not valid.")
    status = validate_pdf_signature(signature, _context(known.values(), signed_at))
    problems += _broken(status) + _wrapped_otherwise(signature)
    return Verdict(
        tuple(problems),
        digest,
        str(signature.sig_object.get("/Name", "")),
        signed_at,
        used,
        str(signature.sig_object.get("/Reason", "")),
    )


def _context(trusted: Sequence[PublicHalf] | object, signed_at: datetime | None) -> ValidationContext:
    roots = [x509.Certificate.load(pem.unarmor(half.pem.encode("ascii"))[2]) for half in trusted]  # type: ignore[attr-defined]
    return ValidationContext(
        trust_roots=roots, allow_fetching=False, revocation_mode="soft-fail", moment=signed_at or _NO_MOMENT
    )


def _broken(status: PdfSignatureStatus) -> list[str]:
    problems = []
    if not status.intact:
        problems.append("The file was changed: its bytes do not give the digest that was signed.")
    elif not status.valid:
        problems.append("The signature itself is not right.")
    if status.coverage is not SignatureCoverageLevel.ENTIRE_FILE:
        problems.append("The signature does not cover the whole file: something was added after it, or left out.")
    if status.docmdp_ok is False:
        problems.append("The file was changed after it was signed, which the signature forbids.")
    return problems


def _wrapped_otherwise(signature: EmbeddedPdfSignature) -> list[str]:
    """The container of the signature (RFC 5652, 5.1) compared with the one way to write it: upper case, then zeros."""
    _, start, end, _ = (int(part) for part in signature.byte_range)
    stream = signature.reader.stream
    stream.seek(start)
    written = bytes(stream.read(end - start))
    der = _container(signature).dump()
    expected = b"<" + der.hex().upper().encode("ascii").ljust(end - start - 2, b"0") + b">"
    return [] if written == expected else ["The container of the signature was changed."]


def _container(signature: EmbeddedPdfSignature) -> cms.ContentInfo:
    """What is signed, the signature and the public half, put together anew."""
    signer = signature.signer_info
    certificate = signature.signer_cert
    sha = algos.DigestAlgorithm({"algorithm": "sha256"})
    identifier = cms.IssuerAndSerialNumber(
        {"issuer": certificate.issuer, "serial_number": certificate["tbs_certificate"]["serial_number"]}
    )
    info = cms.SignerInfo(
        {
            "version": "v1",
            "sid": cms.SignerIdentifier({"issuer_and_serial_number": identifier}),
            "digest_algorithm": sha,
            "signed_attrs": signer["signed_attrs"],
            "signature_algorithm": algos.SignedDigestAlgorithm({"algorithm": "sha256_rsa"}),
            "signature": signer["signature"],
        }
    )
    signed = cms.SignedData(
        {
            "version": "v1",
            "digest_algorithms": cms.DigestAlgorithms([sha]),
            "encap_content_info": {"content_type": "data"},
            "certificates": [certificate],
            "signer_infos": [info],
        }
    )
    return cms.ContentInfo({"content_type": "signed_data", "content": signed})
