"""Who has which issue: the first time that somebody of a client fetches a file of it is on record."""

from datetime import datetime
from typing import TYPE_CHECKING

from labresults.acts import BadInput, Done, act
from reports.models import Certificate, CertificateFetch

if TYPE_CHECKING:
    from labresults.models import Person


@act("record_fetch")
def record_fetch(
    *, by: "Person", at: datetime, reason: str, certificate: Certificate, kind: str
) -> Done[CertificateFetch]:
    """Keep that a person of the client fetched a file. Raises BadInput when there is no such file of it for them."""
    if certificate.submission.client_id != by.client_id or not certificate.files.filter(kind=kind).exists():
        raise BadInput(f"There is no {kind} file of {certificate} for {by}.")
    row = CertificateFetch.objects.create(certificate=certificate, kind=kind, made_by=by, made_at=at)
    return Done(row, subject=("certificate", str(certificate)), after={"fetched": kind})
