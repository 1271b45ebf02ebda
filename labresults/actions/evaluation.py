"""A run is evaluated as often as needed; each evaluation is a version beside the older ones. Nothing is overwritten."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import labresults
from labresults import bulk
from labresults.actions.storing import store
from labresults.acts import BadInput, Done, WrongState, act, require_task
from labresults.calculation.errors import CalculationError
from labresults.calculation.evaluation import evaluate
from labresults.calculation.run import RULES
from labresults.calculation.run import Evaluation as Evaluated
from labresults.calculation.selection import choose_each
from labresults.models import (
    Acceptance,
    ControlOutcome,
    Evaluation,
    LetStand,
    Person,
    Position,
    Result,
    Run,
    Selection,
)
from labresults.queries.repeats import as_rows
from labresults.queries.results import as_candidates, candidates_of, newest_decisions, newest_selections
from labresults.queries.run_digests import inputs_digest, outputs_digest, this_platform
from labresults.queries.run_portions import Seen, newest_keys, seen_by
from labresults.queries.run_tables import LeftOut, LoadedRun, load
from labresults.readers.layout import Applied
from labresults.terms import BlankRule, Decision, DriftRule, Task, Verdict


@dataclass(frozen=True)
class Computed:
    """What is computed before the lock."""

    loaded: LoadedRun
    evaluated: Evaluated
    newest: tuple[int, ...]  # keys of what it stands on, looked up before it was loaded


def compute(
    *,
    run: Run,
    left_out: LeftOut = (),
    seen: Seen | None = None,
    rules: int = RULES,
    **_: object,
) -> Computed:
    """Evaluate a run from what is stored, without storing anything.

    Raises WrongState as `_refuse_twice` does, BadInput when the run cannot be calculated, such as a standard in a unit
    that the method cannot use.
    """
    newest = newest_keys(run)
    loaded = load(run, left_out=left_out, seen=seen, rules=rules)
    _refuse_twice(loaded)
    try:
        return Computed(loaded, evaluate(loaded.table, loaded.method), newest)
    except CalculationError as error:
        raise BadInput(f"{run} cannot be calculated: {error}") from error


def compute_again(evaluation: Evaluation) -> Computed:
    """Evaluate as an old evaluation did, from what it could see and by the rules of its time."""
    return compute(
        run=evaluation.run,
        left_out=[(number, line) for number, line in evaluation.left_out],
        seen=seen_by(evaluation),
        rules=evaluation.rules,
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
    require_task(by, Task.MEASURE, run.method_version.method, at.date())
    _refuse_unread(run, prepared)
    before = run.evaluations.order_by("-version").first()
    if (before or left_out) and not reason:
        raise BadInput("Evaluating again, or leaving a point out, needs a reason that goes on record.")
    if newest_keys(run) != prepared.newest:
        raise WrongState("A file, a weighing, a drying or a request came in the meantime. Evaluate again.")
    number = before.version + 1 if before else 1
    made = {"reason": reason, "made_by": by, "made_at": at}
    evaluation = Evaluation.objects.create(run=run, version=number, **_columns(prepared, left_out), **made)
    store(evaluation, prepared.loaded, prepared.evaluated)
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


def _refuse_unread(run: Run, prepared: Computed) -> None:
    read = set(run.readings.order_by().values_list("line", flat=True).distinct())
    unread = [key for key, line in prepared.loaded.line_ids.items() if line not in read]
    if unread:
        raise WrongState(f"No readings yet of {', '.join(unread)}. Load the file first.")


def _columns(prepared: Computed, left_out: LeftOut) -> dict[str, Any]:
    """What an evaluation saw, by what rules, and what came of it, as its row holds it."""
    return {
        "inputs_sha256": inputs_digest(prepared.loaded),
        "outputs_sha256": outputs_digest(prepared.evaluated),
        "software": labresults.__version__,
        "platform": this_platform(),
        **prepared.loaded.known.seen.keys(),
        "left_out": [[number, line] for number, line in sorted(left_out)],
        "rules": RULES,
        "counted": {str(measure): count for measure, count in sorted(prepared.evaluated.counted.items())},
        "repeats": as_rows(prepared.evaluated.repeats),
    }


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

    Raises BadInput without reason, or for a control sample's result; WrongState for one that was refused or sent back:
    it would stand and wait for nobody."""
    if not reason:
        raise BadInput("Say why this result and not the one that the rule chose.")
    if not result.is_candidate or result.sample is None:
        raise BadInput("This is a control sample's result: it cannot stand for a sample.")
    method = result.evaluation.run.method_version.method
    require_task(by, Task.MEASURE, method, at.date())
    _refuse_turned_down(result)
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


