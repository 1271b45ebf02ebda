"""One submission, one sample: everything that is known of it. Each function says how many database queries it makes."""

from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Case, Count, Exists, FilteredRelation, OuterRef, Prefetch, Q, QuerySet, Subquery, When

from labresults.models import (
    AuditEvent,
    Client,
    Evaluation,
    LimitSet,
    Method,
    NotMeasuredResult,
    Position,
    Request,
    RequestConcern,
    RequestedDerived,
    RequestedMethod,
    Result,
    ReviewedResult,
    Sample,
    SampleCorrection,
    Selection,
    Submission,
    TestPortion,
    Weighing,
)
from labresults.queries.issued import issues_of_submissions
from labresults.queries.overtaken import overtaken
from labresults.terms import Basis, Correction, Decision


@dataclass(frozen=True)
class Candidate:
    """A result of a sample, where it stands, and what was printed of it."""

    result: Result
    state: str  # approved, refused, sent back, selected, not selected, superseded
    why: str
    by: str
    printed: tuple[tuple[str, str], ...]  # what, and on which certificate
    stands: bool = False  # the one that was chosen last


@dataclass(frozen=True)
class AskedOfSample:
    """What is asked of one sample."""

    methods: tuple[Method, ...]
    basis: Basis
    limit_set: LimitSet | None
    request: Request


def submission(number: str) -> Submission:
    """A submission with its client; one query. Raises Submission.DoesNotExist."""
    return Submission.objects.select_related("client", "received_by").get(number=number)


def samples_of_page(delivery: Submission, per_page: int, page: int) -> tuple[list[Sample], int]:
    """Some samples of a submission in order, struck ones left out, and how many there are; two queries."""
    rows = delivery.samples.filter(struck_at=None).select_related("matrix").order_by("ordinal")
    start = per_page * (max(page, 1) - 1)
    return list(rows[start : start + per_page]), rows.count()


def submission_if_there(number: str) -> Submission | None:
    """A submission with its client by its number, None where there is none; one query."""
    return Submission.objects.select_related("client").filter(number__iexact=number).first()


def requests_of(delivery: Submission) -> list[Request]:
    """What was asked for, newest version first, each with its methods; two queries."""
    methods = Prefetch("methods", RequestedMethod.objects.select_related("method", "sample").order_by("method__code"))
    rows = delivery.requests.select_related("limit_set", "made_by").prefetch_related(methods)
    return list(rows.order_by("-version"))


def samples_of(delivery: Submission) -> QuerySet[Sample]:
    """The samples of a submission in their order, without those that were struck; one query."""
    return delivery.samples.filter(struck_at=None).select_related("matrix").order_by("ordinal")


def certificates_of(delivery: Submission) -> list[Any]:
    """Certificates of a submission, alone or with others, newest issue first, with what became of each; one query."""
    return list(issues_of_submissions([delivery.pk]).order_by("number", "-issue"))


def struck_of(delivery: Submission) -> list[Sample]:
    """Samples that were struck from a submission, each with why as `struck`; two queries."""
    why = SampleCorrection.objects.filter(what=Correction.STRUCK).select_related("made_by")
    rows = delivery.samples.exclude(struck_at=None).select_related("matrix").order_by("ordinal")
    return list(rows.prefetch_related(Prefetch("corrections", why, to_attr="struck")))


def corrections_in(delivery: Submission) -> list[SampleCorrection]:
    """What was corrected of the samples of a submission, of those too that were moved away; newest first; one query."""
    rows = SampleCorrection.objects.filter(
        Q(sample__submission=delivery) | Q(what=Correction.MOVED, before=delivery.number)
    )
    return list(rows.select_related("sample__submission", "made_by").order_by("-pk")[:200])


def corrections_since(moment: datetime, deliveries: Collection[Submission]) -> list[SampleCorrection]:
    """What was corrected of samples of these submissions after a moment, oldest first; one query."""
    rows = SampleCorrection.objects.filter(sample__submission__in=deliveries, made_at__gt=moment)
    return list(rows.select_related("sample").order_by("pk"))


