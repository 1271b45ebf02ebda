"""Two evaluations of one run beside each other, from what is stored of both. Nothing is computed again."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from labresults.calculation.compare import (
    Change,
    CurveState,
    LineSummary,
    ResultState,
    VerdictState,
    by_line,
    changes,
    largest_first,
    relative_percent,
)
from labresults.models import Calibration, ControlOutcome, Evaluation, Position, Result, Run, Selection, Weighing
from labresults.queries.run_pages import find_run
from labresults.terms import OF_CURVES

MOST_ROWS = 60
"""So many changed results, the largest changes first, and choices stand on the page."""


@dataclass(frozen=True)
class Inputs:
    """What went in otherwise: points of curves, rules, weighings, other evidence that was newer; in words."""

    left_out: list[tuple[int, str]]
    taken_back: list[tuple[int, str]]
    weighings: list[Weighing]
    others: list[str]

    @property
    def is_same(self) -> bool:
        """Whether nothing that went in is different."""
        return not (self.left_out or self.taken_back or self.weighings or self.others)


@dataclass(frozen=True)
class ChangedResult:
    """A result that is not as it was, with its position; the change of its value in %."""

    position: Position
    line: str
    before: ResultState | None
    after: ResultState | None
    percent: float | None


@dataclass(frozen=True)
class ChangedVerdict:
    """A control sample that is judged otherwise; `position`: None where a curve was judged, of a block."""

    position: Position | None
    block: int
    line: str
    criterion: Any
    before: VerdictState | None
    after: VerdictState | None


@dataclass(frozen=True)
class ChangedChoice:
    """An element of a sample for which another result stands, as position and line; None: none of that evaluation."""

    sample: str
    element: str
    before: tuple[int, str] | None
    after: tuple[int, str] | None


@dataclass(frozen=True)
class Compared:
    """Two evaluations of a run, and what is different in the newer one."""

    run: Run
    versions: list[int]
    older: Evaluation
    newer: Evaluation
    inputs: Inputs
    curves: list[Change[tuple[int, str], CurveState]]
    verdicts: list[ChangedVerdict]
    choices: list[ChangedChoice]
    choice_count: int
    results: list[ChangedResult]
    result_count: int
    lines: list[LineSummary]

    @property
    def is_same(self) -> bool:
        """Whether both gave the same, to the last bit."""
        return not (self.curves or self.verdicts or self.choice_count or self.result_count)


def compare_evaluations(number: str, older: int | None, newer: int | None) -> Compared:
    """What changed between two versions, by default the newest and the one before it; 13 queries.

    Raises Run.DoesNotExist, Evaluation.DoesNotExist.
    """
    run = find_run(number)
    evaluations = {row.version: row for row in run.evaluations.select_related("made_by").order_by("version")}
    to = newer if newer is not None else max(evaluations, default=0)
    since = older if older is not None else to - 1
    if to not in evaluations or since not in evaluations:
        raise Evaluation.DoesNotExist(f"{run} has no evaluations {since} and {to} to compare.")
    old, new = evaluations[since], evaluations[to]
    lines = {row.line_id: str(row.line) for row in run.method_version.lines.select_related("line")}
    positions = {row.number: row for row in run.positions.select_related("portion").order_by("number")}
    number_of = {row.pk: row.number for row in positions.values()}
    results = [_results(each, number_of, lines) for each in (old, new)]
    found, chosen = largest_first(changes(*results)), _choices(old, new, lines)
    return Compared(
        run=run,
        versions=sorted(evaluations),
        older=old,
        newer=new,
        inputs=_inputs(old, new, positions.values()),
        curves=changes(_curves(old, lines), _curves(new, lines)),
        verdicts=_verdicts(old, new, positions, lines),
        choices=chosen[:MOST_ROWS],
        choice_count=len(chosen),
        results=[_changed(change, positions) for change in found[:MOST_ROWS]],
        result_count=len(found),
        lines=by_line(found, results[1]),
    )


def _changed(change: Change[tuple[int, str], ResultState], positions: Mapping[int, Position]) -> ChangedResult:
    percent = relative_percent(change.before, change.after)
    return ChangedResult(positions[change.key[0]], change.key[1], change.before, change.after, percent)


def _inputs(old: Evaluation, new: Evaluation, positions: Any) -> Inputs:
    """What went in otherwise; one query."""
    before, after = ({(number, line) for number, line in each.left_out} for each in (old, new))
    weighed = Weighing.objects.filter(
        portion__in={row.portion_id for row in positions if row.portion_id},
        pk__gt=old.last_weighing,
        pk__lte=new.last_weighing,
    ).select_related("portion", "made_by")
    return Inputs(
        left_out=sorted(after - before),
        taken_back=sorted(before - after),
        weighings=list(weighed.order_by("pk")),
        others=_others(old, new),
    )


def _others(old: Evaluation, new: Evaluation) -> list[str]:
    kinds = {
        "last_request": "a newer request says what is reported",
        "last_mass_loss": "a newer drying says the moisture",
        "last_fire_charge": "a newer crucible is known",
    }
    found = [words for name, words in kinds.items() if getattr(old, name) != getattr(new, name)]
    if old.rules != new.rules:
        found.append(f"rules of evaluation: edition {old.rules}, now {new.rules}")
    if old.software != new.software:
        found.append(f"software: {old.software}, now {new.software}")
    return [*found, *([f"platform: {old.platform}, now {new.platform}"] if old.platform != new.platform else [])]


def _curves(evaluation: Evaluation, lines: Mapping[int, str]) -> dict[tuple[int, str], CurveState]:
    """Curves by block and line; one query."""
    rows = Calibration.objects.filter(evaluation=evaluation).order_by("block", "line__element_id", "line__label")
    return {
        (row.block, lines[row.line_id]): CurveState(
            (row.b0, row.b1, row.b2), row.r, row.count, row.bottom, row.top, row.problem
        )
        for row in rows.defer("points")
    }


def _verdicts(
    old: Evaluation, new: Evaluation, positions: Mapping[int, Position], lines: Mapping[int, str]
) -> list[ChangedVerdict]:
    """Control samples whose verdict is another; what is only another number is not among them; three queries."""
    found = [
        change
        for change in changes(_judged(old), _judged(new))
        if (change.before.verdict if change.before else None) != (change.after.verdict if change.after else None)
    ]
    criteria = {row.pk: row for row in new.run.method_version.criteria.all()} if found else {}
    return [
        ChangedVerdict(positions.get(number), block, lines[line], criteria[criterion], change.before, change.after)
        for change in sorted(found, key=lambda each: each.key)
        for block, number, line, criterion in (change.key,)
    ]


def _judged(evaluation: Evaluation) -> dict[tuple[int, int, int, int], VerdictState]:
    """By block, position, line and criterion. What looks at a curve stands at its highest standard in use, which may be
    another now: its position is 0.
    """
    rows = ControlOutcome.objects.filter(evaluation=evaluation)
    names = ("position__block", "position__number", "measure", "line_id", "criterion_id", "observed", "verdict")
    return {
        (block, 0 if measure in OF_CURVES else number, line, criterion): VerdictState(observed, verdict)
        for block, number, measure, line, criterion, observed, verdict in rows.values_list(*names)
    }


def _choices(old: Evaluation, new: Evaluation, lines: Mapping[int, str]) -> list[ChangedChoice]:
    """Where another position or line stands than before, as each evaluation itself had it at last; two queries."""
    found = changes(_chosen(old, lines), _chosen(new, lines))
    return [ChangedChoice(*change.key, change.before, change.after) for change in sorted(found, key=lambda c: c.key)]


def _chosen(evaluation: Evaluation, lines: Mapping[int, str]) -> dict[tuple[str, str], tuple[int, str]]:
    """By sample and element, position and line of the result of an evaluation that was selected last; one query."""
    rows = Selection.objects.filter(result__evaluation=evaluation).order_by("pk")
    names = ("sample__number", "element", "result__position__number", "result__line")
    return {(sample, element): (number, lines[line]) for sample, element, number, line in rows.values_list(*names)}


def _results(
    evaluation: Evaluation, number_of: Mapping[int, int], lines: Mapping[int, str]
) -> dict[tuple[int, str], ResultState]:
    """Results by position and line; one query."""
    names = ("position_id", "line_id", "value", "unit", "u", "marks", "why_no_value")
    rows: Sequence[Any] = Result.objects.filter(evaluation=evaluation).order_by("position_id").values_list(*names)
    return {
        (number_of[position], lines[line]): ResultState(value, unit, u, tuple(marks), why)
        for position, line, value, unit, u, marks, why in rows
    }
