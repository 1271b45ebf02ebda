"""What can go on a certificate of one submission, or of several of one client, and what is missing for it.

`reportable` makes about 20 queries, whatever the number of samples and submissions.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any

from django.db.models import F, QuerySet

from labresults.calculation.derived import EDITION
from labresults.models import (
    ControlOutcome,
    Laboratory,
    Limit,
    LimitSet,
    MethodVersion,
    NotMeasuredResult,
    Opinion,
    Request,
    RequestConcern,
    RequestedTerms,
    Result,
    Sample,
    SamplingRecord,
    Scope,
    Submission,
)
from labresults.queries.derived import DerivedOf, There, derive_all, there_of
from labresults.queries.failures import Standing
from labresults.queries.holding import Late, measured_late
from labresults.queries.readiness import Asked, Key, Readiness, made_by_then, readiness
from labresults.queries.results import Decided
from labresults.queries.shared_rows import give
from labresults.terms import OF_READINGS, Basis, Role

__all__ = ["Asked", "Key", "Reportable", "reportable"]

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
class Reportable:
    """Rows of the submissions of one certificate, ready for it where `missing` is empty."""

    laboratory: Laboratory
    submission: Submission  # the first one
    request: Request  # the newest of the first one
    samples: list[Sample]  # submission by submission
    asked: list[Asked]
    results: dict[Key, Result]  # selected and approved, by sample, method and element
    not_measured: dict[Key, NotMeasuredResult]
    decisions: dict[int, Decided]  # by result
    failures: dict[int, Standing]  # by result
    method_versions: list[MethodVersion]
    controls: list[ControlOutcome]
    terms: dict[int, RequestedTerms]  # by sample: basis and limits that differ from the request's
    limits: list[Limit]  # of every set that a sample is compared with
    concerns: list[RequestConcern]  # of the review of the request, those that the client is told
    late: dict[Key, Late]  # results that were measured after their holding time had ended
    scope: list[Scope]
    missing: list[str]  # in words, one a result that is not there or not approved
    further: tuple[Submission, ...] = ()  # the others of a combined certificate
    requests: dict[int, Request] = field(default_factory=dict)  # the newest of each submission, by its key
    newest_event: str = ""  # its SHA-256 when the reading began
    derived: tuple[DerivedOf, ...] = ()  # computed from the results above
    sampling_records: tuple[SamplingRecord, ...] = ()  # by the laboratory itself, the oldest first
    opinions: tuple[Opinion, ...] = ()  # the oldest first

    @property
    def submissions(self) -> tuple[Submission, ...]:
        """Every submission whose samples stand on the certificate, the first one first."""
        return (self.submission, *self.further)

    @cached_property
    def others_named(self) -> tuple[str, ...]:
        """What other clients call their samples that served as control samples here, the longest first; no query."""
        parents = (row.position.portion.subsample for row in self.controls if row.position.portion)
        names = {parent.sample.client_identification for parent in parents if parent and self._is_others(parent.sample)}
        own = {sample.client_identification for sample in self.samples}
        return tuple(sorted((name.strip() for name in names - own if name.strip()), key=len, reverse=True))

    def _is_others(self, sample: Sample) -> bool:
        return sample.submission_id not in self.requests

    def request_of(self, sample: Sample) -> Request:
        """The newest request of a sample's submission; no query."""
        return self.requests.get(sample.submission_id, self.request)

    def basis_of(self, sample: Sample) -> Basis:
        """What a sample is to be reported on: its own, else the request's; no query."""
        return Basis(self.terms[sample.pk].basis if sample.pk in self.terms else self.request_of(sample).basis)

    def limit_set_of(self, sample: Sample) -> LimitSet | None:
        """What a sample is compared with: its own, else the request's; no query."""
        return self.terms[sample.pk].limit_set if sample.pk in self.terms else self.request_of(sample).limit_set