def _refuse_turned_down(result: Result) -> None:
    decided = newest_decisions([result.pk]).get(result.pk)
    if decided is not None and decided.review.decision != Decision.APPROVE:
        review = decided.review
        raise WrongState(
            f"{result.element_id} in {result.sample}: this measurement was {review.decision} by {review.made_by}:"
            f" {review.reason.rstrip('.')}. Measure again, or evaluate the run again, and choose what that gives."
        )


@act("let_stand")
def let_stand(
    *, by: Person, at: datetime, reason: str, places: Sequence[tuple[Position, str | None]]
) -> Done[list[LetStand]]:
    """Do not measure again what the newest evaluation of a run proposed, by name and with the reason.

    places: positions of one run, each with a line as it is proposed, or None where the whole position is.
    Raises BadInput without a reason, or for positions of several runs; WrongState where nothing is proposed, or it was
    let stand before.
    """
    if not reason:
        raise BadInput("Say why it need not be measured again.")
    if len({position.run_id for position, _ in places}) != 1:
        raise BadInput("Choose what is to stand, of one run.")
    run = places[0][0].run
    require_task(by, Task.MEASURE, run.method_version.method, at.date())
    lines = {str(row.line): row.line_id for row in run.method_version.lines.select_related("line")}
    _refuse_not_proposed(run, places, lines)
    rows = [
        LetStand.objects.create(
            position=position, line_id=lines[line] if line else None, reason=reason, made_by=by, made_at=at
        )
        for position, line in places
    ]
    return Done(rows, subject=("run", run.number), after={"let stand": [[p.number, line] for p, line in places]})


def _refuse_not_proposed(run: Run, places: Sequence[tuple[Position, str | None]], lines: Mapping[str, int]) -> None:
    newest = run.evaluations.order_by("-version").first()
    proposed = {(number, line) for number, line, *_ in newest.repeats} if newest else set()
    before = set(LetStand.objects.filter(position__run=run).values_list("position", "line"))
    for position, line in places:
        where = f"position {position.number}" + (f" at {line}" if line else "")
        if (position.number, line) not in proposed:
            raise WrongState(f"Nothing is proposed to be measured again for {where} by the newest evaluation.")
        if (position.pk, lines[line] if line else None) in before:
            raise WrongState(f"It was let stand before for {where}.")


def _refuse_twice(loaded: LoadedRun) -> None:
    """Nothing that the instrument's file has applied already is applied a second time."""
    diluted = any(p.dilution != 1 or (p.portion and p.portion.dilution != 1) for p in loaded.table.positions)
    twice = {
        Applied.DILUTION: diluted,
        Applied.PORTION: True,
        Applied.BLANK: loaded.method.blank_rule == BlankRule.SUBTRACT,
        Applied.INTERNAL_STANDARD: loaded.method.internal_standard is not None,
        Applied.DRIFT: loaded.method.drift_rule != DriftRule.NONE,
    }
    found = sorted(step.value for step in loaded.applied if twice.get(step, False))
    if found:
        raise WrongState(
            f"The layout says that {' and '.join(found)} is in the readings already; the method would apply it again. "
            "Correct the layout, or write the file without it."
        )


def _select(evaluation: Evaluation, by: Person, at: datetime) -> int:
    """Let the rule choose for each sample and element of this evaluation; write a row where its choice is new."""
    run = evaluation.run
    method = run.method_version.method
    candidates = candidates_of(evaluation)
    # What an older evaluation of this run gave is replaced by what this one gives.
    others = newest_selections(sample_ids=set(candidates.samples.tolist()), method_id=method.pk, but_of_run=run.pk)
    standing = {(c.sample, c.element): c for c in as_candidates([s.result for s in others.values()])}
    chosen = choose_each(candidates, standing)
    count = len(chosen)
    return bulk.insert_columns(
        Selection,
        {
            "sample": candidates.samples[chosen].tolist(),
            "method": [method.pk] * count,
            "element": candidates.elements[chosen].tolist(),
            "result": candidates.keys[chosen].tolist(),
            "rule": [run.method_version.selection_rule] * count,
            "reason": [""] * count,
            "made_by": [by.pk] * count,
            "made_at": [at] * count,
        },
    )
