"""What is known of the results that stand for some samples: selections, decisions, failures, other measurements."""

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field

from labresults.calculation.plausibility import Finding, Seen, farther_apart
from labresults.garbage import collecting_later
from labresults.models import ControlOutcome, Result, Sample, Selection, Weighing
from labresults.queries.failures import Standing, failures_of
from labresults.queries.nonconforming import held
from labresults.queries.plausibility import as_seen, findings_of
from labresults.queries.preparation import kept_apart
from labresults.queries.results import Decided, newest_reviews, newest_selections
from labresults.queries.shared_rows import give_evaluations, give_shared, in_parts
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


HELD, OPEN, NO_VALUE, ACCEPTED, OVERTAKEN, KEPT_APART, UNDECIDED = 110, 100, 90, 80, 75, 70, 65
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
    decisions: dict[int, Decided]  # the newest, by result
    failures: dict[int, Standing]  # by result, of every candidate
    candidates: dict[Key, list[Result]]  # the oldest first
    own_controls: dict[tuple[int, int, int], list[ControlOutcome]]  # by evaluation, line, position of the parent
    weighings: dict[int, list[Weighing]]  # by portion, those that have a reason, the oldest first
    findings: dict[int, list[Finding]] = field(default_factory=dict)  # what does not fit together, by result
    undecided: dict[int, str] = field(default_factory=dict)  # why a limit cannot be compared with, by result
    held: dict[int, list[str]] = field(default_factory=dict)  # numbers of nonconforming work that holds it, by result
    overtaken: dict[int, Decided] = field(default_factory=dict)  # approvals before its moisture, by result

    def others(self, result: Result) -> list[Result]:
        """Other measurements of the same thing: every other position, at its best line, in the newest evaluations.

        Two portions read in one run are two measurements as well; two lines of one position are one.
        """
        rows = self.candidates.get(key_of(result), [])
        if all(row.position_id == result.position_id for row in rows):
            return []
        versions: dict[int, int] = {}
        for row in rows:
            run = row.evaluation.run_id
            versions[run] = max(row.evaluation.version, versions.get(run, 0))
        best: dict[int, Result] = {}
        for row in sorted(rows, key=lambda row: (row.value is None, row.rank, row.pk)):
            if row.evaluation.version == versions[row.evaluation.run_id] and row.position_id != result.position_id:
                best.setdefault(row.position_id, row)
        return sorted(best.values(), key=lambda row: row.pk)

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
        if result.pk in self.overtaken:
            yield Look(result, _approved_before(self.overtaken[result.pk]), OVERTAKEN, False)
        yield from (Look(result, words, KEPT_APART, False) for words in self.apart(result))
        apart = (_disagrees(result, other) for other in self.others(result))
        yield from (Look(result, words, DISAGREES, False) for words in apart if words)
        close = (outcome for outcome in self.near(result) if outcome.verdict == Verdict.CLOSE)
        yield from (Look(result, outcome.why, CLOSE, False) for outcome in close)
        marked = (MARKED[Mark(mark)] for mark in result.marks if mark in MARKED)
        yield from (Look(result, why, weight, False) for weight, why in marked)
        if result.pk in self.undecided:
            yield Look(result, self.undecided[result.pk], UNDECIDED, False)
        unlikely = self.findings.get(result.pk, ())
        yield from (Look(result, f"{found.words} Rule: {found.rule}.", UNLIKELY, False) for found in unlikely)


@collecting_later()
def facts_of(sample_ids: Collection[int], samples: Collection[Sample] | None = None) -> Facts:
    """Everything known of these samples' results; at most 21 queries, whatever their number.

    samples: themselves with their submission, where the caller has them already: one query less.
    """
    if samples is None:
        samples = list(Sample.objects.filter(pk__in=sample_ids).select_related("submission"))
    candidates = _candidates(sample_ids)
    every = {row.pk: row for rows in candidates.values() for row in rows}
    selections = newest_selections(sample_ids=sample_ids, known=every)
    every |= {selection.result_id: selection.result for selection in selections.values()}
    reviews = newest_reviews(every, of_samples=sample_ids)
    return Facts(
        selections=selections,
        decisions={pk: row for pk, row in reviews.items() if not row.overtaken},
        overtaken={pk: row for pk, row in reviews.items() if row.overtaken},
        failures=failures_of(list(every.values())),
        candidates=candidates,
        own_controls=_own_controls(every.values()),
        findings=findings_of(samples, selections),
        undecided=undecidable(samples, [selection.result for selection in selections.values()]),
        weighings=_explained(sample_ids),
        held=held(every),
    )


def samples_of(results: Iterable[int], whole: bool = False) -> set[int]:
    """Keys of the samples of these results; one query for as many as one takes. whole: and of those beside them.

    Beside them, on the page of their submission, stand all of its samples that are not struck; one query more.
    """
    asked = (Result.objects.filter(pk__in=some, sample__isnull=False) for some in in_parts(results))
    samples = {sample for some in asked for sample in some.values_list("sample_id", flat=True)}
    if not whole:
        return samples
    submissions = Sample.objects.filter(pk__in=samples).values("submission")
    beside = Sample.objects.filter(submission__in=submissions, struck_at=None)
    return {*samples, *beside.values_list("pk", flat=True)}


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
    """By what they are of, the oldest first; four queries, two of a single sample: its few rows are joined."""
    asked = Result.objects.filter(sample__in=sample_ids, is_candidate=True).order_by("pk")
    if len(sample_ids) == 1:
        rows = list(asked.select_related("position", "line"))
        give_evaluations(rows)
    else:
        rows = list(asked)
        give_shared(rows)
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


def _disagrees(one: Result, other: Result) -> str:
    """In words, where two measurements differ by more than their expanded uncertainties allow, taken as independent."""
    ours, theirs = as_seen(one), as_seen(other)
    if ours is None or theirs is None or None in (one.expanded_u, other.expanded_u):
        return ""
    brought = farther_apart(ours, theirs)
    if brought is None:
        return ""
    is_ours = one.evaluation.run_id == other.evaluation.run_id
    where = f"Position {other.position.number} of the same run" if is_ours else f"Run {other.evaluation.run}"
    gave = _said(theirs)
    if (theirs.unit, theirs.reported_as) != (ours.unit, ours.reported_as):
        named = f" {theirs.reported_as}" if theirs.reported_as != ours.reported_as else ""
        gave = f"{gave}{named} ({_said(brought)})"
    return f"{where} gave {gave} where this one gave {_said(ours)}: farther apart than both uncertainties allow."


def _said(seen: Seen) -> str:
    if seen.is_below:
        return f"less than {seen.detection_limit:.3g} {seen.unit}"
    return f"{seen.value:.4g} {seen.unit}"


def _approved_before(row: Decided) -> str:
    return (
        f"Its moisture was recorded after {row.review.made_by} had approved it: look at the figure on dry basis, and"
        " approve it again."
    )
