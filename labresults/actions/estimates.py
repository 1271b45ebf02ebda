"""What the laboratory's own runs say of a method: limits by named procedures, and what elements pretend at lines."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from math import isfinite
from typing import Any

from labresults.acts import BadInput, Done, WrongState, act
from labresults.calculation.errors import CalculationError
from labresults.calculation.interference import Apparent, apparent_from
from labresults.calculation.limit_estimates import (
    Estimated,
    from_blanks,
    from_calibration,
    from_reagent_blanks,
    from_spiked_and_blanks,
)
from labresults.calculation.solutions import find_solutions
from labresults.models import (
    Calibration,
    Evaluation,
    InterferenceEstimate,
    LimitEstimate,
    Line,
    MethodVersion,
    Person,
)
from labresults.queries.estimates import BLANKS, LOW, FoundValue, found_values, points_above_zero
from labresults.queries.run_portions import seen_by
from labresults.queries.run_tables import load
from labresults.terms import BlankRule, LimitProcedure, LimitQuantity, Role

Inputs = Sequence[Sequence[Any]]


@act("estimate_limit")
def estimate_limit(
    *,
    by: Person,
    at: datetime,
    reason: str,
    version: MethodVersion,
    line: Line,
    procedure: LimitProcedure,
    blanks: Sequence[int] = (),
    spiked: Sequence[int] = (),
    calibration: Calibration | None = None,
    by_hand: Mapping[LimitQuantity, float] | None = None,
) -> Done[list[LimitEstimate]]:
    """Estimate limits of a line by a named procedure; a row for each of the quantities that it gives.

    blanks, spiked: keys of positions whose concentrations it stands on; calibration: for DIN 32645; by_hand: values in
    the solution unit, with a reason. Nothing of the method changes by it: `revise_method_version` takes limits up.
    Raises BadInput where the line is not the version's, a value is not there, or the procedure gives nothing.
    """
    if not version.lines.filter(line=line).exists():
        raise BadInput(f"{version} does not measure at {line}.")
    try:
        inputs, found = _found(version, line, procedure, blanks, spiked, calibration, by_hand or {}, reason)
    except CalculationError as error:
        raise BadInput(f"{line}, {procedure}: {error}") from error
    rows = [
        LimitEstimate.objects.create(
            method_version=version,
            line=line,
            procedure=procedure,
            quantity=each.quantity,
            value=each.value,
            unit=version.solution_unit,
            count=len(inputs),
            inputs=[list(one) for one in inputs],
            words=each.words,
            reason=reason,
            made_by=by,
            made_at=at,
        )
        for each in found
    ]
    return Done(
        rows,
        subject=("method", str(version)),
        after={
            "line": str(line),
            "procedure": str(procedure),
            "limits": [[row.quantity, row.value, row.unit] for row in rows],
            "from": [list(one) for one in inputs],
        },
    )


def _apparent(*, evaluation: Evaluation, **_: object) -> list[tuple[int, str, Apparent]]:
    """What single-element solutions of a run show: position key, line key and coefficient; computed before the lock.

    Raises BadInput where no position of the run is such a solution.
    """
    loaded = load(
        evaluation.run,
        left_out=[(number, line) for number, line in evaluation.left_out],
        seen=seen_by(evaluation),
        rules=evaluation.rules,
    )
    solutions = find_solutions(loaded.table, loaded.method)
    found, reasons = [], []
    for row, position in enumerate(loaded.table.positions):
        if position.role is not Role.INTERFERENCE_CHECK:
            continue
        try:
            shown = apparent_from(solutions, row)
        except CalculationError as error:
            reasons.append(str(error))
            continue
        found += [(loaded.positions[position.number].pk, each.line, each) for each in shown.values()]
    if not found:
        raise BadInput(
            " ".join(reasons) or f"{evaluation.run} has no interference check. Plan one with a single-element solution."
        )
    return found


@act("determine_interferences", prepare=_apparent)
def determine_interferences(
    *,
    by: Person,
    at: datetime,
    reason: str,
    evaluation: Evaluation,
    prepared: Sequence[tuple[int, str, Apparent]],
) -> Done[list[InterferenceEstimate]]:
    """Determine what elements pretend at the lines of others from the single-element solutions of an evaluated run.

    Nothing of the method changes by it: `revise_method_version` takes coefficients up. Raises BadInput where the run
    has no such solution, WrongState when this evaluation has its coefficients already.
    """
    if evaluation.interference_estimates.exists():
        raise WrongState(f"{evaluation.run}, evaluation {evaluation.version}, has its coefficients already.")
    lines = {str(row.line): row.line_id for row in evaluation.run.method_version.lines.select_related("line")}
    rows = [
        InterferenceEstimate.objects.create(
            evaluation=evaluation,
            position_id=position,
            line_id=lines[key],
            element_id=shown.element,
            apparent=shown.coefficient,
            u=shown.u if isfinite(shown.u) else None,
            made_by=by,
            made_at=at,
        )
        for position, key, shown in prepared
    ]
    return Done(
        rows,
        subject=("run", evaluation.run.number),
        after={
            "evaluation": evaluation.version,
            "apparent, per unit of the element": [[s.element, key, s.coefficient] for _, key, s in prepared],
        },
    )


def _found(
    version: MethodVersion,
    line: Line,
    procedure: LimitProcedure,
    blanks: Sequence[int],
    spiked: Sequence[int],
    calibration: Calibration | None,
    by_hand: Mapping[LimitQuantity, float],
    reason: str,
) -> tuple[Inputs, Sequence[Estimated]]:
    """What the limits stand on, and the limits. Raises CalculationError as the procedures do."""
    unit = version.solution_unit
    if procedure is LimitProcedure.BY_HAND:
        return [], _by_hand(by_hand, reason)
    if procedure is LimitProcedure.CALIBRATION:
        if calibration is None:
            raise BadInput("Choose the curve whose line gives the limits.")
        x, y = points_above_zero(calibration)
        run = calibration.evaluation.run.number
        return [[run, a, b] for a, b in zip(x, y, strict=True)], from_calibration(x, y, unit)
    of_blanks = _chosen(found_values(version, line.pk, BLANKS), blanks)
    if procedure is LimitProcedure.BLANKS:
        return _said(of_blanks), _from_blanks(version, [each.found for each in of_blanks])
    if procedure is LimitProcedure.REAGENT_BLANKS:
        return _said(of_blanks), from_reagent_blanks([each.found for each in of_blanks], unit)
    of_spiked = _chosen(found_values(version, line.pk, LOW), spiked)
    values = from_spiked_and_blanks([e.found for e in of_spiked], [e.found for e in of_blanks], unit)
    return _said([*of_spiked, *of_blanks]), values


def _from_blanks(version: MethodVersion, blanks: Sequence[float]) -> Sequence[Estimated]:
    """A method that subtracts its method blank takes that of one batch: usually one (common practice, no source)."""
    subtracted = 1 if version.blank_rule == BlankRule.SUBTRACT else 0
    return from_blanks(blanks, version.solution_unit, blanks_subtracted=subtracted)


def _by_hand(values: Mapping[LimitQuantity, float], reason: str) -> list[Estimated]:
    if not reason:
        raise BadInput("A limit that is set by hand needs a reason.")
    if not values or not all(value > 0 for value in values.values()):
        raise BadInput("Give at least one limit, above zero, in the solution unit.")
    return [Estimated(quantity, value, f"Set by hand: {reason}") for quantity, value in sorted(values.items())]


def _chosen(offered: Sequence[FoundValue], keys: Sequence[int]) -> list[FoundValue]:
    by_key = {each.key: each for each in offered}
    lacking = [key for key in keys if key not in by_key]
    if lacking:
        raise BadInput(f"{len(lacking)} of the chosen values are not in an evaluated run any more. Open the page anew.")
    return [by_key[key] for key in keys]


def _said(values: Sequence[FoundValue]) -> list[list[Any]]:
    return [[each.run, each.number, each.found] for each in values]
