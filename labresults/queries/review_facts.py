"""What is known of the results that stand for some samples: selections, decisions, failures, other measurements."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from math import hypot

from labresults.models import ControlOutcome, Result, ReviewedResult, Selection
from labresults.queries.results import Standing, failures_of, newest_decisions, newest_selections
from labresults.terms import OF_READINGS, Mark, Role, Verdict

Key = tuple[int, int, str]
"""Sample, method, element."""


@dataclass(frozen=True)
class Look:
    """A result that asks for a look, and why; `weight`: how much it matters, the heaviest first."""

    result: Result
    why: str
    weight: int
    blocks: bool


OPEN, NO_VALUE, ACCEPTED, DISAGREES, CARRIED, CLOSE, BETWEEN_LIMITS = 100, 90, 80, 60, 55, 50, 20
"""How much each reason to look matters (common practice, no source): only the order of these numbers counts."""

MARKED = {
    Mark.CARRY_OVER: (CARRIED, "It was read just after a very high one, and may hold something of it."),
    Mark.LINES_DISAGREE: (DISAGREES, "Another line of this element gave another value than the method allows."),
    Mark.BELOW_QUANTIFICATION: (BETWEEN_LIMITS, "It lies between the detection limit and the quantification limit."),
}
"""Marks that ask for a look: how much, and in which words."""


@dataclass(frozen=True)
class Facts:
    """What is known of some samples' results."""

    selections: dict[Key, Selection]
    decisions: dict[int, ReviewedResult]  # the newest, by result
    failures: dict[int, Standing]  # by result, of every candidate
    candidates: dict[Key, list[Result]]  # the oldest first
    own_controls: dict[tuple[int, int, int], list[ControlOutcome]]  # by evaluation, line, position of the parent

    def others(self, result: Result) -> list[Result]:
        """Results of other runs of the same thing: of each run its newest evaluation."""
        newest = {row.evaluation.run_id: row for row in self.candidates.get(key_of(result), [])}
        return [row for run, row in newest.items() if run != result.evaluation.run_id]

    def near(self, result: Result) -> list[ControlOutcome]:
        """Duplicate, spike and dilution of the result's own position."""
        return self.own_controls.get((result.evaluation_id, result.line_id, result.position.number), [])

    def looks(self, result: Result) -> Iterator[Look]:
        """Everything about a result that asks for a look."""
        standing = self.failures[result.pk]
        yield from (Look(result, outcome.why, OPEN, True) for outcome in standing["open"])
        if result.value is None:
            yield Look(result, result.why_no_value, NO_VALUE, False)
        for outcome in standing["accepted"]:
            acceptance = outcome.acceptance
            why = f"{outcome.why} Accepted by {acceptance.made_by}: {acceptance.reason}"
            yield Look(result, why, ACCEPTED, False)
        far = (other for other in self.others(result) if _far(result, other))
        yield from (Look(result, _disagrees(result, other), DISAGREES, False) for other in far)
        close = (outcome for outcome in self.near(result) if outcome.verdict == Verdict.CLOSE)
        yield from (Look(result, outcome.why, CLOSE, False) for outcome in close)
        marked = (MARKED[Mark(mark)] for mark in result.marks if mark in MARKED)
        yield from (Look(result, why, weight, False) for weight, why in marked)


def facts_of(sample_ids: Collection[int]) -> Facts:
    """Everything known of these samples' results; about nine queries, whatever their number."""
    selections = newest_selections(sample_ids=sample_ids)
    candidates = _candidates(sample_ids)
    every = {row.pk: row for rows in candidates.values() for row in rows}
    every |= {selection.result_id: selection.result for selection in selections.values()}
    return Facts(
        selections=selections,
        decisions=newest_decisions(every),
        failures=failures_of(list(every.values())),
        candidates=candidates,
        own_controls=_own_controls(every.values()),
    )


def key_of(result: Result) -> Key:
    """Sample, method and element of a result."""
    return (result.sample_id or 0, result.evaluation.run.method_version.method_id, result.element_id)


def _candidates(sample_ids: Collection[int]) -> dict[Key, list[Result]]:
    rows = (
        Result.objects.filter(sample__in=sample_ids, is_candidate=True)
        .select_related("evaluation__run__method_version__method", "position", "line")
        .order_by("pk")
    )
    found: dict[Key, list[Result]] = {}
    for row in rows:
        found.setdefault(key_of(row), []).append(row)
    return found


def _own_controls(results: Collection[Result]) -> dict[tuple[int, int, int], list[ControlOutcome]]:
    rows = (
        ControlOutcome.objects.filter(
            evaluation__in={result.evaluation_id for result in results},
            position__parent__isnull=False,
            position__role__in=[Role.DUPLICATE, Role.SPIKE, Role.SERIAL_DILUTION, Role.POST_DIGESTION_SPIKE],
        )
        .exclude(measure__in=OF_READINGS)
        .select_related("position__parent")
    )
    found: dict[tuple[int, int, int], list[ControlOutcome]] = {}
    for row in rows.order_by("pk"):
        found.setdefault((row.evaluation_id, row.line_id, row.position.parent.number), []).append(row)
    return found


def _far(one: Result, other: Result) -> bool:
    """Whether two measurements differ by more than their expanded uncertainties allow, taken as independent."""
    if None in (one.value, other.value, one.expanded_u, other.expanded_u) or one.unit != other.unit:
        return False
    return bool(abs(one.value - other.value) > hypot(one.expanded_u, other.expanded_u))


def _disagrees(one: Result, other: Result) -> str:
    values = f"{other.value:.4g} {other.unit} where this one gave {one.value:.4g} {one.unit}"
    return f"Run {other.evaluation.run} gave {values}: farther apart than both uncertainties allow."