def reportable(
    submission: Submission,
    further: Sequence[Submission] = (),
    as_of: datetime | None = None,
    derivation: int = EDITION,
) -> Reportable:
    """Load everything that a certificate of this submission, and of the further ones, is composed from.

    as_of: as it stood at that moment, for composing an issue again; what is on hold since is not left out then.
    derivation: the edition by which its derived results were computed.
    """
    of = [submission, *further]
    stands = readiness(of, as_of)
    samples, results = stands.samples, list(stands.results.values())
    asked = {"request__in": list(stands.requests.values())}
    terms = {row.sample_id: row for row in RequestedTerms.objects.filter(**asked).select_related("limit_set")}
    told = RequestConcern.objects.filter(**asked, tell_client=True)
    return Reportable(
        laboratory=Laboratory.objects.get(pk=1),
        submission=submission,
        further=tuple(further),
        newest_event=stands.newest_event,
        request=stands.requests[submission.pk],
        requests=stands.requests,
        samples=samples,
        asked=stands.asked,
        results=stands.results,
        not_measured=stands.not_measured,
        decisions=stands.decisions,
        failures=stands.failures,
        method_versions=stands.method_versions,
        controls=_controls(results),
        terms=terms,
        limits=_limits(stands.requests, samples, terms),
        concerns=list(told.select_related("method").order_by("pk")),
        late=measured_late(samples, stands.results),
        scope=list(Scope.objects.filter(method__in={version.method_id for version in stands.method_versions})),
        missing=stands.missing,
        derived=_derived(stands, derivation),
        sampling_records=tuple(_told(SamplingRecord.objects.all(), of, as_of)),
        opinions=tuple(_told(Opinion.objects.all(), of, as_of)),
    )


def _told(rows: QuerySet[Any], submissions: Sequence[Submission], as_of: datetime | None) -> QuerySet[Any]:
    """Records of the submissions in the order in which they were made; one query when they are read."""
    return (
        made_by_then(rows.filter(submission__in=submissions), as_of)
        .select_related("submission", "made_by")
        .order_by("pk")
    )


def _derived(stands: Readiness, edition: int) -> tuple[DerivedOf, ...]:
    """Derived results of what stands; the queries of `derive_all`, none where none is asked for."""
    if not stands.asking.definitions:
        return ()
    there = _there(stands.asked, stands.results, stands.not_measured)
    return tuple(derive_all(stands.asking, stands.samples, there, edition))


def _there(
    asked: Sequence[Asked], approved: Mapping[Key, Result], not_measured: Mapping[Key, NotMeasuredResult]
) -> There:
    """What stands for each element that is asked, as derived results take it; no query."""

    def standing(key: Key) -> Result | str:
        return approved[key] if key in approved else not_measured[key].word if key in not_measured else "to follow"

    return there_of((one.sample.pk, one.method_version.method.code, one.element, standing(one.key)) for one in asked)


def _limits(
    requests: Mapping[int, Request], samples: Sequence[Sample], terms: Mapping[int, RequestedTerms]
) -> list[Limit]:
    """Limits of the sets that the samples are compared with, set by set; one query."""
    sets = {terms[s.pk].limit_set_id if s.pk in terms else requests[s.submission_id].limit_set_id for s in samples}
    rows = Limit.objects.filter(limit_set__in=sets - {None}).select_related("limit_set")
    elements_first = F("derived_code").asc(nulls_first=True)
    return list(rows.order_by("limit_set_id", elements_first, "element"))


def _controls(results: Sequence[Result]) -> list[ControlOutcome]:
    """Outcomes of the batches and runs that the results stand on, at the lines that gave them."""
    evaluations = {result.evaluation_id for result in results}
    lines = {result.line_id for result in results}
    found = list(
        ControlOutcome.objects.filter(evaluation__in=evaluations, line__in=lines, position__role__in=APPENDIX_ROLES)
        .exclude(measure__in=OF_READINGS)
        .select_related(
            "position__lot__material",
            "position__portion__subsample__sample",
            "line",
            "criterion",
            "acceptance__made_by",
        )
        .order_by("evaluation__run__number", "position__number", "line__element", "line__label")
    )
    give(found, "evaluation", {result.evaluation_id: result.evaluation for result in results})
    return found
