"""The keys that the laboratory signs with: their public halves are on record, and until when they were used."""

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from django.conf import settings

from labresults.acts import BadInput, Done, WrongState, act
from reports.models import SigningCertificate, SigningCertificateEnd
from reports.queries.signing import stamp_roots
from reports.signing.keys import KeyTrouble, PublicHalf, SigningKey, open_key
from reports.signing.sign import sign_pdf
from reports.signing.stamps import Authority, StampTrouble

if TYPE_CHECKING:
    from labresults.models import Person
    from reports.document import CertificateDocument


@act("register_signing_certificate")
def register_signing_certificate(
    *, by: "Person", at: datetime, reason: str, half: PublicHalf
) -> Done[SigningCertificate]:
    """Put the public half of a key on record: from now on certificates may be signed with it.

    Raises WrongState when it is on record already, BadInput when it is not valid now.
    """
    if SigningCertificate.objects.filter(sha256=half.sha256).exists():
        raise WrongState(f"The key {half.sha256[:12]} is on record already.")
    if not half.holds_at(at):
        raise BadInput(f"The key {half.sha256[:12]} is not valid on {at:%Y-%m-%d}. Make one that is.")
    row = SigningCertificate.objects.create(
        pem=half.pem,
        sha256=half.sha256,
        subject=half.subject[:200],
        valid_from=half.valid_from,
        valid_to=half.valid_to,
        made_by=by,
        made_at=at,
    )
    return Done(row, subject=("signing key", half.sha256[:12]), after={"sha256": half.sha256, "subject": half.subject})


@act("end_signing_certificate")
def end_signing_certificate(
    *, by: "Person", at: datetime, reason: str, certificate: SigningCertificate, is_compromised: bool = False
) -> Done[SigningCertificateEnd]:
    """From now on nothing is signed with it. Compromised: nobody can trust any more what it signed.

    Raises BadInput without a reason, WrongState when it was ended already.
    """
    if not reason:
        raise BadInput("Say why the key is not used any more.")
    if hasattr(certificate, "end"):
        raise WrongState(f"The key {certificate.sha256[:12]} was ended already.")
    row = SigningCertificateEnd.objects.create(
        certificate=certificate, is_compromised=is_compromised, reason=reason, made_by=by, made_at=at
    )
    return Done(row, subject=("signing key", certificate.sha256[:12]), after={"compromised": is_compromised})


def registered_key(at: datetime) -> SigningKey:
    """The key in the folder of the settings, if it is on record and was not ended. Raises WrongState where not."""
    try:
        key = open_key(Path(settings.KEYS), settings.KEY_PASSPHRASE)
    except KeyTrouble as trouble:
        raise WrongState(str(trouble)) from trouble
    row = SigningCertificate.objects.filter(sha256=key.public.sha256).select_related("end").first()
    name = key.public.sha256[:12]
    if row is None:
        raise WrongState(f"The signing key {name} is not on record. Register it: manage.py make_signing_key --register")
    if hasattr(row, "end"):
        raise WrongState(f"The signing key {name} is not used any more: {row.end.reason} Make a new one.")
    return key


def signed(pdf: bytes, document: "CertificateDocument", at: datetime) -> bytes:
    """The PDF of a certificate with the laboratory's signature, stamped by an outside clock if the settings name one.

    Raises WrongState when there is no key for it, or no time stamp: a certificate that should bear one is never issued
    without, since then one that was dated back could be called one from an outage.
    """
    key = registered_key(at)
    meaning = f"{document.title} {document.number}, issue {document.issue}, issued for the laboratory"
    try:
        return sign_pdf(
            pdf, key, at=at, name=document.laboratory, place=document.place_of_work, meaning=meaning,
            authority=_authority(),
        )  # fmt: skip
    except StampTrouble as trouble:
        raise WrongState(f"{trouble} What is frozen stays as it is, and is not public: draw it again.") from trouble
    except KeyTrouble as trouble:
        raise WrongState(str(trouble)) from trouble


def _authority() -> Authority | None:
    if not settings.TIMESTAMPS:
        return None
    return Authority(settings.TIMESTAMPS, stamp_roots())
