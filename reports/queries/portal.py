"""What a client's people see: their own submissions, certificates and notices, and nothing else.

Each function says how many database queries it makes, and every one of them begins from the client.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import OuterRef, Prefetch, Q, QuerySet, Subquery

from labresults.queries.lists import submissions
from labresults.queries.samples import samples_of
from labresults.queries.waiting import Waiting, open_work
from labresults.terms import NonconformingAct, NoticeKind, Station
from reports.models import Certificate, CertificateFetch, CertificateFile, Notice
from reports.queries.files import FILE_WORDS

if TYPE_CHECKING:
    from labresults.models import Client, Person, Sample, Submission

MOST_SUBMISSIONS, MOST_CERTIFICATES, MOST_NOTICES = 30, 12, 12


@dataclass(frozen=True)
class Way:
    """A submission and how far its samples have come."""

    submission: "Submission"
    waits: list[Waiting]


@dataclass(frozen=True)
class Doubt:
    """What the client was told not to use for now, since work that did not follow the procedure is not closed."""

    number: str
    text: str


@dataclass(frozen=True)
class Issue:
    """One issue as its client sees it."""

    certificate: Certificate
    files: list[tuple[str, str]]  # kind and words
    word: str  # "current", "preliminary", "amended", "replaced" or "withdrawn"
    doubts: list[Doubt]

    @property
    def stands(self) -> bool:
        """Whether it may be used."""
        return self.word not in {"replaced", "withdrawn"}


@dataclass(frozen=True)
class Told:
    """One thing that the client was told of a certificate, and which files of it this person has."""

    certificate: Certificate
    kind: str
    at: object
    fetched: str  # "issue 1, on 12 November": what this person has of the certificate


@dataclass(frozen=True)
class Portal:
    """The first page."""

    client: "Client"
    on_their_way: list[Way]
    making: list[Certificate]  # issued, and their files are being made
    issues: list[Issue]
    more_issues: bool
    told: list[Told]

    @property
    def samples(self) -> int:
        """How many samples are with the laboratory and wait for their certificate."""
        return sum(wait.samples for way in self.on_their_way for wait in way.waits)


def portal(person: "Person") -> Portal:
    """What waits, the newest certificates, and what the client was told; about nine queries."""
    client = person.client
    if client is None:
        raise Certificate.DoesNotExist("This page is for people of a client.")
    replaced = Q(replaced_by__isnull=False, replaced_by__in=CertificateFile.objects.values("certificate"))
    found = list(issues(client.pk).exclude(replaced)[: MOST_CERTIFICATES + 1])
    return Portal(
        client=client,
        on_their_way=_on_their_way(client.pk),
        making=list(being_made(client.pk)),
        issues=[issue_of(row) for row in found[:MOST_CERTIFICATES]],
        more_issues=len(found) > MOST_CERTIFICATES or any(row.issue > 1 for row in found),
        told=_told(person),
    )


def issues(client_id: int | None) -> QuerySet[Certificate]:
    """Issues of a client whose files are there, newest first, with files, and notices with their cases; four queries.

    None for nobody's.
    """
    drawn = CertificateFile.objects.values("certificate")
    doubts = Notice.objects.filter(kind=NoticeKind.NONCONFORMING).select_related("work").order_by("-pk")
    return (
        Certificate.objects.filter(submission__client=client_id, pk__in=drawn)
        .exclude(submission__client=None)
        .select_related("submission", "withdrawal", "replaced_by", "replaces")
        .defer("document", "replaced_by__document", "replaces__document")
        .prefetch_related(
            Prefetch("files", CertificateFile.objects.defer("content").order_by("pk")),
            Prefetch("notices", doubts.prefetch_related("work__steps"), to_attr="doubts"),
            "further__submission",
        )
        .order_by("-made_at", "-pk")
    )


def being_made(client_id: int | None) -> QuerySet[Certificate]:
    """Issues of a client whose files are not there yet, newest first; one query. None for nobody's."""
    drawn = CertificateFile.objects.values("certificate")
    rows = Certificate.objects.filter(submission__client=client_id, withdrawal=None, replaced_by=None)
    rows = rows.exclude(pk__in=drawn).exclude(submission__client=None)
    return rows.select_related("submission").defer("document").order_by("-pk")


