"""Results in the reporting unit, each with its own limits and uncertainty; dilutions for what is over range."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from labresults.calculation.errors import CalculationError
from labresults.calculation.preparation import basis_of, chain_factor
from labresults.calculation.quality_control import figures
from labresults.calculation.run import (
    ControlOutcome,
    Determination,
    LineSpecification,
    Portion,
    Position,
    Proposal,
    Result,
)
from labresults.calculation.solutions import Solutions
from labresults.calculation.uncertainty import u_of_concentration
from labresults.terms import Mark, Role, Verdict

REPORTED = frozenset({Role.SAMPLE, Role.DUPLICATE, Role.SPIKE, Role.REFERENCE_MATERIAL, Role.METHOD_BLANK})
"""Roles that get results, as far as their portion is known."""

DILUTED_AGAIN = frozenset({Role.SAMPLE, Role.DUPLICATE, Role.SPIKE, Role.REFERENCE_MATERIAL})
"""Roles for which a dilution is proposed when they are over range."""

SHARE_OF_RANGE = 0.8
"""A proposed dilution brings the reading under this share of the working range (common practice, no source)."""


@dataclass(frozen=True)
class Found:
    """What a result is made of: the concentration or why there is none, and the factor of the chain or why not."""

    solution: float | None
    factor: float
    why: str | None
    over_range: bool


def report_results(solutions: Solutions, outcomes: Sequence[ControlOutcome]) -> tuple[Result, ...]:
    """Return a result for each reported position and line of a determined element, in the order of the run.

    A method blank whose portion has no mass or volume has no content and no result. Everywhere else a result that
    cannot be had says why; its limits are NaN where its chain cannot be followed.
    """
    determinations = {determination.element: determination for determination in solutions.method.determinations}
    failed = {
        (number, outcome.line)
        for outcome in outcomes
        if outcome.verdict is Verdict.OUTSIDE
        for number in outcome.touches
    }
    results = []
    for row, position in enumerate(solutions.run.positions):
        if position.role not in REPORTED or position.portion is None:
            continue
        for column, line in sorted(solutions.lines.items()):
            determination = determinations.get(line.element)
            if determination is None:
                continue
            found = _find(solutions, row, column, position.portion, determination)
            if position.role is Role.METHOD_BLANK and found.factor != found.factor:
                continue
            marked = (position.number, line.key) in failed
            results.append(_result(solutions, position, position.portion, line, determination, found, marked))
    return tuple(results)


def _find(solutions: Solutions, row: int, column: int, portion: Portion, determination: Determination) -> Found:
    position, line, method = solutions.run.positions[row], solutions.lines[column], solutions.method
    factor, why_no_factor = float("nan"), None
    try:
        factor = chain_factor(portion, determination, solution_unit=method.solution_unit, dilution=position.dilution)
    except CalculationError as error:
        why_no_factor = str(error)
    why = portion.refused.get(line.element) or solutions.why_no_concentration(row, column)
    over_range = solutions.is_over_range(row, column)
    if why is None and over_range:
        read, printed = float(solutions.read[row, column]), method.solution_unit
        shown = figures(read, line.range_top)
        why = f"{line.key} reads {shown} {printed}, above the working range of {line.range_top:g} {printed}. Dilute."
    solution = None if why is not None else float(solutions.concentration[row, column])
    return Found(solution, factor, why or why_no_factor, over_range)


def _result(
    solutions: Solutions,
    position: Position,
    portion: Portion,
    line: LineSpecification,
    determination: Determination,
    found: Found,
    control_failed: bool,
) -> Result:
    value = None if found.solution is None or found.why is not None else found.solution * found.factor
    u = None
    if found.solution is not None and value is not None:
        u = u_of_concentration(found.solution, line.u_floor, line.u_relative) * found.factor
    coverage_factor = solutions.method.coverage_factor
    detection_limit = line.detection_limit * found.factor
    quantification_limit = line.quantification_limit * found.factor
    return Result(
        position=position.number,
        line=line.key,
        element=line.element,
        reported_as=determination.reported_as,
        unit=determination.unit,
        basis=basis_of(portion, determination),
        value=value,
        detection_limit=detection_limit,
        quantification_limit=quantification_limit,
        reporting_limit=determination.reporting_limit,
        upper_limit=line.range_top * found.factor,
        u=u,
        expanded_u=None if u is None else coverage_factor * u,
        coverage_factor=coverage_factor,
        solution=found.solution,
        marks=_marks(value, detection_limit, quantification_limit, found.over_range, control_failed),
        why_no_value=found.why,
    )


def _marks(
    value: float | None, detection_limit: float, quantification_limit: float, over_range: bool, control_failed: bool
) -> tuple[Mark, ...]:
    """Return the marks of a result, decided on unrounded numbers."""
    marks = []
    if over_range:
        marks.append(Mark.OVER_RANGE)
    elif value is None:
        marks.append(Mark.NO_VALUE)
    elif value < detection_limit:
        marks.append(Mark.BELOW_DETECTION)
    elif value < quantification_limit:
        marks.append(Mark.BELOW_QUANTIFICATION)
    if control_failed:
        marks.append(Mark.CONTROL_FAILED)
    return tuple(marks)


def propose_dilutions(solutions: Solutions) -> tuple[Proposal, ...]:
    """Return a dilution for every over-range reading of a sample, in the order of the run.

    The smallest of the method's own steps that brings the reading under four fifths of the range. It counts from the
    solution as it stands after the portion's own dilution, in place of what was made at the instrument.
    A saturated reading has no number to start from: no factor. Nor is there one where no step is large enough.
    """
    return tuple(
        _proposal(solutions, row, column)
        for row, position in enumerate(solutions.run.positions)
        if position.role in DILUTED_AGAIN
        for column in sorted(solutions.lines)
        if solutions.is_over_range(row, column)
    )


def _proposal(solutions: Solutions, row: int, column: int) -> Proposal:
    position, line = solutions.run.positions[row], solutions.lines[column]
    if solutions.run.saturated[row, column]:
        return Proposal(position.number, line.key, None, line.range_top, None, None)
    read = float(solutions.read[row, column])
    undiluted = read * position.dilution
    factor = smallest_step(undiluted, line.range_top, solutions.method.dilution_steps)
    return Proposal(
        position.number, line.key, read, line.range_top, factor, None if factor is None else undiluted / factor
    )


def smallest_step(undiluted: float, range_top: float, steps: Sequence[float]) -> float | None:
    """Return the smallest factor that brings a concentration under four fifths of the range; None where none does."""
    return min((step for step in steps if step > 0 and undiluted / step < SHARE_OF_RANGE * range_top), default=None)


def by_place(results: Sequence[Result]) -> Mapping[tuple[int, str], Result]:
    """Return the results by position number and line."""
    return {(result.position, result.line): result for result in results}
