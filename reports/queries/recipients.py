"""Who is told of a certificate. Each function says how many database queries it makes."""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from labresults.queries.people import people_of_client
from labresults.terms import NoticeKind
from reports.models import FILE_KINDS, Certificate, CertificateFetch, Notice
from reports.queries.delivery import recipients_of
from reports.queries.files import FILE_WORDS

if TYPE_CHECKING:
    from labresults.models import NonconformingWork


@dataclass(frozen=True)
class Addressee:
    """Somebody who is told. Without an address: on the portal only."""

    name: str
    email: str = ""
    kinds: tuple[str, ...] = field(default=tuple(FILE_KINDS))  # of files that they want

    def files_of(self, certificate: Certificate) -> list[tuple[str, str]]:
        """Kind and words of each file of a certificate that they want; one query."""
        there = set(certificate.files.values_list("kind", flat=True))
        return [(kind, FILE_WORDS[kind]) for kind in FILE_KINDS if kind in there and kind in self.kinds]


def addressees(certificate: Certificate, kind: NoticeKind) -> list[Addressee]:
    """Who is told: the client's recipients, else its own address, and whoever fetched an earlier issue.

    Of an amendment or a withdrawal everybody who has an issue of this certificate is told always. Three queries.
    """
    client = certificate.submission.client
    found = {one.email.lower(): one for one in _registered(certificate)}
    if not found and client.email:
        found[client.email.lower()] = Addressee(client.name, client.email)
    if kind != NoticeKind.ISSUED:
        for person in _fetched(certificate):
            found.setdefault(person.email.lower(), person)
    return list(found.values()) or [Addressee(client.name)]


@dataclass(frozen=True)
class NotTold:
    """A letter whose newest try did not go. work, words: of nonconforming work, as `notify_client` has them."""

    kind: NoticeKind
    work: "NonconformingWork | None"
    words: str
    to: Addressee


def not_told(certificate: Certificate) -> list[NotTold]:
    """Letters of this certificate whose newest try did not go; two queries. Who registered gets the files they want."""
    rows = certificate.notices.select_related("work").order_by("pk")
    newest = {(row.kind, row.work_id, row.email.lower()): row for row in rows if row.email}
    registered = {one.email.lower(): one for one in _registered(certificate)}
    return [
        NotTold(NoticeKind(row.kind), row.work, row.words, registered.get(email, Addressee(row.name, row.email)))
        for (_, _, email), row in newest.items()
        if row.trouble
    ]


def is_touched(certificate: Certificate, work: "NonconformingWork") -> bool:
    """Whether a certificate prints a result that a case touched, or a value computed from one; two queries at most."""
    touched = work.touched.values("result")
    lines = certificate.lines.all()
    return lines.filter(result__in=touched).exists() or lines.filter(inputs__result__in=touched).exists()


def already_told(certificate: Certificate, work: "NonconformingWork", words: str) -> set[str]:
    """Who was told these very words of a case, by e-mail or, without one, by name; one query."""
    rows = certificate.notices.filter(work=work, words=words, trouble="").values_list("email", "name")
    return {(email or name).lower() for email, name in rows}


def notices_of(certificate: Certificate) -> list[Notice]:
    """Who was told of an issue, newest first; one query."""
    return list(certificate.notices.select_related("made_by").order_by("-pk"))


def fetches_of(certificate: Certificate) -> list[CertificateFetch]:
    """Who of the client has an issue, by person and file; one query."""
    return list(certificate.fetches.select_related("made_by").order_by("pk"))


def has_fetched(certificate: Certificate, person_id: int, kind: str) -> bool:
    """Whether it is on record that a person has this file; one query."""
    return certificate.fetches.filter(made_by=person_id, kind=kind).exists()


def _registered(certificate: Certificate) -> list[Addressee]:
    """Registered recipients. Their documents name kinds of files; what names none of them is a layout of the client."""
    found = []
    for row in recipients_of(certificate.submission.client):
        kinds = tuple(kind for kind in FILE_KINDS if kind in row.documents)
        found.append(Addressee(row.name, row.email, kinds or tuple(FILE_KINDS)))
    return found


def _fetched(certificate: Certificate) -> list[Addressee]:
    """The client's people who fetched any issue of the same number."""
    who = CertificateFetch.objects.filter(certificate__number=certificate.number).values("made_by")
    people = people_of_client(certificate.submission.client_id).filter(pk__in=who).exclude(email="")
    return [Addressee(str(person), person.email) for person in people]