def issue_of(row: Certificate) -> Issue:
    """An issue of `issues` in the words of its client; no query."""
    there = {file.kind for file in row.files.all()}
    files = [(kind, words) for kind, words in FILE_WORDS.items() if kind in there]
    doubts: Iterable[Notice] = row.doubts  # type: ignore[attr-defined]
    open_ones = {notice.work_id: notice for notice in doubts if not _is_closed(notice)}
    return Issue(row, files, _word(row), [Doubt(str(one.work), _words(one)) for one in open_ones.values()])


def one_issue(client_id: int | None, number: str, issue: int) -> Issue:
    """One issue with its document; five queries. Raises Certificate.DoesNotExist where it is not this client's."""
    return issue_of(issues(client_id).defer(None).get(number=number, issue=issue))


def own_submission(client_id: int | None, number: str) -> "Submission":
    """A submission of the client; one query. Raises DoesNotExist where it is not this client's."""
    found: Submission = submissions().filter(client__isnull=False).get(number=number, client_id=client_id)
    return found


def way_of(row: "Submission") -> Way:
    """How far the samples of a submission have come; the queries of `open_work`."""
    return Way(row, _waits().get(row.number, []))


def issues_of(row: "Submission") -> list[Issue]:
    """Its certificates, alone or with others, the newest issue first; four queries."""
    return [issue_of(found) for found in issues(row.client_id).filter(_stands_on(row)).distinct()]


def making_of(row: "Submission") -> list[Certificate]:
    """Those of its certificates whose files are being made; one query."""
    return list(being_made(row.client_id).filter(_stands_on(row)).distinct())


def own_samples(row: "Submission") -> "QuerySet[Sample]":
    """Its samples by number and by the client's own identification; one query."""
    return samples_of(row)


def fetched_by(person: "Person", number: str) -> list[CertificateFetch]:
    """What a person has of a certificate, the oldest first; one query."""
    rows = CertificateFetch.objects.filter(made_by=person, certificate__number=number)
    return list(rows.select_related("certificate").defer("certificate__document").order_by("pk"))


def _stands_on(row: "Submission") -> Q:
    return Q(submission=row) | Q(further__submission=row)


def _on_their_way(client_id: int) -> list[Way]:
    waits = _waits()
    rows = submissions().filter(client_id=client_id, number__in=list(waits))
    return [Way(row, waits[row.number]) for row in rows[:MOST_SUBMISSIONS]]


def _waits() -> dict[str, list[Waiting]]:
    waits: dict[str, list[Waiting]] = {}
    for wait in sorted(open_work(), key=lambda wait: list(Station).index(wait.station)):
        waits.setdefault(wait.submission, []).append(wait)
    return waits


def _told(person: "Person") -> list[Told]:
    """The newest amendment, withdrawal or doubt of each certificate; two queries."""
    newest = Notice.objects.filter(certificate=OuterRef("certificate"), kind=OuterRef("kind")).order_by("-pk")
    rows = (
        Notice.objects.filter(certificate__submission__client=person.client_id, pk=Subquery(newest.values("pk")[:1]))
        .exclude(kind=NoticeKind.ISSUED)
        .select_related("certificate")
        .defer("certificate__document")
        .order_by("-pk")[:MOST_NOTICES]
    )
    fetches = CertificateFetch.objects.filter(made_by=person).order_by("pk")
    fetched: dict[str, list[int]] = {}
    for number, issue in fetches.values_list("certificate__number", "certificate__issue"):
        fetched.setdefault(number, []).append(issue)
    return [Told(row.certificate, row.kind, row.made_at, _has(row.certificate, row.kind, fetched)) for row in rows]


def _has(certificate: Certificate, kind: str, fetched: dict[str, list[int]]) -> str:
    """Which issues this person has that they were told not to use."""
    last = certificate.issue - 1 if kind == NoticeKind.AMENDED else certificate.issue
    issues_had = sorted({issue for issue in fetched.get(certificate.number, ()) if issue <= last})
    return " and ".join(f"issue {issue}" for issue in issues_had)


def _word(row: Certificate) -> str:
    if hasattr(row, "withdrawal"):
        return "withdrawn"
    if hasattr(row, "replaced_by"):
        return "replaced"
    if row.preliminary:
        return "preliminary"
    return "amended" if row.issue > 1 else "current"


def _is_closed(notice: Notice) -> bool:
    return notice.work is None or any(step.act == NonconformingAct.CLOSE for step in notice.work.steps.all())


def _words(notice: Notice) -> str:
    """What this client was told of a case. Nothing else of it is theirs to read: its record names other clients too."""
    return notice.words or "Ask the laboratory before you use it."
