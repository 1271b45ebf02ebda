"""A run is evaluated as often as needed; each evaluation is a version beside the older ones. Nothing is overwritten."""

import platform
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from math import isfinite

import numpy as np

import labresults
from labresults import bulk
from labresults.acts import BadInput, Done, WrongState, act, require_task
from labresults.calculation.errors import CalculationError
from labresults.calculation.evaluation import evaluate
from labresults.calculation.run import Evaluation as Evaluated
from labresults.calculation.selection import Candidate, choose
from labresults.chain import digest_rows
from labresults.models import (
    Acceptance,
    Calibration,
    ControlOutcome,
    DiscardedPortion,
    Evaluation,
    Person,
    Result,
    Run,
    Selection,
)
from labresults.queries.results import as_candidates, candidates_of, newest_selections
from labresults.queries.run_portions import Seen, seen_by
from labresults.queries.run_tables import LeftOut, LoadedRun, load
from labresults.readers.layout import Applied
from labresults.terms import BlankRule, Role, Task, Verdict


@dataclass(frozen=True)
class Computed:
    """What is computed before the lock."""

    loaded: LoadedRun
    evaluated: Evaluated


def compute(
    *,
    run: Run,
    left_out: LeftOut = (),
    seen: Seen | None = None,
    **_: object,
) -> Computed:
    """Evaluate a run from what is stored, without storing anything.

    Raises WrongState as `_refuse_twice` does, BadInput when the run cannot be calculated, such as a standard in a unit
    that the method cannot use.
    """
    loaded = load(run, left_out=left_out, seen=seen)
    _refuse_twice(loaded)
    try:
        return Computed(loaded, evaluate(loaded.table, loaded.method))
    except CalculationError as error:
        raise BadInput(f"{run} cannot be calculated: {error}") from error


def compute_again(evaluation: Evaluation) -> Computed:
    """Evaluate as an old evaluation did, from what it could see."""
    return compute(
        run=evaluation.run,
        left_out=[(number, line) for number, line in evaluation.left_out],
        seen=seen_by(evaluation),
    )


@act("evaluate_run", prepare=compute)
def evaluate_run(
    *,
    by: Person,
    at: datetime,
    reason: str,
    run: Run,
    left_out: LeftOut = (),
    prepared: Computed,
) -> Done[Evaluation]:
    """Evaluate a run: curves, judged control samples, results, and the selection of those that stand.

    left_out: (position number, line) of calibration points not to use. A second evaluation, and a point left out, need
    a reason. Raises WrongState while lines are unread, or when a weighing came in between.
    """
    version = run.method_version
    require_task(by, Task.MEASURE, version.method, at.date())
    unread = [key for key in prepared.loaded.line_ids if key not in _read_lines(run)]
    if unread:
        raise WrongState(f"No readings yet of {', '.join(unread)}. Load the file first.")
    before = run.evaluations.order_by("-version").first()
    if (before or left_out) and not reason:
        raise BadInput("Evaluating again, or leaving a point out, needs a reason that goes on record.")
    now = load(run, left_out=left_out)
    if now.known.seen != prepared.loaded.known.seen:
        raise WrongState("A weighing, a drying or a request came in the meantime. Evaluate again.")
    evaluation = Evaluation.objects.create(
        run=run,
        version=before.version + 1 if before else 1,
        inputs_sha256=inputs_digest(prepared.loaded),
        outputs_sha256=outputs_digest(prepared.evaluated),
        software=labresults.__version__,
        platform=this_platform(),
        **asdict(prepared.loaded.known.seen),
        left_out=[[number, line] for number, line in sorted(left_out)],
        reason=reason,
        made_by=by,
        made_at=at,
    )
    _store_curves(evaluation, prepared)
    _store_outcomes(evaluation, prepared)
    _store_results(evaluation, prepared)
    selected = _select(evaluation, by, at)
    return Done(
        evaluation,
        subject=("run", run.number),
        before={"version": before.version, "outputs": before.outputs_sha256} if before else None,
        after={
            "version": evaluation.version,
            "left out": evaluation.left_out,
            "inputs": evaluation.inputs_sha256,
            "outputs": evaluation.outputs_sha256,
            "results": len(prepared.evaluated.results),
            "failed controls": sum(o.verdict == Verdict.OUTSIDE for o in prepared.evaluated.outcomes),
            "selected": selected,
        },
    )


