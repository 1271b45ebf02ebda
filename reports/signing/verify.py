"""Say whether a PDF is as the laboratory signed it: from its bytes and the public half alone, without any network.

What must hold, each said where it does not: there is one signature; it covers every byte of the file, so that nothing
was added after it; its digest and its signature are right; what wraps the signature, which no signature can cover, is
written the one way in which it is written here, so that not one byte of the file can be another; it was made with a
key whose public half was given; that key was valid at the moment that the signature states. That moment is the
laboratory's word. Where an outside clock stamped the signature, its stamp must belong to it, and the key must have been
valid then too; whether it is to be believed depends on a root that whoever checks must have.
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
from reports.signing.sign import STAMPED_FIELD
from reports.signing.stamps import TimeStamp, judge_token, written_one_way

_NO_MOMENT = datetime(2000, 1, 1, tzinfo=UTC)  # at which no key of ours was valid


@dataclass(frozen=True)
class Verdict:
    """What a file's signature says. problems: empty where all holds; sha256: of the file's bytes.

    stamp: of an outside clock; None where the laboratory alone says when it signed.
    """

    problems: tuple[str, ...]
    sha256: str
    signer: str = ""
    signed_at: datetime | None = None
    key_sha256: str = ""
    meaning: str = ""
    stamp: TimeStamp | None = None

    @property
    def holds(self) -> bool:
        """Whether the file is as it was signed, by one of the keys that were given."""
        return not self.problems


def verify_pdf(content: bytes, trusted: Sequence[PublicHalf], roots: Sequence[PublicHalf] = ()) -> Verdict:
    """Return what the signature of a PDF says, judged by the public halves in `trusted`. Never raises for bad files.

    roots: those of authorities of time stamps; a stamp that leads to none of them is told of, and not trusted.
    """
    digest = sha256(content).hexdigest()
    try:
        signatures = PdfFileReader(BytesIO(content), strict=False).embedded_signatures
        if len(signatures) != 1:
            found = "no signature" if not signatures else f"{len(signatures)} signatures"
            return Verdict((f"The file holds {found}; a certificate holds one.",), digest)
        return _of_signature(signatures[0], trusted, roots, digest)
    except Exception as problem:  # whatever a damaged file makes its readers raise: it is not as it was signed
        return Verdict((f"The file cannot be read as a signed PDF ({problem}).",), digest)


def _of_signature(
    signature: EmbeddedPdfSignature, trusted: Sequence[PublicHalf], roots: Sequence[PublicHalf], digest: str
) -> Verdict:
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
    stamp = _stamp(signature, roots)
    problems += _of_stamp(signature, stamp, known.get(used))
    return Verdict(
        tuple(problems),
        digest,
        str(signature.sig_object.get("/Name", "")),
        signed_at,
        used,
        str(signature.sig_object.get("/Reason", "")),
        stamp,
    )


def _stamp(signature: EmbeddedPdfSignature, roots: Sequence[PublicHalf]) -> TimeStamp | None:
    token = _token(signature)
    return None if token is None else judge_token(token, roots, signature.signer_info["signature"].native)


def _token(signature: EmbeddedPdfSignature) -> cms.ContentInfo | None:
    """The time stamp beside the signature (RFC 3161, appendix A), where there is one."""
    for attribute in signature.signer_info["unsigned_attrs"] or ():
        if attribute["type"].native == "signature_time_stamp_token":
            return attribute["values"][0]
    return None


def _of_stamp(signature: EmbeddedPdfSignature, stamp: TimeStamp | None, half: PublicHalf | None) -> list[str]:
    if stamp is None:
        owed = signature.field_name == STAMPED_FIELD
        return ["The time stamp that belongs to the signature was taken away."] if owed else []
    problems = list(stamp.problems)
    if stamp.is_trusted and half is not None and not half.holds_at(stamp.at):
        problems.append("The key was not valid when the outside clock stamped the signature.")
    return problems


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
        | _stamped(signature)
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


def _stamped(signature: EmbeddedPdfSignature) -> dict[str, object]:
    """The one attribute that no signature covers: the time stamp, where one belongs there."""
    token = _token(signature)
    if token is None or signature.field_name != STAMPED_FIELD:
        return {}
    attribute = cms.CMSAttribute({"type": "signature_time_stamp_token", "values": [written_one_way(token)]})
    return {"unsigned_attrs": cms.CMSAttributes([attribute])}
