"""Put the laboratory's signature into a PDF: one revision more, after which nothing may change."""

import hashlib
from datetime import datetime
from io import BytesIO

from asn1crypto import keys, pem, x509
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.writer import BasePdfFileWriter
from pyhanko.sign import fields, signers
from pyhanko.sign.signers.pdf_signer import PdfSigningSession
from pyhanko_certvalidator.registry import SimpleCertificateStore

from reports.signing.field_tags import add_tagged_field
from reports.signing.keys import KeyTrouble, SigningKey
from reports.signing.stamps import RESERVED_DIGITS, Authority, Stamper

FIELD, STAMPED_FIELD = "LaboratorySignature", "StampedLaboratorySignature"
"""Of a signature by the laboratory alone, and of one to which a time stamp belongs: the stamp itself is not signed, and
could be taken away; the name of the field is."""


class _Revision(IncrementalPdfFileWriter):
    """A further revision that leaves the file's own metadata as they are: they say how the document was drawn."""

    def __init__(self, pdf: bytes) -> None:
        super().__init__(BytesIO(pdf))
        first = self._document_id[0]
        own = hashlib.sha256(pdf).digest()[:16]  # of what is signed, not of chance: drawn again, it is the same
        self._document_id = generic.ArrayObject([first, generic.ByteStringObject(own)])

    def _update_meta(self) -> None:
        """Nothing of them changes."""


class _AtTime(signers.PdfSigner):
    """Signs as of a moment that is given, not of the clock."""

    def __init__(self, *parts: object, at: datetime, **named: object) -> None:
        super().__init__(*parts, **named)  # type: ignore[arg-type]
        self._at = at

    def init_signing_session(self, pdf_out: BasePdfFileWriter, existing_fields_only: bool = False) -> PdfSigningSession:
        session = super().init_signing_session(pdf_out, existing_fields_only)
        session.system_time = self._at
        return session


def sign_pdf(
    pdf: bytes,
    key: SigningKey,
    *,
    at: datetime,
    name: str,
    place: str,
    meaning: str,
    authority: Authority | None = None,
) -> bytes:
    """Return `pdf` with a certifying signature that permits no change (ISO 32000-1:2008, 12.8.2.2; ETSI EN 319 142-1).

    at: the moment that the signature states. authority: whose clock stamps it (level B-T); None: nobody's (B-B).
    Raises KeyTrouble when the key was not valid then, or the authority gives no time stamp that holds.
    """
    if not key.public.holds_at(at):
        raise KeyTrouble(
            f"The signing key {key.public.sha256[:12]} is valid from {key.public.valid_from:%Y-%m-%d} to"
            f" {key.public.valid_to:%Y-%m-%d}. Make a new one: python3 manage.py make_signing_key --renew --by NAME"
        )
    metadata = signers.PdfSignatureMetadata(
        field_name=STAMPED_FIELD if authority else FIELD,
        md_algorithm="sha256",
        name=name,
        location=place,
        reason=meaning,
        certify=True,
        subfilter=fields.SigSeedSubFilter.PADES,
        docmdp_permissions=fields.MDPPerm.NO_CHANGES,
    )
    revision = _Revision(pdf)
    field = fields.SigFieldSpec(metadata.field_name, on_page=-1, readable_field_name=f"Signature of {name}")
    add_tagged_field(revision, field)
    stamper = Stamper(authority) if authority else None
    signer = _AtTime(metadata, _signer(key), timestamper=stamper, at=at)
    signed = signer.sign_pdf(revision, bytes_reserved=RESERVED_DIGITS if authority else None)
    return bytes(signed.getvalue())


def _signer(key: SigningKey) -> signers.SimpleSigner:
    _, _, der = pem.unarmor(key.public.pem.encode("ascii"))
    return signers.SimpleSigner(
        signing_cert=x509.Certificate.load(der),
        signing_key=keys.PrivateKeyInfo.load(key.private),
        cert_registry=SimpleCertificateStore(),
    )