def corrections_of(item: Sample) -> list[SampleCorrection]:
    """What was corrected of a sample, oldest first; one query."""
    return list(item.corrections.select_related("made_by").order_by("pk"))


def concerns_of(delivery: Submission) -> list[RequestConcern]:
    """What the review of the requests found and a person accepted, by sample; one query."""
    rows = RequestConcern.objects.filter(request__submission=delivery).select_related(
        "request", "sample", "method", "made_by"
    )
    return list(rows.order_by("-request__version", "sample__ordinal", "pk")[:500])


def concerns_of_sample(item: Sample) -> list[RequestConcern]:
    """What was accepted of the request for one sample, newest first; one query."""
    return list(item.concerns.select_related("method", "made_by").order_by("-pk"))


def asked_of_sample(item: Sample) -> AskedOfSample:
    """What the newest request asks of a sample, and on what terms: its own where it has any; two queries."""
    own = FilteredRelation("terms", condition=Q(terms__sample=item))
    requests = Request.objects.filter(submission=item.submission_id).annotate(own=own)
    request: Any = requests.select_related("limit_set", "own__limit_set").latest("version")
    rows = request.methods.filter(Q(sample=item) | Q(sample=None)).select_related("method").order_by("method__code")
    terms = getattr(request, "own", request)  # there only where the sample has any
    return AskedOfSample(
        methods=tuple(row.method for row in rows if row.sample_id) or tuple(row.method for row in rows),
        basis=Basis(terms.basis),
        limit_set=terms.limit_set,
        request=request,
    )


def versions_of(delivery: Submission) -> list[Request]:
    """What was asked of all samples, newest version first, as `for_all`; of how many others, as `own`; three queries.

    `computed`: what is derived from them.
    """
    derived = RequestedDerived.objects.select_related("definition").order_by("definition__code")
    for_all = RequestedMethod.objects.filter(sample=None).select_related("method").order_by("method__code")
    return list(
        delivery.requests.select_related("limit_set", "made_by")
        .annotate(own=Count("methods__sample", distinct=True))
        .prefetch_related(
            Prefetch("methods", for_all, to_attr="for_all"), Prefetch("derived", derived, to_attr="computed")
        )
        .order_by("-version")
    )


def samples_asked(delivery: Submission, request: Request) -> tuple[list[Sample], bool]:
    """The samples of a submission, each with what it asks otherwise than all as `own`, and whether any does.

    Three queries.
    """
    rows = list(samples_of(delivery))
    own: dict[int, list[str]] = {}
    methods = request.methods.exclude(sample=None).order_by("method__code")
    for sample_id, code in methods.values_list("sample_id", "method__code"):
        own.setdefault(sample_id, []).append(code)
    for terms in request.terms.select_related("limit_set"):
        own.setdefault(terms.sample_id, []).extend([terms.basis, str(terms.limit_set or "no limits")])
    for row in rows:
        row.own = ", ".join(own.get(row.pk, ()))  # type: ignore[attr-defined]
    return rows, any(row.own for row in rows)  # type: ignore[attr-defined]


def prepared_of(item: Sample) -> list[str]:
    """What was prepared of a sample and how far it has come, in words, one a portion; one query."""
    rows = (
        TestPortion.objects.filter(subsample__sample=item)
        .annotate(weighed=Exists(Weighing.objects.filter(portion=OuterRef("pk"))))
        .annotate(planned_once=Exists(Position.objects.filter(portion=OuterRef("pk"), run__replaced_by__isnull=True)))
        .select_related("batch__method_version__method", "discarded")
        .order_by("batch_id", "tube")
    )
    return [
        f"{row.label}, {row.role}, in batch {row.batch} by {row.batch.method_version}: {_how_far(row)}" for row in rows
    ]


def others_of_client(item: Sample, most: int = 30) -> list[Submission]:
    """The newest other submissions of the client of a sample; one query."""
    rows = Submission.objects.filter(client=item.submission.client_id).exclude(pk=item.submission_id)
    return list(rows.order_by("-pk")[:most])


