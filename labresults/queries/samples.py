"""One submission, one sample: everything that is known of it. Each function says how many database queries it makes."""

from collections import Counter
from dataclasses import dataclass
from typing import Any

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet

from labresults.models import (
    AuditEvent,
    CustodyEntry,
    Evaluation,
    NotMeasuredResult,
    Position,
    Request,
    RequestedMethod,
    Result,
    Sample,
    Submission,
    TestPortion,
    Weighing,
)
from labresults.queries.lists import submissions
from labresults.queries.results import newest_decisions, newest_selections
from labresults.queries.waiting import Waiting, open_work
from labresults.terms import Decision, Station


@dataclass(frozen=True)
class Candidate:
    """A result of a sample, where it stands, and what was printed of it."""

    result: Result
    state: str  # approved, refused, sent back, selected, not selected, superseded
    why: str
    by: str
    printed: tuple[tuple[str, str], ...]  # what, and on which certificate


def submission(number: str) -> Submission:
    """A submission with its client; one query. Raises Submission.DoesNotExist."""
    return Submission.objects.select_related("client", "received_by").get(number=number)


def requests_of(delivery: Submission) -> list[Request]:
    """What was asked for, newest version first, each with its methods; two queries."""
    methods = Prefetch("methods", RequestedMethod.objects.select_related("method", "sample").order_by("method__code"))
    rows = delivery.requests.select_related("limit_set", "made_by").prefetch_related(methods)
    return list(rows.order_by("-version"))


def samples_of(delivery: Submission) -> QuerySet[Sample]:
    """The samples of a submission in their order; one query."""
    return delivery.samples.select_related("matrix").order_by("ordinal")


def certificates_of(delivery: Submission) -> list[Any]:
    """Certificates of a submission, newest issue first, with what became of each; one query."""
    related = delivery.certificates.select_related("made_by", "withdrawal", "replaced_by")
    return list(related.defer("document").order_by("number", "-issue"))


def of_client(client_id: int, most: int = 200) -> list[tuple[Submission, list[Waiting], list[Any]]]:
    """The newest submissions of one client, what of each waits, and its published certificates.

    Three queries; two more when an act was done since the ribbon was last drawn.
    """
    rows = list(submissions().filter(client_id=client_id)[:most])
    waiting: dict[str, list[Waiting]] = {}
    for wait in sorted(open_work(), key=lambda wait: list(Station).index(wait.station)):
        waiting.setdefault(wait.submission, []).append(wait)
    issued: dict[int, list[Any]] = {}
    for certificate in _published(rows):
        issued.setdefault(certificate.submission_id, []).append(certificate)
    return [(row, waiting.get(row.number, []), issued.get(row.pk, [])) for row in rows]


def sample(number: str) -> Sample:
    """A sample with its submission and client; one query. Raises Sample.DoesNotExist."""
    return Sample.objects.select_related("matrix", "submission__client", "submission__received_by").get(number=number)


def neighbours(item: Sample) -> tuple[str | None, str | None]:
    """Numbers of the samples before and after it in its submission; one query."""
    beside = dict(
        Sample.objects.filter(
            submission=item.submission_id, ordinal__in=[item.ordinal - 1, item.ordinal + 1]
        ).values_list("ordinal", "number")
    )
    return beside.get(item.ordinal - 1), beside.get(item.ordinal + 1)


def portions_of(item: Sample) -> list[TestPortion]:
    """Test portions of a sample with all that was weighed of each, the newest first; two queries."""
    weighings = Prefetch("weighings", Weighing.objects.select_related("balance", "made_by").order_by("-version"))
    return list(
        TestPortion.objects.filter(subsample__sample=item)
        .select_related("batch__method_version__method", "batch__made_by")
        .prefetch_related(weighings)
        .order_by("batch_id", "tube")
    )


def positions_of(item: Sample) -> list[Position]:
    """Where portions of a sample were measured, oldest first; one query."""
    return list(
        Position.objects.filter(portion__subsample__sample=item)
        .select_related("run__method_version__method", "run__made_by", "portion")
        .order_by("run_id", "number")
    )


def candidates_of(item: Sample) -> list[Candidate]:
    """Results of a sample from the evaluations that stand, and any other that was printed; five queries."""
    later = Evaluation.objects.filter(run=OuterRef("evaluation__run"), version__gt=OuterRef("evaluation__version"))
    rows = list(
        Result.objects.filter(Q(printed__isnull=False) | ~Exists(later), sample=item, is_candidate=True)
        .select_related("element", "line", "position", "evaluation__run__method_version__method")
        .prefetch_related("printed__certificate")
        .distinct()
        .order_by("element__number", "evaluation__made_at", "rank")
    )
    standing = newest_selections(sample_ids=[item.pk])
    chosen = {selection.result_id: selection for selection in standing.values()}
    decided = newest_decisions([row.pk for row in rows])
    return [_candidate(row, chosen.get(row.pk), decided.get(row.pk)) for row in rows]


def in_words(item: Sample) -> list[NotMeasuredResult]:
    """Results in words of a sample; one query."""
    return list(item.not_measured.select_related("method", "element", "made_by").order_by("pk"))


def custody_of(item: Sample) -> list[CustodyEntry]:
    """Who had a sample, where and from when; one query."""
    return list(item.custody.select_related("held_by").order_by("since", "pk"))


def said_of(*subjects: tuple[str, str]) -> list[AuditEvent]:
    """Events of these things (kind and number), newest first; one query."""
    asked = Q(pk__in=[])
    for kind, number in subjects:
        asked |= Q(subject_kind=kind, subject=number)
    return list(AuditEvent.objects.filter(asked).select_related("person").order_by("-seq")[:50])


def count_matrices(rows: list[Sample]) -> list[tuple[str, int]]:
    """How many samples there are of each matrix; no query."""
    return Counter(row.matrix.name for row in rows).most_common()


def _published(rows: list[Submission]) -> list[Any]:
    """Certificates whose bytes are there, newest issue first."""
    certificates: Any = Submission._meta.get_field("certificates").related_model
    drawn = certificates.objects.filter(submission__in=rows, files__isnull=False).distinct()
    return list(drawn.select_related("withdrawal", "replaced_by").defer("document").order_by("number", "-issue"))


def _candidate(result: Result, selection: Any, decided: Any) -> Candidate:
    printed = tuple((f"{line.printed} {line.unit}", str(line.certificate)) for line in result.printed.all())
    if decided is not None and (selection is not None or decided.review.decision != Decision.APPROVE):
        review = decided.review
        return Candidate(result, review.decision, review.reason, str(review.made_by), printed)
    if selection is not None:
        return Candidate(result, "selected", selection.reason or selection.rule, "", printed)
    if printed:
        return Candidate(result, "superseded", "another result was selected later", "", printed)
    return Candidate(result, "not selected", result.why_no_value, "", printed)
