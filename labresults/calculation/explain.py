"""One result's calculation written out with its numbers: seven figures are shown, none is rounded in between."""

import math

from labresults.calculation.errors import NotInRun
from labresults.calculation.preparation import Link, chain, running_factors
from labresults.calculation.results import by_place
from labresults.calculation.run import (
    Evaluation,
    FittedCurve,
    LineSpecification,
    MethodSpecification,
    Result,
    RunTable,
    Step,
)
from labresults.calculation.solutions import Solutions, blank_at, find_solutions
from labresults.calculation.units import unit


def explain(
    run: RunTable, method: MethodSpecification, evaluation: Evaluation, position: int, line: str
) -> tuple[Step, ...]:
    """Return the calculation of the result at a position number and a line, step by step.

    Reading, ratio to the internal standard, through the curve, corrections, dilution, volume, portion, basis, compound,
    unit, expanded uncertainty, result. The last value is the result's own, to the last bit. A calculation that ends
    early (over range, no curve) is written out as far as it goes; a position without a result, to its concentration.
    Raises NotInRun when the run has no such position, or the method does not calibrate that line.
    """
    solutions = find_solutions(run, method)
    rows = [row for row, at in enumerate(run.positions) if at.number == position]
    columns = [column for column, at in solutions.lines.items() if at.key == line]
    if not rows or not columns:
        raise NotInRun(f"The run has no position {position}, or the method does not calibrate {line}. Open it anew.")
    row, column = rows[0], columns[0]
    steps = _solution_steps(solutions, row, column)
    result = by_place(evaluation.results).get((position, line))
    if result is not None and result.value is not None and result.solution is not None:
        steps += _chain_steps(solutions, row, result, result.solution)
        steps += _last_steps(solutions.lines[column], method, result, result.value)
    return tuple(steps)


def _seven(value: float) -> str:
    return f"{value:.7g}"


def _less(value: float, taken: float) -> str:
    return f"{_seven(value)} − {_seven(taken)}" if taken >= 0 else f"{_seven(value)} + {_seven(-taken)}"


def _solution_steps(solutions: Solutions, row: int, column: int) -> list[Step]:
    run, method = solutions.run, solutions.method
    raw = float(run.signal[row, column])
    if not math.isfinite(raw) or run.saturated[row, column]:
        return []
    signal_unit = method.solution_unit if method.instrument_calibrates else method.signal_unit
    steps = [Step("The reading", _replicates(run, row, column), _seven(raw), None, raw, signal_unit)]
    if method.instrument_calibrates:
        note = "calibrated by the instrument, not recomputed"
        steps.append(Step("Through the curve", note, _seven(raw), None, raw, method.solution_unit))
    else:
        steps += _curve_steps(solutions, row, column, raw)
    if solutions.why_no_concentration(row, column) is None and not solutions.is_over_range(row, column):
        steps += _correction_steps(solutions, row, column)
    return steps


def _replicates(run: RunTable, row: int, column: int) -> str:
    count, spread = int(run.count[row, column]), float(run.spread[row, column])
    if count < 2 or not math.isfinite(spread):
        return "one reading"
    return f"mean of {count} replicates, standard deviation {spread:.4g}"


def _curve_steps(solutions: Solutions, row: int, column: int, raw: float) -> list[Step]:
    run, method, y = solutions.run, solutions.method, float(solutions.signal[row, column])
    steps = []
    if method.internal_standard is not None and math.isfinite(y):
        standard = float(run.signal[row, run.line_keys.index(method.internal_standard)])
        note = f"divided by the reading of {method.internal_standard} at this position"
        steps.append(Step("Ratio to the internal standard", note, _seven(raw), _seven(standard), y, "1"))
    read = float(solutions.read[row, column])
    curve = solutions.curves.get((run.positions[row].block, column))
    if curve is not None and curve.problem is None and math.isfinite(read):
        steps.append(_curve_step(curve, y, read, method.solution_unit))
    return steps


