"""What is known of the results that stand for some samples: selections, decisions, failures, other measurements."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from math import hypot

from labresults.calculation.plausibility import Finding
from labresults.models import ControlOutcome, Result, ReviewedResult, Sample, Selection, Weighing
from labresults.queries.nonconforming import held
from labresults.queries.plausibility import findings_of
from labresults.queries.preparation import kept_apart
from labresults.queries.results import Standing, failures_of, newest_decisions, newest_selections
from labresults.queries.undecidable import undecidable
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


HELD, OPEN, NO_VALUE, ACCEPTED, KEPT_APART, UNDECIDED = 110, 100, 90, 80, 70, 65
DISAGREES, CARRIED, CLOSE, UNLIKELY = 60, 55, 50, 40
"""How much each reason to look matters (common practice, no source): only the order of these numbers counts."""

MARKED = {
    Mark.CARRY_OVER: (CARRIED, "It was read just after a very high one, and may hold something of it."),
    Mark.LINES_DISAGREE: (DISAGREES, "Another line of this element gave another value than the method allows."),
}
"""Marks that ask for a look: how much, and in which words. One between its limits is marked, and asks for none."""


@dataclass(frozen=True)
class Facts:
    """What is known of some samples' results."""

    selections: dict[Key, Selection]
    decisions: dict[int, ReviewedResult]  # the newest, by result
    failures: dict[int, Standing]  # by result, of every candidate
    candidates: dict[Key, list[Result]]  # the oldest first
    own_controls: dict[tuple[int, int, int], list[ControlOutcome]]  # by evaluation, line, position of the parent
    weighings: dict[int, list[Weighing]]  # by portion, those that have a reason, the oldest first
    findings: dict[int, list[Finding]] = field(default_factory=dict)  # what does not fit together, by result
    undecided: dict[int, str] = field(default_factory=dict)  # why a limit cannot be compared with, by result
    held: dict[int, list[str]] = field(default_factory=dict)  # numbers of nonconforming work that holds it, by result

    def others(self, result: Result) -> list[Result]:
        """Results of other runs of the same thing: of each run its newest evaluation."""
        newest = {row.evaluation.run_id: row for row in self.candidates.get(key_of(result), [])}
        return [row for run, row in newest.items() if run != result.evaluation.run_id]

    def near(self, result: Result) -> list[ControlOutcome]:
        """Duplicate, spike and dilution of the result's own position."""
        return self.own_controls.get((result.evaluation_id, result.line_id, result.position.number), [])

    def apart(self, result: Result) -> list[str]:
        """What of its portion was kept although it is not as the method states it, as its evaluation saw it."""
        rows = self.weighings.get(result.position.portion_id or 0, [])
        seen = [row for row in rows if row.pk <= result.evaluation.last_weighing]
        return kept_apart(seen[-1], seen[-1].portion.batch.method_version) if seen else []

    def looks(self, result: Result) -> Iterator[Look]:
        """Everything about a result that asks for a look."""
        standing = self.failures[result.pk]
        if result.pk in self.held:
            yield Look(result, f"Held by {', '.join(self.held[result.pk])}: release it there first.", HELD, True)
        yield from (Look(result, outcome.why, OPEN, True) for outcome in standing["open"])
        if result.value is None:
            yield Look(result, result.why_no_value, NO_VALUE, False)
        for outcome in standing["accepted"]:
            acceptance = outcome.acceptance
            why = f"{outcome.why} Accepted by {acceptance.made_by}: {acceptance.reason}"
            yield Look(result, why, ACCEPTED, False)
        yield from (Look(result, words, KEPT_APART, False) for words in self.apart(result))
        far = (other for other in self.others(result) if _far(result, other))
        yield from (Look(result, _disagrees(result, other), DISAGREES, False) for other in far)
        close = (outcome for outcome in self.near(result) if outcome.verdict == Verdict.CLOSE)
        yield from (Look(result, outcome.why, CLOSE, False) for outcome in close)
        marked = (MARKED[Mark(mark)] for mark in result.marks if mark in MARKED)
        yield from (Look(result, why, weight, False) for weight, why in marked)
        if result.pk in self.undecided:
            yield Look(result, self.undecided[result.pk], UNDECIDED, False)
        unlikely = self.findings.get(result.pk, ())
        yield from (Look(result, f"{found.words} Rule: {found.rule}.", UNLIKELY, False) for found in unlikely)


def facts_of(sample_ids: Collection[int], samples: Collection[Sample] | None = None) -> Facts:
    """Everything known of these samples' results; at most 21 queries, whatever their number.

    samples: themselves with their submission, where the caller has them already: one query less.
    """
    if samples is None:
        samples = list(Sample.objects.filter(pk__in=sample_ids).select_related("submission"))
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
        findings=findings_of(samples, selections),
        undecided=undecidable(samples, [selection.result for selection in selections.values()]),
        weighings=_explained(sample_ids),
        held=held(every),
    )


def _explained(sample_ids: Collection[int]) -> dict[int, list[Weighing]]:
    """By portion, weighings with a reason: without one nothing stands that is not as the method has it; one query."""
    rows = Weighing.objects.filter(portion__subsample__sample__in=sample_ids).exclude(reason="")
    found: dict[int, list[Weighing]] = {}
    for row in rows.select_related("made_by", "portion__batch__method_version__method").order_by("version"):
        found.setdefault(row.portion_id, []).append(row)
    return found


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
