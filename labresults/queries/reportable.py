"""What can go on a certificate of one submission, and what is missing for it.

`reportable` makes about 20 queries, whatever the number of samples.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from labresults.models import (
    ControlOutcome,
    Laboratory,
    Limit,
    MethodVersion,
    NotMeasuredResult,
    Request,
    Result,
    ReviewedResult,
    Sample,
    Scope,
    Submission,
)
from labresults.queries.results import Standing, failures_of, newest_decisions, newest_selections
from labresults.terms import Decision, Role

APPENDIX_ROLES = (
    Role.METHOD_BLANK,
    Role.REFERENCE_MATERIAL,
    Role.CONTROL_SAMPLE,
    Role.DUPLICATE,
    Role.SPIKE,
    Role.SERIAL_DILUTION,
)
"""Control samples that a certificate lists; the checks of the curve stand in the run's own record."""


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
    limits: list[Limit]
    scope: list[Scope]
    missing: list[str]  # in words, one a result that is not there or not approved


def reportable(submission: Submission) -> Reportable:
    """Load everything that a certificate of this submission is composed from."""
    request = submission.requests.select_related("limit_set").latest("version")
    samples = list(submission.samples.select_related("matrix").order_by("ordinal"))
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
        limits=list(Limit.objects.filter(limit_set=request.limit_set).select_related("limit_set").order_by("element"))
        if request.limit_set_id
        else [],
        scope=list(Scope.objects.filter(method__in={a.method_version.method_id for a in asked})),
        missing=_missing(asked, chosen, signed, approved, not_measured),
    )


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