@act("accept_control")
def accept_control(
    *, by: Person, at: datetime, reason: str, outcomes: Sequence[ControlOutcome]
) -> Done[list[Acceptance]]:
    """Accept failed control samples by name, so that what they touch may stand. Raises BadInput without reason."""
    if not reason:
        raise BadInput("Say why the results may stand although the control sample failed.")
    wrong = [o for o in outcomes if o.verdict != Verdict.OUTSIDE or hasattr(o, "acceptance")]
    if wrong or not outcomes:
        raise WrongState("There is nothing to accept: it did not fail, or was accepted before.")
    rows = [Acceptance.objects.create(outcome=o, reason=reason, made_by=by, made_at=at) for o in outcomes]
    return Done(
        rows,
        subject=("run", outcomes[0].evaluation.run.number),
        after={"accepted": [[o.position.number, str(o.line), o.why] for o in outcomes]},
    )


@act("select_result")
def select_result(*, by: Person, at: datetime, reason: str, result: Result) -> Done[Selection]:
    """Select another result of a sample than the rule did; for those authorised to measure by its method.

    Raises BadInput without reason, or for a control sample's result."""
    if not reason:
        raise BadInput("Say why this result and not the one that the rule chose.")
    if not result.is_candidate or result.sample is None:
        raise BadInput("This is a control sample's result: it cannot stand for a sample.")
    method = result.evaluation.run.method_version.method
    require_task(by, Task.MEASURE, method, at.date())
    before = newest_selections(sample_ids=[result.sample_id], method_id=method.pk).get(
        (result.sample_id, method.pk, result.element_id)
    )
    row = Selection.objects.create(
        sample=result.sample,
        method=method,
        element_id=result.element_id,
        result=result,
        rule="selected by name",
        reason=reason,
        made_by=by,
        made_at=at,
    )
    return Done(
        row,
        subject=("sample", result.sample.number),
        before={"result": before.result_id} if before else None,
        after={"element": result.element_id, "method": method.code, "result": result.pk},
    )


def _refuse_twice(loaded: LoadedRun) -> None:
    """Nothing that the instrument's file has applied already is applied a second time."""
    diluted = any(p.dilution != 1 or (p.portion and p.portion.dilution != 1) for p in loaded.table.positions)
    twice = {
        Applied.DILUTION: diluted,
        Applied.PORTION: True,
        Applied.BLANK: loaded.method.blank_rule == BlankRule.SUBTRACT,
        Applied.INTERNAL_STANDARD: loaded.method.internal_standard is not None,
    }
    found = sorted(step.value for step in loaded.applied if twice.get(step, False))
    if found:
        raise WrongState(
            f"The layout says that {' and '.join(found)} is in the readings already; the method would apply it again. "
            "Correct the layout, or write the file without it."
        )


def inputs_digest(loaded: LoadedRun) -> str:
    """SHA-256 [hex] of everything that the evaluation was given."""
    table = loaded.table
    arrays = [array.tolist() for array in (table.signal, table.spread, table.count, table.saturated)]
    return digest_rows([[repr(loaded.method)], [repr(table.positions), table.line_keys], arrays])


def outputs_digest(evaluated: Evaluated) -> str:
    """SHA-256 [hex] of everything that the evaluation gave, to the last bit."""
    arrays = [evaluated.concentration.tolist(), evaluated.u_concentration.tolist()]
    return digest_rows([arrays, evaluated.curves, evaluated.outcomes, evaluated.proposals, evaluated.results])


def this_platform() -> str:
    """Where numbers are the same bit for bit: processor, interpreter and numpy."""
    return f"{platform.system()} {platform.machine()}, Python {platform.python_version()}, numpy {np.__version__}"


def _read_lines(run: Run) -> set[str]:
    symbols = run.readings.values_list("line__element_id", "line__label").distinct()
    return {f"{element} {label}" for element, label in symbols}


def _number(value: float | None) -> float | None:
    """A database has no NaN on SQLite: what is not a number is nothing."""
    return float(value) if value is not None and isfinite(value) else None


