"""One result's calculation written out with its numbers: seven figures are shown, none is rounded in between."""

from labresults.calculation.budget import budget
from labresults.calculation.errors import NotInRun
from labresults.calculation.explain_solution import seven, solution_steps
from labresults.calculation.preparation import Link, chain, running_factors
from labresults.calculation.results import by_place
from labresults.calculation.run import Evaluation, MethodSpecification, Result, RunTable, Step
from labresults.calculation.solutions import Solutions, find_solutions
from labresults.calculation.units import unit
from labresults.terms import UncertaintyRule


def explain(
    run: RunTable, method: MethodSpecification, evaluation: Evaluation, position: int, line: str
) -> tuple[Step, ...]:
    """Return the calculation of the result at a position number and a line, step by step.

    Reading, ratio to the internal standard, curve, standard additions, drift, other elements, method blank, what the
    method version does not do, dilution, volume, portion, basis, compound, unit, uncertainty, result. The last value is
    the result's own, to the last bit. A calculation that ends early (over range, no curve) is written out as far as it
    goes; a position without a result, to its concentration.
    Raises NotInRun when the run has no such position, or the method does not calibrate that line.
    """
    solutions = find_solutions(run, method)
    rows = [row for row, at in enumerate(run.positions) if at.number == position]
    columns = [column for column, at in solutions.lines.items() if at.key == line]
    if not rows or not columns:
        raise NotInRun(f"The run has no position {position}, or the method does not calibrate {line}. Open it anew.")
    row, column = rows[0], columns[0]
    steps = solution_steps(solutions, row, column)
    result = by_place(evaluation.results).get((position, line))
    if result is not None and result.value is not None and result.solution is not None:
        steps += _chain_steps(solutions, row, result, result.solution)
        steps += _uncertainty_steps(solutions, row, column, result, result.value)
        steps.append(_result_step(result, result.value))
    return tuple(steps)


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
    numerator = f"{seven(before)} {unit_before}"
    if link.multiplier_unit is not None:
        numerator += f" × {_with_unit(link.multiplier, link.multiplier_unit)}"
    denominator = None if link.divisor_unit is None else _with_unit(link.divisor, link.divisor_unit)
    return Step(link.what, link.note, numerator, denominator, value, link.unit)


def _with_unit(value: float, printed: str) -> str:
    return f"{seven(value)} {printed}".strip()


def _uncertainty_steps(solutions: Solutions, row: int, column: int, result: Result, value: float) -> list[Step]:
    """Return where the uncertainty comes from, and the expanded one last; none where there is none."""
    if result.expanded_u is None or result.u is None:
        return []
    printed, k = unit(result.unit).printed, f"{result.coverage_factor:g}"
    if solutions.method.uncertainty_rule is UncertaintyRule.BUDGET:
        steps = _budget_steps(solutions, row, column, result, value)
        shown = f"{k} × {seven(result.u)}"
        return [*steps, Step("Expanded uncertainty", f"k = {k}", shown, None, result.expanded_u, printed)]
    line = solutions.lines[column]
    floor = line.u_floor * result.detection_limit / line.detection_limit
    note = f"k = {k}; {floor:.4g} {printed} near zero and {100 * line.u_relative:.4g} % above"
    numerator = f"{k} × √({seven(floor)}² + ({seven(line.u_relative)} × {seven(value)})²)"
    return [Step("Expanded uncertainty", note, numerator, None, result.expanded_u, printed)]


def _budget_steps(solutions: Solutions, row: int, column: int, result: Result, value: float) -> list[Step]:
    """Return one step for each contribution that counts, and their combination: JCGM 100:2008 (GUM), 5.1.2."""
    portion = solutions.run.positions[row].portion
    determination = next(each for each in solutions.method.determinations if each.element == result.element)
    if portion is None or result.u is None:
        return []
    printed = unit(result.unit).printed
    counting = [each for each in budget(solutions, row, column, portion, determination) if each.counts]
    steps = []
    for each in counting:
        shown = seven(each.u) if each.relative is None else f"{seven(each.relative)} × {seven(abs(value))}"
        what = f"Uncertainty: {each.name[0].lower()}{each.name[1:]}"
        steps.append(Step(what, each.source, shown, None, each.u, printed))
    squares = " + ".join(f"{seven(each.u)}²" for each in counting)
    note = "standard uncertainties combined as independent of each other"
    return [*steps, Step("Standard uncertainty", note, f"√({squares})", None, result.u, printed)]


def _result_step(result: Result, value: float) -> Step:
    note = f"{result.reported_as}, {result.basis.value}, by {result.line}; unrounded"
    return Step("The result", note, seven(value), None, value, unit(result.unit).printed)
