"""What the pages of certificates show. Each function says how many database queries it makes."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Exists, OuterRef, Q, QuerySet

from labresults.queries.readiness import readiness
from labresults.queries.waiting import at
from labresults.terms import Station
from reports.document import CertificateDocument, Change, Row
from reports.models import Certificate, CertificateFile, CertificateSubmission, RuleSetVersion
from reports.queries.files import FILE_WORDS

if TYPE_CHECKING:
    from labresults.models import Submission

MOST_MISSING = 30
ROWS_A_PAGE = 200
MOST_CHANGES = 40
"""How many changes of one column are shown one by one."""


@dataclass(frozen=True)
class Ready:
    """How far a submission is from its certificate."""

    submission: "Submission"
    missing: list[str]  # the first of them, in words
    missing_count: int
    approved: int
    in_words: int
    issues: list[Certificate]
    further: "tuple[Submission, ...]" = ()

    @property
    def combined_with(self) -> str:
        """Numbers of the submissions beside the first one, in words."""
        return ", ".join(str(other) for other in self.further)

    @property
    def newest(self) -> Certificate | None:
        """The issue that is in force, or the last one."""
        return self.issues[-1] if self.issues else None


@dataclass(frozen=True)
class Group:
    """Changes of one column, or of one heading of the whole certificate."""

    column: str
    count: int
    reason: str  # where it is the same for all of them
    shown: tuple[Change, ...]

    @property
    def more(self) -> int:
        """How many are not shown one by one."""
        return self.count - len(self.shown)


@dataclass(frozen=True)
class Part:
    """Rows of a certificate that one page shows, and its changes by column."""

    rows: tuple[Row, ...]
    first: int
    count: int
    starts: tuple[int, ...]
    changes: tuple[Group, ...]


def group(changes: Iterable[Change]) -> tuple[Group, ...]:
    """Changes by what they are of, in the order in which they stand; no query."""
    by_column: dict[str, list[Change]] = {}
    for change in changes:
        by_column.setdefault(change.column, []).append(change)
    return tuple(_group(column, of_one) for column, of_one in by_column.items())


def _group(column: str, changes: list[Change]) -> Group:
    reasons = {change.reason for change in changes}
    return Group(column, len(changes), reasons.pop() if len(reasons) == 1 else "", tuple(changes[:MOST_CHANGES]))


def certificates() -> QuerySet[Certificate]:
    """Every issue of every certificate, with whether it is drawn; one query when it is shown."""
    drawn = CertificateFile.objects.filter(certificate=OuterRef("pk"))
    return (
        Certificate.objects.select_related("submission__client", "made_by", "withdrawal", "replaced_by")
        .defer("document")
        .annotate(is_drawn=Exists(drawn))
        .order_by("-pk")
    )


def certificate(number: str, issue: int) -> Certificate:
    """One issue; one query. Raises Certificate.DoesNotExist."""
    combined = CertificateSubmission.objects.filter(certificate=OuterRef("pk"))
    return (
        Certificate.objects.annotate(is_combined=Exists(combined))
        .select_related("submission__client", "made_by", "rule_set", "withdrawal__made_by", "replaces", "replaced_by")
        .defer("replaces__document", "replaced_by__document")
        .get(number=number, issue=issue)
    )


def by_key(key: int) -> Certificate:
    """One issue by its key, with what came after it; one query. Raises Certificate.DoesNotExist."""
    rows = Certificate.objects.select_related("submission__client", "made_by", "withdrawal", "replaced_by")
    return rows.defer("replaced_by__document").get(pk=key)


def issued_by(form_key: str) -> Certificate | None:
    """What came of a form, if it was sent before; one query, none without a key."""
    return Certificate.objects.filter(form_key=form_key).first() if form_key else None


def newest_of(submission: "Submission") -> Certificate | None:
    """The issue that a next one of this submission would replace; one query."""
    rows = issues_of(submission).defer(None)
    return rows.select_related("submission__client", "rule_set").order_by("-pk").first()


def place(asked: str | None) -> int:
    """A place in a list as an address has it, 1 where it has none; no query."""
    return int(asked) if asked and asked.isdigit() else 1


def undrawn() -> list[Certificate]:
    """Issues that are frozen and not drawn, oldest first; one query."""
    rows = Certificate.objects.filter(files__isnull=True).select_related("made_by")
    return list(rows.defer("document").order_by("pk"))


def issues_of(submission: "Submission") -> QuerySet[Certificate]:
    """Every issue of every certificate on which a submission stands, alone or beside others; one query when asked."""
    beside = CertificateSubmission.objects.filter(submission=submission).values("certificate")
    return Certificate.objects.filter(Q(submission=submission) | Q(pk__in=beside)).defer("document")


def further_of(row: Certificate) -> "list[Submission]":
    """The submissions of a combined certificate besides its first one, in their order; one query.

    None for an issue of `certificate` that is of one submission.
    """
    if not getattr(row, "is_combined", True):
        return []
    return [link.submission for link in row.further.select_related("submission__client").order_by("pk")]


def is_over(row: Certificate) -> bool:
    """Whether an issue of `certificate` was withdrawn or replaced; no query."""
    return hasattr(row, "withdrawal") or hasattr(row, "replaced_by")


def document_of(row: Certificate) -> CertificateDocument:
    """The frozen document; no query."""
    return CertificateDocument.from_json(row.document)


def kinds_of_files(row: Certificate) -> list[CertificateFile]:
    """The files that went out, without their bytes, each with what it is called as `words`; one query."""
    files = {file.kind: file for file in row.files.defer("content")}
    for kind, file in files.items():
        file.words = FILE_WORDS[kind]  # type: ignore[attr-defined]
    return [files[kind] for kind in FILE_WORDS if kind in files]


def file_of(row: Certificate, kind: str) -> CertificateFile:
    """One file with its bytes; one query. Raises CertificateFile.DoesNotExist."""
    return row.files.select_related("certificate").get(kind=kind)


def ready(row: "Submission", further: Sequence[str] = ()) -> Ready:
    """Whether a submission can be certified, with others beside it, and what is missing; about 20 queries."""
    others = beside(row, further)
    found = readiness([row, *others])
    return Ready(
        row,
        found.missing[:MOST_MISSING],
        len(found.missing),
        len(found.results),
        len(found.not_measured),
        list(issues_of(row).order_by("pk")),
        tuple(others),
    )


def beside(row: "Submission", numbers: Sequence[str]) -> "list[Submission]":
    """Other submissions of the same client by their numbers, in order; one query, none without numbers."""
    if not numbers:
        return []
    others = type(row).objects.filter(client=row.client_id, number__in=numbers).exclude(pk=row.pk)
    return list(others.select_related("client").order_by("pk"))


def combinable(row: "Submission") -> list[tuple[str, str]]:
    """Submissions of the same client that wait for a certificate too: number and words; two queries, rarely more.

    Whether all of each is approved is seen when it is chosen.
    """
    waiting = {wait.submission: wait.samples for wait in at(Station.CERTIFICATES)}
    others = type(row).objects.filter(client=row.client_id, number__in=waiting).exclude(pk=row.pk)
    numbered = others.order_by("number").values_list("number", "reference")
    return [
        (
            number,
            f"{number}, {waiting[number]} sample{'' if waiting[number] == 1 else 's'}{f', {said}' if said else ''}",
        )
        for number, said in numbered
    ]


def issues_named(names: Iterable[str]) -> list[Certificate]:
    """Issues by their names, as "C26-0297/1", those that are there; one query."""
    wanted = Q(pk__in=[])
    for name in names:
        number, _, issue = name.partition("/")
        if issue.isascii() and issue.isdigit() and len(issue) < 9:
            wanted |= Q(number=number, issue=int(issue))
    rows = Certificate.objects.filter(wanted).select_related(
        "submission__client", "rule_set", "withdrawal", "replaced_by"
    )
    return list(rows.order_by("number", "issue"))


def part_of(row: Certificate, first: int) -> tuple[CertificateDocument, Part]:
    """The frozen document with some of its rows, from a place on (from 1); no query."""
    document, first, count = CertificateDocument.part_from_json(row.document, first, ROWS_A_PAGE)
    starts = tuple(range(1, count + 1, ROWS_A_PAGE))
    return document, Part(document.rows, first, count, starts, group(document.changes))


def newest_rule_sets() -> QuerySet[RuleSetVersion]:
    """The newest version of each rule set; one query."""
    newer = RuleSetVersion.objects.filter(name=OuterRef("name"), version__gt=OuterRef("version"))
    return RuleSetVersion.objects.filter(~Exists(newer)).order_by("name")