def _store_curves(evaluation: Evaluation, computed: Computed) -> None:
    names = (
        "evaluation block line curve weighting b0 b1 b2 se_b0 se_b1 se_b2 residual_sd r count low high points problem"
    )
    rows = []
    for curve in computed.evaluated.curves:
        points = [
            [p.position, *map(_number, (p.x, p.y, p.weight, p.read_back, p.residual_percent)), p.used]
            for p in curve.points
        ]
        rows.append(
            (
                evaluation.pk,
                curve.block,
                computed.loaded.line_ids[curve.line],
                str(curve.curve),
                str(curve.weighting),
                *map(_number, curve.coefficients),
                *map(_number, curve.standard_errors),
                _number(curve.residual_sd),
                _number(curve.r),
                curve.n,
                _number(curve.low),
                _number(curve.high),
                points,
                curve.problem or "",
            )
        )
    bulk.insert(Calibration, names.split(), rows)


def _store_outcomes(evaluation: Evaluation, computed: Computed) -> None:
    names = "evaluation position line criterion measure observed expected verdict reach why touches"
    loaded = computed.loaded
    bulk.insert(
        ControlOutcome,
        names.split(),
        [
            (
                evaluation.pk,
                loaded.positions[o.position].pk,
                loaded.line_ids[o.line],
                loaded.criterion_ids[o.criterion],
                str(o.measure),
                _number(o.observed),
                _number(o.expected),
                str(o.verdict),
                str(o.reach),
                o.why,
                list(o.touches),
            )
            for o in computed.evaluated.outcomes
        ],
    )


def _store_results(evaluation: Evaluation, computed: Computed) -> None:
    names = (
        "evaluation position line element sample is_candidate rank reported_as unit basis value detection_limit"
        " quantification_limit reporting_limit upper_limit u expanded_u coverage_factor solution marks why_no_value"
    )
    loaded = computed.loaded
    ranks = {line.key: line.rank for line in loaded.method.lines}
    # What was lost after the run was planned may have been read, but never stands for its sample.
    lost = DiscardedPortion.objects.filter(portion__positions__run=evaluation.run_id)
    discarded = set(lost.values_list("portion_id", flat=True))
    bulk.insert(
        Result,
        names.split(),
        [
            (
                evaluation.pk,
                loaded.positions[r.position].pk,
                loaded.line_ids[r.line],
                r.element,
                loaded.sample_ids[r.position],
                loaded.positions[r.position].role == Role.SAMPLE
                and loaded.positions[r.position].portion_id not in discarded,
                ranks[r.line],
                r.reported_as,
                r.unit,
                str(r.basis),
                _number(r.value),
                _number(r.detection_limit),
                _number(r.quantification_limit),
                _number(r.reporting_limit),
                _number(r.upper_limit),
                _number(r.u),
                _number(r.expanded_u),
                r.coverage_factor,
                _number(r.solution),
                [str(mark) for mark in r.marks],
                r.why_no_value or "",
            )
            for r in computed.evaluated.results
        ],
    )


def _select(evaluation: Evaluation, by: Person, at: datetime) -> int:
    """Let the rule choose for each sample and element of this evaluation; write a row where its choice is new."""
    run = evaluation.run
    method = run.method_version.method
    candidates = candidates_of(evaluation)
    selections = newest_selections(sample_ids={c.sample for c in candidates}, method_id=method.pk)
    # What an older evaluation of this run gave is replaced by what this one gives.
    others = [s.result for s in selections.values() if s.result.evaluation.run_id != run.pk]
    standing = {(c.sample, c.element): c for c in as_candidates(others)}
    rows = []
    for (sample, element), group in _by_cell(candidates).items():
        chosen = choose(group, standing=standing.get((sample, element)))
        if chosen is not None:
            rows.append((sample, method.pk, element, chosen.key, run.method_version.selection_rule, "", by.pk, at))
    bulk.insert(Selection, ["sample", "method", "element", "result", "rule", "reason", "made_by", "made_at"], rows)
    return len(rows)


def _by_cell(candidates: Iterable[Candidate]) -> dict[tuple[int, str], list[Candidate]]:
    cells: dict[tuple[int, str], list[Candidate]] = {}
    for candidate in candidates:
        cells.setdefault((candidate.sample, candidate.element), []).append(candidate)
    return cells
