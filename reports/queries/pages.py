"""What the pages of certificates show. Each function says how many database queries it makes."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Exists, OuterRef, QuerySet

from labresults.queries.reportable import Reportable, reportable
from labresults.queries.samples import submission as find_submission
from reports.document import CertificateDocument
from reports.models import Certificate, CertificateFile, RuleSetVersion

if TYPE_CHECKING:
    from labresults.models import Submission

MOST_MISSING = 30


@dataclass(frozen=True)
class Ready:
    """How far a submission is from its certificate."""

    submission: "Submission"
    missing: list[str]  # the first of them, in words
    missing_count: int
    approved: int
    in_words: int
    issues: list[Certificate]

    @property
    def newest(self) -> Certificate | None:
        """The issue that is in force, or the last one."""
        return self.issues[-1] if self.issues else None


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
    return Certificate.objects.select_related(
        "submission__client", "made_by", "rule_set", "withdrawal__made_by", "replaces", "replaced_by"
    ).get(number=number, issue=issue)


def document_of(row: Certificate) -> CertificateDocument:
    """The frozen document; no query."""
    return CertificateDocument.from_json(row.document)


def kinds_of_files(row: Certificate) -> list[CertificateFile]:
    """The files that went out, without their bytes; one query."""
    return list(row.files.defer("content").order_by("kind"))


def file_of(row: Certificate, kind: str) -> CertificateFile:
    """One file with its bytes; one query. Raises CertificateFile.DoesNotExist."""
    return row.files.select_related("certificate").get(kind=kind)


def ready(number: str) -> Ready:
    """Whether a submission can be certified, and what is missing; about 22 queries."""
    row = find_submission(number)
    found: Reportable = reportable(row)
    issues = list(row.certificates.defer("document").order_by("pk"))
    return Ready(
        row,
        found.missing[:MOST_MISSING],
        len(found.missing),
        len(found.results),
        len(found.not_measured),
        issues,
    )


def newest_rule_sets() -> QuerySet[RuleSetVersion]:
    """The newest version of each rule set; one query."""
    newer = RuleSetVersion.objects.filter(name=OuterRef("name"), version__gt=OuterRef("version"))
    return RuleSetVersion.objects.filter(~Exists(newer)).order_by("name")
