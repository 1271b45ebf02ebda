"""What can go on a certificate of one submission, and what is missing for it.

`reportable` makes about 20 queries, whatever the number of samples.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from labresults.models import (
    ControlOutcome,
    Laboratory,
    Limit,
    LimitSet,
    MethodVersion,
    NotMeasuredResult,
    Request,
    RequestConcern,
    RequestedTerms,
    Result,
    ReviewedResult,
    Sample,
    Scope,
    Submission,
)
from labresults.queries.holding import Late, measured_late
from labresults.queries.results import Standing, failures_of, newest_decisions, newest_selections
from labresults.terms import OF_READINGS, Basis, Decision, Role

APPENDIX_ROLES = (
    Role.METHOD_BLANK,
    Role.REFERENCE_MATERIAL,
    Role.CONTROL_SAMPLE,
    Role.DUPLICATE,
    Role.SPIKE,
    Role.SERIAL_DILUTION,
    Role.POST_DIGESTION_SPIKE,
)
"""Control samples that a certificate lists; the checks of curves and of readings stand in the run's own record."""


@dataclass(frozen=True)
class Asked:
    """One element asked of one sample by one method."""

    sample: Sample
    method_version: MethodVersion
    element: str


@dataclass(frozen=True)
class Reportable:
    """Rows of one submission, ready for a certificate where `missing` is empty."""

    laboratory: Laboratory
    submission: Submission
    request: Request
    samples: list[Sample]
    asked: list[Asked]
    results: dict[tuple[int, int, str], Result]  # selected and approved, by sample, method and element
    not_measured: dict[tuple[int, int, str], NotMeasuredResult]
    decisions: dict[int, ReviewedResult]  # by result
    failures: dict[int, Standing]  # by result
    method_versions: list[MethodVersion]
    controls: list[ControlOutcome]
    terms: dict[int, RequestedTerms]  # by sample: basis and limits that differ from the request's
    limits: list[Limit]  # of every set that a sample is compared with
    concerns: list[RequestConcern]  # of the review of the request, those that the client is told
    late: dict[tuple[int, int, str], Late]  # results that were measured after their holding time had ended
    scope: list[Scope]
    missing: list[str]  # in words, one a result that is not there or not approved

    def basis_of(self, sample: Sample) -> Basis:
        """What a sample is to be reported on: its own, else the request's; no query."""
        return Basis(self.terms[sample.pk].basis if sample.pk in self.terms else self.request.basis)

    def limit_set_of(self, sample: Sample) -> LimitSet | None:
        """What a sample is compared with: its own, else the request's; no query."""
        return self.terms[sample.pk].limit_set if sample.pk in self.terms else self.request.limit_set


def reportable(submission: Submission) -> Reportable:
    """Load everything that a certificate of this submission is composed from."""
    request = submission.requests.select_related("limit_set").latest("version")
    samples = list(submission.samples.filter(struck_at=None).select_related("matrix").order_by("ordinal"))
    selections = newest_selections(sample_ids=[sample.pk for sample in samples])
    chosen = {key: selection.result for key, selection in selections.items()}
    decisions = newest_decisions([result.pk for result in chosen.values()])
    signed = {key: result for key, result in chosen.items() if _is_approved(result, decisions)}
    failures = failures_of(list(signed.values()))
    # A control sample may fail after the signature, when its batch is read again: nobody has said why that may stand.
    approved = {key: result for key, result in signed.items() if not failures[result.pk]["open"]}
    asked = _asked(request, samples, approved)
    not_measured = _not_measured(samples, asked)
    results = list(approved.values())
    terms = {row.sample_id: row for row in request.terms.select_related("limit_set")}
    return Reportable(
        laboratory=Laboratory.objects.get(pk=1),
        submission=submission,
        request=request,
        samples=samples,
        asked=asked,
        results=approved,
        not_measured=not_measured,
        decisions=decisions,
        failures=failures,
        method_versions=_versions_used(asked, results),
        controls=_controls(results),
        terms=terms,
        limits=_limits(request, samples, terms),
        concerns=list(request.concerns.filter(tell_client=True).select_related("method").order_by("pk")),
        late=measured_late(samples, approved),
        scope=list(Scope.objects.filter(method__in={a.method_version.method_id for a in asked})),
        missing=_missing(asked, chosen, signed, approved, not_measured),
    )