def sample(number: str) -> Sample:
    """A sample with its submission and client; one query. Raises Sample.DoesNotExist.

    `before`, `after`: numbers of its neighbours in the submission, struck ones left out.
    """
    beside = Sample.objects.filter(submission=OuterRef("submission"), struck_at=None).values("number")
    return (
        Sample.objects.select_related("matrix", "submission__client", "submission__received_by")
        .annotate(before=Subquery(beside.filter(ordinal__lt=OuterRef("ordinal")).order_by("-ordinal")[:1]))
        .annotate(after=Subquery(beside.filter(ordinal__gt=OuterRef("ordinal")).order_by("ordinal")[:1]))
        .get(number=number)
    )


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
    """Results of a sample from the evaluations that stand, and any other that was printed; three queries."""
    later = Evaluation.objects.filter(run=OuterRef("evaluation__run"), version__gt=OuterRef("evaluation__version"))
    method = OuterRef("evaluation__run__method_version__method")
    newest = Selection.objects.filter(sample=item, method=method, element=OuterRef("element")).order_by("-pk")
    lines: Any = Result._meta.get_field("printed").related_model
    reviews = ReviewedResult.objects.annotate(overtaken=Case(When(overtaken(), then=True), default=False))
    rows = (
        Result.objects.filter(Q(printed__isnull=False) | ~Exists(later), sample=item, is_candidate=True)
        .select_related("element", "line", "position", "evaluation__run__method_version__method")
        .annotate(**{f"chosen_{of}": Subquery(newest.values(of)[:1]) for of in ("result", "rule", "reason")})
        .prefetch_related(
            Prefetch("printed", lines.objects.select_related("certificate").defer("certificate__document")),
            Prefetch("reviews", reviews.select_related("review__made_by").order_by("-pk")),
        )
        .distinct()
        .order_by("element__number", "evaluation__made_at", "rank")
    )
    return [_candidate(row, next(iter(row.reviews.all()), None)) for row in rows]


def in_words(item: Sample) -> list[NotMeasuredResult]:
    """Results in words of a sample; one query."""
    return list(item.not_measured.select_related("method", "element", "made_by").order_by("pk"))


def said_of(*subjects: tuple[str, str]) -> list[AuditEvent]:
    """Events of these things (kind and number), newest first; one query."""
    asked = Q(pk__in=[])
    for kind, number in subjects:
        asked |= Q(subject_kind=kind, subject=number)
    return list(AuditEvent.objects.filter(asked).select_related("person").order_by("-seq")[:50])


def count_matrices(rows: list[Sample]) -> list[tuple[str, int]]:
    """How many samples there are of each matrix; no query."""
    return Counter(row.matrix.name for row in rows).most_common()


def _how_far(portion: Any) -> str:
    if hasattr(portion, "discarded"):
        return "discarded"
    return "planned or measured" if portion.planned_once else "weighed" if portion.weighed else "not weighed yet"


def _candidate(result: Any, decided: ReviewedResult | None) -> Candidate:
    printed = tuple((f"{line.printed} {line.unit}", str(line.certificate)) for line in result.printed.all())
    stands = result.chosen_result == result.pk
    if stands and decided is not None and decided.overtaken:  # type: ignore[attr-defined]
        why = "approved before its moisture was recorded: to be reviewed again"
        return Candidate(result, "selected", why, "", printed, stands)
    if decided is not None and (stands or decided.review.decision != Decision.APPROVE):
        of = decided.review
        return Candidate(result, of.decision, of.reason, str(of.made_by), printed, stands)
    if stands:
        return Candidate(result, "selected", result.chosen_reason or result.chosen_rule, "", printed, stands)
    if printed:
        return Candidate(result, "superseded", "another result was selected later", "", printed)
    return Candidate(result, "not selected", result.why_no_value, "", printed)


def client(code: str) -> Client:
    """One client by its code; one query. Raises Client.DoesNotExist."""
    return Client.objects.get(code=code)