def _curve_step(curve: FittedCurve, y: float, read: float, solution_unit: str) -> Step:
    b0, b1, b2 = curve.coefficients
    note = f"{curve.curve.value}, {curve.weighting.value}, {curve.n} points, block {curve.block}"
    if b2 == 0:
        return Step("Through the curve", note, _less(y, b0), _seven(b1), read, solution_unit)
    note += f"; signal = {_seven(b0)} + {_seven(b1)} c + {_seven(b2)} c²"
    root = f"√({_seven(b1)}² + 4 × {_seven(b2)} × ({_less(y, b0)}))"
    sign = "−" if b1 + 2.0 * b2 * read < 0 else "+"
    if (b1 < 0) == (sign == "−"):
        numerator, denominator = f"2 × ({_less(y, b0)})", f"{_seven(b1)} {sign} {root}"
    else:
        numerator, denominator = f"{'−' if sign == '−' else ''}{root} − {_seven(b1)}", f"2 × {_seven(b2)}"
    return Step("Through the curve", note, numerator, denominator, read, solution_unit)


def _correction_steps(solutions: Solutions, row: int, column: int) -> list[Step]:
    solution_unit = solutions.method.solution_unit
    read, corrected = float(solutions.read[row, column]), float(solutions.corrected[row, column])
    final = float(solutions.concentration[row, column])
    blank = blank_at(solutions, row, column)
    steps = []
    others = solutions.interferences.of(column)
    if others:
        terms = [
            f" − {_seven(solutions.interferences.matrix[column, other])} × {_seven(solutions.corrected[row, other])}"
            for other in others
        ]
        names = ", ".join(solutions.lines[other].key for other in others)
        numerator = _seven(read) + "".join(terms)
        steps.append(Step("Less what others pretend", names, numerator, None, corrected, solution_unit))
    if blank is not None:
        note = "mean of the batch's method blanks, scaled to this volume and dilution"
        steps.append(Step("Less the method blank", note, _less(corrected, blank), None, final, solution_unit))
    if not steps:
        note = f"none: no interference is named at this line; the method blank is {solutions.method.blank_rule.value}"
        steps.append(Step("Corrections", note, _seven(read), None, final, solution_unit))
    return steps


def _chain_steps(solutions: Solutions, row: int, result: Result, solution: float) -> list[Step]:
    position, method = solutions.run.positions[row], solutions.method
    determinations = {each.element: each for each in method.determinations}
    if position.portion is None:
        return []
    links = chain(
        position.portion,
        determinations[result.element],
        solution_unit=method.solution_unit,
        dilution=position.dilution,
    )
    steps, before, unit_before = [], solution, unit(method.solution_unit).printed
    for link, factor in zip(links, running_factors(links), strict=True):
        value = solution * factor
        steps.append(_chain_step(link, before, unit_before, value))
        before, unit_before = value, link.unit
    return steps


def _chain_step(link: Link, before: float, unit_before: str, value: float) -> Step:
    numerator = f"{_seven(before)} {unit_before}"
    if link.multiplier_unit is not None:
        numerator += f" × {_with_unit(link.multiplier, link.multiplier_unit)}"
    denominator = None if link.divisor_unit is None else _with_unit(link.divisor, link.divisor_unit)
    return Step(link.what, link.note, numerator, denominator, value, link.unit)


def _with_unit(value: float, printed: str) -> str:
    return f"{_seven(value)} {printed}".strip()


def _last_steps(line: LineSpecification, method: MethodSpecification, result: Result, value: float) -> list[Step]:
    """Return the expanded uncertainty, and the result itself last."""
    printed = unit(result.unit).printed
    steps = []
    if result.expanded_u is not None and result.solution is not None:
        floor = line.u_floor * result.detection_limit / line.detection_limit
        note = (
            f"k = {result.coverage_factor:g}; {floor:.4g} {printed} near zero and {100 * line.u_relative:.4g} % above"
        )
        k = f"{result.coverage_factor:g}"
        numerator = f"{k} × √({_seven(floor)}² + ({_seven(line.u_relative)} × {_seven(value)})²)"
        steps.append(Step("Expanded uncertainty", note, numerator, None, result.expanded_u, printed))
    note = f"{result.reported_as}, {result.basis.value}, by {result.line}; unrounded"
    steps.append(Step("The result", note, _seven(value), None, value, printed))
    return steps
