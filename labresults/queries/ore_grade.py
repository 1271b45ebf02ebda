"""Samples too rich for a method, which its ore-grade method is to be asked for: back to Preparation, not diluted."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from labresults.models import Determination, Evaluation, Method, Request, Result, Submission
from labresults.queries.asked import pairs_of
from labresults.terms import Mark, Role


@dataclass
class Richer:
    """Samples of one submission, the method to ask for, and which elements are above what this one is for."""

    submission: Submission
    method: Method
    samples: list[str] = field(default_factory=list)
    elements: list[str] = field(default_factory=list)

    @property
    def consent(self) -> str:
        """Who of the client agreed to it for good; empty: is to be asked."""
        return self.submission.client.ore_grade_consent


def richer_than_allowed(evaluation: Evaluation | None) -> list[Richer]:
    """What the ore-grade method of a run's method is to be asked for and was not yet; four queries, or one.

    A result counts above the bound of its determination, or over range where even the top of the range is above it: a
    reading above the range says no more than that.
    """
    if evaluation is None:
        return []
    version = evaluation.run.method_version
    bounds = {
        row.element_id: row.ore_grade_above for row in version.determinations.filter(ore_grade_above__isnull=False)
    }
    better = Method.objects.filter(ore_grade_of=version.method).order_by("code").first() if bounds else None
    if better is None:
        return []
    reached = set(Determination.objects.filter(method_version__method=better).values_list("element", flat=True))
    rich = [row for row in _results(evaluation, set(bounds) & reached) if _is_above(row, bounds[row.element_id])]
    return _grouped(rich, better)


def _results(evaluation: Evaluation, elements: Iterable[str]) -> list[Result]:
    rows = evaluation.results.filter(element__in=elements, is_candidate=True, position__role=Role.SAMPLE)
    return list(rows.select_related("sample__submission__client").order_by("position__number", "rank"))


def _is_above(result: Result, bound: float) -> bool:
    if result.value is not None:
        return bool(result.value > bound)
    return Mark.OVER_RANGE in result.marks and result.upper_limit is not None and bool(result.upper_limit >= bound)


def _grouped(rich: Iterable[Result], better: Method) -> list[Richer]:
    found: dict[int, Richer] = {}
    asked: dict[int, set[tuple[int, int]]] = {}
    for row in rich:
        submission = row.sample.submission
        if submission.pk not in asked:
            newest = Request.objects.filter(submission=submission).order_by("-version").first()
            asked[submission.pk] = pairs_of(newest, submission.samples.all())
        if (row.sample_id, better.pk) in asked[submission.pk]:
            continue
        group = found.setdefault(submission.pk, Richer(submission, better))
        group.samples += [row.sample.number] if row.sample.number not in group.samples else []
        group.elements += [row.element_id] if row.element_id not in group.elements else []
    return list(found.values())
