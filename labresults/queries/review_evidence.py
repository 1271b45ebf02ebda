"""The evidence beside one result: its candidates, its readings, its portion and the control samples around it."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from django.db.models import Q

from labresults.models import (
    Calibration,
    ControlOutcome,
    Reading,
    Result,
    ResultComment,
    Selection,
    Weighing,
)
from labresults.queries.earlier import Past, earlier_of
from labresults.queries.failures import Standing
from labresults.queries.preparation import kept_apart
from labresults.queries.results import Decided, newest_selections
from labresults.queries.review_facts import Facts, Look, facts_of, key_of
from labresults.terms import BRACKETING, CALIBRATING, OF_POSITIONS, OF_READINGS, Decision, Measure, Role


@dataclass(frozen=True)
class Candidate:
    """One measurement that could stand, and why it does or does not."""

    result: Result
    is_selected: bool
    is_refused: bool
    why: str
    turned_down: bool = False  # a reviewer refused it or sent it back: it cannot be chosen


@dataclass(frozen=True)
class Control:
    """One control sample that speaks for a result, in words that say where it stood."""

    words: str
    outcome: ControlOutcome


@dataclass(frozen=True)
class Evidence:
    """What stands behind one result."""

    result: Result
    selection: Selection | None
    decision: Decided | None
    candidates: list[Candidate]
    failures: Standing
    looks: list[Look]
    reading: Reading | None
    weighing: Weighing | None
    controls: list[Control]
    calibration: Calibration | None
    earlier: list[Past]
    comments: list[ResultComment]

    @property
    def is_selected(self) -> bool:
        """Whether this result is the one that stands."""
        return self.selection is not None and self.selection.result_id == self.result.pk

    @property
    def choosable(self) -> list[Candidate]:
        """Measurements that an analyst may let stand instead."""
        return [each for each in self.candidates if not each.is_selected and not each.turned_down]

    @property
    def apart(self) -> list[str]:
        """What of its portion was kept although it is not as the method states it, by whom and why."""
        portion = self.result.position.portion
        return kept_apart(self.weighing, portion.batch.method_version) if portion else []

    @property
    def spread_percent(self) -> float | None:
        """Relative standard deviation of the readings, %; None of a single reading, or of a mean of zero."""
        if self.reading is None or self.reading.sd is None or not self.reading.mean:
            return None
        return float(100 * self.reading.sd / abs(self.reading.mean))


def measurements(number: str, keys: Collection[int]) -> dict[int, Result]:
    """Those of these results, by key, that could stand in a submission; one query."""
    of = Result.objects.filter(sample__submission__number=number, sample__struck_at=None, is_candidate=True)
    return {row.pk: row for row in of.filter(pk__in=keys).select_related("sample")}


def standing_among(number: str, keys: Collection[int]) -> list[int]:
    """Those of these results that stand in a submission; five queries."""
    rows = measurements(number, keys)
    stand = {row.result_id for row in newest_selections(sample_ids={r.sample_id for r in rows.values()}).values()}
    return [key for key in rows if key in stand]


def evidence_of(number: str, result_pk: int) -> Evidence:
    """Evidence for one result of a submission; at most 27 queries, whatever its size. Raises Result.DoesNotExist.

    A doubt that another sample of the submission gives, as its total does, is found too.
    """
    result = (
        Result.objects.filter(sample__submission__number=number, is_candidate=True)
        .select_related(
            "evaluation__run__method_version__method", "position__portion__batch__method_version",
            "sample__submission", "line",
        )
        .get(pk=result_pk)
    )  # fmt: skip
    facts = facts_of([result.sample_id], [result.sample])
    selection = facts.selections.get(key_of(result))
    stands = selection is not None and selection.result_id == result.pk and result.pk not in facts.decisions
    return Evidence(
        result=result,
        selection=selection,
        decision=facts.decisions.get(result.pk),
        candidates=_candidates(facts, result, selection),
        failures=facts.failures[result.pk],
        looks=list(facts.looks(result)) if stands else [],
        reading=Reading.objects.filter(position=result.position_id, line=result.line_id).first(),
        weighing=_weighing(result),
        controls=_around(result),
        calibration=_calibration(result),
        earlier=earlier_of(result),
        comments=list(result.comments.select_related("made_by").order_by("pk")),
    )


def _candidates(facts: Facts, result: Result, selection: Selection | None) -> list[Candidate]:
    """The one that stands first, then the newest."""
    rows = facts.candidates.get(key_of(result), [])
    found = [_candidate(row, facts.failures[row.pk], selection, facts.decisions.get(row.pk)) for row in reversed(rows)]
    return sorted(found, key=lambda candidate: not candidate.is_selected)


def _candidate(row: Result, standing: Standing, selection: Selection | None, decided: Decided | None) -> Candidate:
    if selection is not None and selection.result_id == row.pk:
        by_name = f"Selected by {selection.made_by}: {selection.reason}" if selection.reason else ""
        return Candidate(row, True, False, by_name or f"Selected by the rule “{selection.rule}”.")
    if decided is not None and decided.review.decision != Decision.APPROVE:
        review = decided.review
        return Candidate(
            row, False, True, f"{review.decision.capitalize()} by {review.made_by}: {review.reason}", turned_down=True
        )
    if standing["open"]:
        return Candidate(row, False, True, standing["open"][0].why)
    if row.value is None:
        return Candidate(row, False, True, row.why_no_value)
    return Candidate(row, False, False, "Not chosen; nothing stands against it.")


def _weighing(result: Result) -> Weighing | None:
    """The weighing that the evaluation saw."""
    return (
        Weighing.objects.filter(portion=result.position.portion_id, pk__lte=result.evaluation.last_weighing)
        .select_related("balance", "made_by")
        .order_by("-version")
        .first()
    )


def _calibration(result: Result) -> Calibration | None:
    """The curve that it was read from; one query."""
    place = {"evaluation": result.evaluation_id, "line": result.line_id, "block": result.position.block}
    return Calibration.objects.filter(**place).select_related("line").first()


def _around(result: Result) -> list[Control]:
    """Its own reading, curve, the checks just before and after, the controls of its batch and repeats; one query."""
    at_its_line, here = Q(line=result.line_id), result.position
    rows = list(
        ControlOutcome.objects.filter(at_its_line | Q(measure__in=OF_POSITIONS), evaluation=result.evaluation_id)
        .exclude(~Q(position=here), measure__in=OF_READINGS)
        .select_related("position__lot__material", "position__portion", "position__parent", "criterion")
        .order_by("position__number", "pk")
    )
    reading = [row for row in rows if row.measure in OF_READINGS]
    curve = [row for row in rows if row.position.role in CALIBRATING and row.position.block == here.block]
    checks = [row for row in rows if row.position.role in BRACKETING and row.position.block == here.block]
    batch = here.portion and here.portion.batch_id
    own = [row for row in rows if batch and row.position.portion and row.position.portion.batch_id == batch]
    before = [Control(f"{_check(row)} before", row) for row in _nearest(checks, here.number, -1)]
    after = [Control(f"{_check(row)} after", row) for row in _nearest(checks, here.number, 1)]
    prepared = [Control(_words(row), row) for row in own if row not in reading]
    read = [Control(Measure(row.measure).partition(",")[0], row) for row in [*reading, *_worst(curve)]]
    return [*read, *before, *after, *prepared]


def _worst(curve: Sequence[ControlOutcome]) -> list[ControlOutcome]:
    """Of each measure of the curve one outcome: of the standards' read-back that which is farthest out."""
    found: dict[str, ControlOutcome] = {}
    for row in sorted(curve, key=lambda row: -(row.observed or 0.0)):
        found.setdefault(row.measure, row)
    return list(found.values())


def _nearest(checks: Sequence[ControlOutcome], here: int, way: int) -> list[ControlOutcome]:
    """Of each kind and measure the nearest check before (way -1) or after (way 1) a position."""
    found: dict[tuple[str, str], ControlOutcome] = {}
    for row in sorted(checks, key=lambda check: abs(check.position.number - here)):
        if (row.position.number - here) * way > 0:
            found.setdefault((_check(row), row.measure), row)
    return sorted(found.values(), key=lambda check: check.position.number)


def _check(row: ControlOutcome) -> str:
    return "blank check" if row.position.role == Role.BLANK_CHECK else "verification"


def _words(row: ControlOutcome) -> str:
    position = row.position
    if position.parent and position.role != Role.SAMPLE:
        return f"{position.role} of {position.parent.label}"
    return f"{position.role} {position.lot.material.code}" if position.lot else str(position.role)
