"""Telling clients of a certificate: a letter with a link and no contents, and a row that says who was told of what."""

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from django.conf import settings
from django.core.mail import EmailMessage
from django.urls import reverse

from labresults.acts import BadInput, Done, WrongState, act
from labresults.queries.nonconforming import case
from labresults.terms import NoticeKind
from reports.document import CertificateDocument
from reports.models import Certificate, Notice
from reports.queries.recipients import Addressee, is_touched

if TYPE_CHECKING:
    from labresults.models import NonconformingWork, Person

_FILE = "certificate-file"
_ADDED = "is added to: this issue holds all of the issue before, unchanged, and more"
_SAID = {
    NoticeKind.ISSUED: "is issued",
    NoticeKind.AMENDED: "is amended: it replaces the issue before, which is not to be used any more",
    NoticeKind.WITHDRAWN: "is withdrawn and not to be used any more",
    NoticeKind.NONCONFORMING: "may be wrong in part: read there what is not to be used for now",
}


def _sent(
    *,
    certificate: Certificate,
    kind: NoticeKind,
    to: Sequence[Addressee],
    work: "NonconformingWork | None" = None,
    **_: object,
) -> list[tuple[Addressee, str]]:
    """Hand a letter for each address to the mail server, before the lock; each with what kept it from going.

    What would be refused is refused here already: a letter that has left cannot be called back.
    """
    _refuse(certificate, kind, to, work)
    said = _SAID[kind]
    if kind == NoticeKind.AMENDED and CertificateDocument.from_json(certificate.document).is_supplement:
        said = _ADDED
    return [(addressee, _send(certificate, kind, addressee, said)) for addressee in to]


@act("notify_client", prepare=_sent)
def notify_client(
    *,
    by: "Person",
    at: datetime,
    reason: str,
    certificate: Certificate,
    kind: NoticeKind,
    to: Sequence[Addressee],
    work: "NonconformingWork | None" = None,
    words: str = "",
    prepared: list[tuple[Addressee, str]],
) -> Done[list[Notice]]:
    """Tell these people of a certificate. A letter that could not go is kept with its trouble, and can be sent again.

    to: who is told; without an address somebody is told on the portal only. work, words: what was wrong, and what its
    client reads of it on the portal, of a notice of nonconforming work. Raises BadInput when nobody is named, or such
    a notice names no work; WrongState before the files are there, since nobody could open them.
    """
    _refuse(certificate, kind, to, work)
    rows = Notice.objects.bulk_create(
        Notice(
            certificate=certificate, kind=kind, work=work, words=words, name=addressee.name, email=addressee.email,
            trouble=trouble, made_by=by, made_at=at,
        )
        for addressee, trouble in prepared
    )  # fmt: skip
    told = [row.email or "portal" for row in rows if not row.trouble]
    not_told = {row.email: row.trouble for row in rows if row.trouble}
    said = {"words": words, "not told": not_told}
    after = {"kind": kind, "told": told, **{name: value for name, value in said.items() if value}}
    return Done(rows, subject=("certificate", str(certificate)), after=after)


def _refuse(
    certificate: Certificate, kind: NoticeKind, to: Sequence[Addressee], work: "NonconformingWork | None"
) -> None:
    """Raise BadInput or WrongState where nobody may be told, as `notify_client` says."""
    if not to:
        raise BadInput("Nobody is named who could be told. Register a recipient of the client.")
    if kind == NoticeKind.NONCONFORMING and work is None:
        raise BadInput("Which nonconforming work is it? Tell the client from its page.")
    if not certificate.files.exists():
        raise WrongState(f"{certificate} is not drawn yet: nobody can open it.")
    if work is not None and case(work.number).closed:
        raise WrongState(f"{work} was closed, for good: nobody is told of it any more. Open another case.")
    if work is not None and not is_touched(certificate, work):
        raise BadInput(f"{certificate} holds nothing that {work} touched: its client has nothing to be told.")


def _send(certificate: Certificate, kind: NoticeKind, to: Addressee, said: str) -> str:
    """Send one letter; returns what kept it from going, "" when it was handed over."""
    if not to.email:
        return ""
    letter = EmailMessage(_subject(certificate, kind), _body(certificate, kind, to, said), to=[to.email])
    try:
        letter.send()
    except Exception as trouble:  # whatever a mail server says: the act goes on, and the trouble is kept with it
        return f"{type(trouble).__name__}: {trouble}"[:500]
    return ""


def _subject(certificate: Certificate, kind: NoticeKind) -> str:
    return f"Certificate {certificate}: {kind}"


def _body(certificate: Certificate, kind: NoticeKind, to: Addressee, said: str) -> str:
    """Links, never contents: a letter may be read by anybody on its way."""
    page = f"{settings.ADDRESS}{reverse('my-certificate', args=[certificate.number, certificate.issue])}"
    files = "".join(
        f"\n{words}: {settings.ADDRESS}{reverse(_FILE, args=[certificate.number, certificate.issue, each])}"
        for each, words in to.files_of(certificate)
    )
    links = files if kind in (NoticeKind.ISSUED, NoticeKind.AMENDED) else ""
    return (
        f"To {to.name}\n\nCertificate {certificate} {said}.\n\nIts page: {page}{links}\n\n"
        "Sign in there to read it. This letter says nothing of its contents.\n"
    )
