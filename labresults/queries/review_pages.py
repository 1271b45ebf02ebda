"""What a reviewer sees: every result that stands in a submission, beside the evidence for it.

Each function says how many database queries it makes.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from math import hypot

from labresults.models import (
    ControlOutcome,
    Determination,
    MethodVersion,
    NotMeasuredResult,
    RequestedMethod,
    Result,
    ReviewedResult,
    Sample,
    Selection,
    Submission,
)
from labresults.queries.results import Standing, failures_of, newest_decisions, newest_selections
from labresults.terms import Decision, Mark, Role, Verdict

Key = tuple[int, int, str]  # sample, method, element


@dataclass(frozen=True)
class Column:
    """One element by one method."""

    method_id: int
    method: str
    element: str
    reported_as: str
    unit: str


@dataclass(frozen=True)
class Cell:
    """One sample at one column: the result that stands, what was decided of it, and what a reviewer must know."""

    result: Result | None
    word: str  # what stands there instead of a number
    decision: str  # approved, refused, sent back, or "" while it waits
    asks: bool
    blocked: bool
    again: bool  # chosen from more than one measurement


@dataclass(frozen=True)
class Look:
    """A result that asks for a look, and why; `weight`: how much it matters, the heaviest first."""

    result: Result
    why: str
    weight: int
    blocks: bool


@dataclass(frozen=True)
class ReviewPage:
    """One submission as its reviewer sees it."""

    submission: Submission
    columns: list[Column]
    rows: list[tuple[Sample, list[Cell]]]
    limits: list[float | None]  # detection limits, by column, in its unit: the largest
    waiting: list[Result]
    looks: list[Look]
    approved: int
    runs: list[str]
    missing: int  # asked for, without a result and without a word

    @property
    def blocked(self) -> list[Look]:
        """What stands against approving everything that waits."""
        return [look for look in self.looks if look.blocks]

    @property
    def twice(self) -> int:
        """How many of the results that stand were chosen from more than one measurement."""
        return sum(cell.again for _, cells in self.rows for cell in cells)


def review_page(number: str) -> ReviewPage:
    """The matrix of a submission, and what asks for a look; about 15 queries. Raises Submission.DoesNotExist."""
    submission = Submission.objects.select_related("client").get(number=number)
    samples = list(submission.samples.select_related("matrix").order_by("ordinal"))
    selections = newest_selections(sample_ids=[sample.pk for sample in samples])
    results = [selection.result for selection in selections.values()]
    decisions = newest_decisions([result.pk for result in results])
    columns, asked = _columns(submission, samples, selections)
    facts = _Facts(selections, decisions, failures_of(results), _candidates(samples), _own_controls(results))
    waiting = [result for result in results if result.pk not in decisions]
    looks = sorted((look for r in waiting for look in facts.looks(r)), key=lambda look: (-look.weight, look.result.pk))
    words = _words(samples)
    asking = {look.result.pk for look in looks}
    rows = [(s, [_cell((s.pk, c.method_id, c.element), facts, words, asking, asked) for c in columns]) for s in samples]
    return ReviewPage(
        submission=submission,
        columns=columns,
        rows=rows,
        limits=[_limit(column, results) for column in columns],
        waiting=sorted(waiting, key=lambda result: result.pk),
        looks=looks,
        approved=sum(item.review.decision == Decision.APPROVE for item in decisions.values()),
        runs=sorted({result.evaluation.run.number for result in results}),
        missing=sum(cell.word == "no result yet" for _, cells in rows for cell in cells),
    )


@dataclass(frozen=True)
class _Facts:
    """What is known of the results that stand in a submission."""

    selections: dict[Key, Selection]
    decisions: dict[int, ReviewedResult]
    failures: dict[int, Standing]
    candidates: dict[Key, list[Result]]
    own_controls: dict[tuple[int, int, int], list[ControlOutcome]]  # by evaluation, line, position of the parent

    def key(self, result: Result) -> Key:
        return (result.sample_id or 0, result.evaluation.run.method_version.method_id, result.element_id)

    def others(self, result: Result) -> list[Result]:
        """Results of other measurements of the same thing that have a value; the newest evaluation of each run."""
        newest = {r.evaluation.run_id: r for r in self.candidates.get(self.key(result), []) if r.pk != result.pk}
        return [r for r in newest.values() if r.evaluation.run_id != result.evaluation.run_id]

    def looks(self, result: Result) -> Iterable[Look]:
        """Everything about a result that asks for a look."""
        standing = self.failures[result.pk]
        yield from (Look(result, outcome.why, 100, True) for outcome in standing["open"])
        if result.value is None:
            yield Look(result, result.why_no_value, 90, False)
        for outcome in standing["accepted"]:
            acceptance = outcome.acceptance
            yield Look(result, f"{outcome.why} Accepted by {acceptance.made_by}: {acceptance.reason}", 80, False)
        yield from (
            Look(result, _disagrees(result, other), 60, False) for other in self.others(result) if _far(result, other)
        )
        near = self.own_controls.get((result.evaluation_id, result.line_id, result.position.number), [])
        yield from (Look(result, outcome.why, 50, False) for outcome in near if outcome.verdict == Verdict.CLOSE)
        if Mark.BELOW_QUANTIFICATION in result.marks:
            yield Look(result, "It lies between the detection limit and the quantification limit.", 20, False)


def _columns(
    submission: Submission, samples: Sequence[Sample], selections: dict[Key, Selection]
) -> tuple[list[Column], set[tuple[int, int]]]:
    """The columns in the order of methods and their determinations; pairs of sample and method asked for."""
    newest = submission.requests.order_by("-version").first()
    requested = list(RequestedMethod.objects.filter(request=newest).select_related("method").order_by("method__code"))
    asked = {(s.pk, r.method_id) for r in requested for s in samples if r.sample_id in (None, s.pk)}
    used = {s.result.evaluation.run.method_version_id for s in selections.values()}
    versions = MethodVersion.objects.filter(method__in={r.method_id for r in requested} | {k[1] for k in selections})
    chosen: dict[int, MethodVersion] = {}
    for version in versions.select_related("method").order_by("version"):
        if version.pk in used or version.method_id not in {v.method_id for v in versions if v.pk in used}:
            chosen[version.method_id] = version
    rows = Determination.objects.filter(method_version__in=chosen.values()).order_by("ordinal")
    codes = {version.pk: (version.method_id, version.method.code) for version in chosen.values()}
    found = [Column(*codes[row.method_version_id], row.element_id, row.reported_as, row.unit) for row in rows]
    return sorted(found, key=lambda column: column.method), asked


def _cell(
    key: Key,
    facts: _Facts,
    words: dict[tuple[int, int, str | None], NotMeasuredResult],
    asking: Collection[int],
    asked: Collection[tuple[int, int]],
) -> Cell:
    selection = facts.selections.get(key)
    if selection is None:
        said = words.get(key) or words.get((key[0], key[1], None))
        word = said.word if said else "no result yet" if key[:2] in asked else ""
        return Cell(None, word, "", False, False, False)
    result = selection.result
    decided = facts.decisions.get(result.pk)
    return Cell(
        result=result,
        word="",
        decision=decided.review.decision if decided else "",
        asks=result.pk in asking,
        blocked=bool(facts.failures[result.pk]["open"]) and decided is None,
        again=bool(facts.others(result)),
    )


def _words(samples: Sequence[Sample]) -> dict[tuple[int, int, str | None], NotMeasuredResult]:
    rows = NotMeasuredResult.objects.filter(sample__in=samples).order_by("pk")
    return {(row.sample_id, row.method_id, row.element_id): row for row in rows}


def _limit(column: Column, results: Sequence[Result]) -> float | None:
    limits = [
        r.detection_limit
        for r in results
        if r.element_id == column.element and r.evaluation.run.method_version.method_id == column.method_id
    ]
    return max(limits, default=None)


def _candidates(samples: Sequence[Sample]) -> dict[Key, list[Result]]:
    """Every candidate of each key, the oldest first; one query."""
    rows = (
        Result.objects.filter(sample__in=samples, is_candidate=True)
        .select_related("evaluation__run__method_version")
        .order_by("pk")
    )
    found: dict[Key, list[Result]] = {}
    for row in rows:
        key = (row.sample_id or 0, row.evaluation.run.method_version.method_id, row.element_id)
        found.setdefault(key, []).append(row)
    return found


def _own_controls(results: Sequence[Result]) -> dict[tuple[int, int, int], list[ControlOutcome]]:
    """Duplicates, spikes and dilutions of a result's own position; one query."""
    rows = ControlOutcome.objects.filter(
        evaluation__in={result.evaluation_id for result in results},
        position__parent__isnull=False,
        position__role__in=[Role.DUPLICATE, Role.SPIKE, Role.SERIAL_DILUTION],
    ).select_related("position__parent")
    found: dict[tuple[int, int, int], list[ControlOutcome]] = {}
    for row in rows:
        found.setdefault((row.evaluation_id, row.line_id, row.position.parent.number), []).append(row)
    return found


def _far(one: Result, other: Result) -> bool:
    """Whether two measurements differ by more than their expanded uncertainties allow, taken as independent."""
    if one.value is None or other.value is None or one.expanded_u is None or other.expanded_u is None:
        return False
    return abs(one.value - other.value) > hypot(one.expanded_u, other.expanded_u)


def _disagrees(one: Result, other: Result) -> str:
    share = 100 * abs((other.value or 0.0) - (one.value or 0.0)) / abs(one.value or 1.0)
    return f"Run {other.evaluation.run} gave another value, {share:.3g} % away: more than both uncertainties allow."