def _limits(request: Request, samples: Sequence[Sample], terms: dict[int, RequestedTerms]) -> list[Limit]:
    """Limits of the sets that the samples are compared with, set by set; one query."""
    sets = {terms[s.pk].limit_set_id if s.pk in terms else request.limit_set_id for s in samples}
    rows = Limit.objects.filter(limit_set__in=sets - {None}).select_related("limit_set")
    return list(rows.order_by("limit_set_id", "element"))


def _is_approved(result: Result, decisions: dict[int, ReviewedResult]) -> bool:
    return result.pk in decisions and decisions[result.pk].review.decision == Decision.APPROVE


def _asked(request: Request, samples: Sequence[Sample], approved: dict[tuple[int, int, str], Result]) -> list[Asked]:
    """Every element asked of every sample, by the version that measured it, or the current one where none did."""
    rows = list(request.methods.select_related("method").order_by("method__code"))
    measured_by = {
        key[1]: result.evaluation.run.method_version for key, result in sorted(approved.items(), key=lambda kv: kv[0])
    }
    newest = {
        row.method_id: measured_by.get(row.method_id) or row.method.versions.order_by("-version").first()
        for row in rows
    }
    elements = {
        version.pk: list(version.determinations.order_by("ordinal").values_list("element_id", flat=True))
        for version in newest.values()
        if version is not None
    }
    own = {row.sample_id for row in rows if row.sample_id}
    asked = []
    for sample in samples:
        for row in rows:
            version = newest[row.method_id]
            of_sample = row.sample_id == sample.pk or (row.sample_id is None and sample.pk not in own)
            if version is not None and of_sample:
                asked += [Asked(sample, version, element) for element in elements[version.pk]]
    return asked


def _not_measured(samples: Sequence[Sample], asked: Sequence[Asked]) -> dict[tuple[int, int, str], NotMeasuredResult]:
    found = {}
    for row in NotMeasuredResult.objects.filter(sample__in=samples).order_by("pk"):
        for one in asked:
            same = one.sample.pk == row.sample_id and one.method_version.method_id == row.method_id
            if same and row.element_id in (None, one.element):
                found[row.sample_id, row.method_id, one.element] = row
    return found


def _versions_used(asked: Sequence[Asked], results: Sequence[Result]) -> list[MethodVersion]:
    used = {a.method_version.pk for a in asked} | {r.evaluation.run.method_version_id for r in results}
    return list(
        MethodVersion.objects.filter(pk__in=used)
        .select_related("method")
        .prefetch_related("lines__line", "determinations")
        .order_by("method__code", "version")
    )


def _controls(results: Sequence[Result]) -> list[ControlOutcome]:
    """Outcomes of the batches and runs that the results stand on, at the lines that gave them."""
    evaluations = {result.evaluation_id for result in results}
    lines = {result.line_id for result in results}
    return list(
        ControlOutcome.objects.filter(evaluation__in=evaluations, line__in=lines, position__role__in=APPENDIX_ROLES)
        .exclude(measure__in=OF_READINGS)
        .select_related(
            "evaluation__run", "position__lot__material", "position__portion__subsample__sample", "line", "criterion",
            "acceptance__made_by",
        )
        .order_by("evaluation__run__number", "position__number", "line__element", "line__label")
    )  # fmt: skip


def _missing(
    asked: Sequence[Asked],
    chosen: dict[tuple[int, int, str], Result],
    signed: dict[tuple[int, int, str], Result],
    approved: dict[tuple[int, int, str], Result],
    not_measured: dict[tuple[int, int, str], NotMeasuredResult],
) -> list[str]:
    missing = []
    for one in asked:
        key = (one.sample.pk, one.method_version.method_id, one.element)
        if key in approved or key in not_measured:
            continue
        state = "is not approved" if key in chosen else "has no result"
        if key in signed:
            state = "was approved, and a control sample failed since"
        missing.append(f"{one.element} by {one.method_version.method} in {one.sample} {state}")
    return missing
