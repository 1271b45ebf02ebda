"""Results in the reporting unit, each with its own limits and uncertainty; dilutions for what is over range."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from labresults.calculation.budget import Cells, combined_u
from labresults.calculation.chain_factors import ChainFactors, chain_factors
from labresults.calculation.quality_control import figures
from labresults.calculation.reach import failed_cells
from labresults.calculation.result_table import ResultTable, bit
from labresults.calculation.run import Array, ControlOutcome, Determination, Proposal, Result
from labresults.calculation.solutions import Solutions
from labresults.calculation.uncertainty import u_of_concentration
from labresults.terms import Mark, Role, UncertaintyRule

REPORTED = frozenset({Role.SAMPLE, Role.DUPLICATE, Role.SPIKE, Role.REFERENCE_MATERIAL, Role.METHOD_BLANK})
"""Roles that get results, as far as their portion is known."""

DILUTED_AGAIN = frozenset({Role.SAMPLE, Role.DUPLICATE, Role.SPIKE, Role.REFERENCE_MATERIAL})
"""Roles for which a dilution is proposed when they are over range."""

SHARE_OF_RANGE = 0.8
"""A proposed dilution brings the reading under this share of the working range (common practice, no source)."""


def report_results(solutions: Solutions, outcomes: Sequence[ControlOutcome]) -> ResultTable:
    """Return a result for each reported position and line of a determined element, in the order of the run.

    A method blank whose portion has no mass or volume has no content and no result. Everywhere else a result that
    cannot be had says why; its limits are NaN where its chain cannot be followed.
    """
    determinations = {determination.element: determination for determination in solutions.method.determinations}
    cells = _cells(solutions, determinations)
    reported = list(determinations.values())
    factors = chain_factors(cells.portions, cells.dilutions, reported, solution_unit=solutions.method.solution_unit)
    at = np.ix_(cells.rows, cells.columns)
    factor = factors.factor[:, cells.determination]
    positions = tuple(solutions.run.positions[row] for row in cells.rows)
    kept = ~(np.isnan(factor) & np.array([each.role is Role.METHOD_BLANK for each in positions], dtype=bool)[:, None])
    solution, why = _found(solutions, cells, factors, kept)
    value = np.where(np.isnan(factor), np.nan, solution * factor)
    u = np.where(np.isnan(value), np.nan, _u(solutions, cells, factors, solution, factor))
    second = solutions.method.rules > 1
    table = ResultTable(
        rows=tuple(cells.rows),
        columns=tuple(cells.columns),
        positions=positions,
        lines=tuple(solutions.lines[column] for column in cells.columns),
        determinations=tuple(reported[each] for each in cells.determination),
        coverage_factor=solutions.method.coverage_factor,
        kept=kept,
        value=value,
        detection_limit=_of_lines(cells, solutions, "detection_limit") * factor,
        quantification_limit=solutions.quantification_limits[at] * factor,
        upper_limit=solutions.range_tops[at] * factor,
        u=u,
        u_reading=np.where(np.isnan(value), np.nan, solutions.u[at] * factor) if second else np.full_like(u, np.nan),
        solution=solution,
        marks=np.zeros(value.shape, dtype=np.int64),
        why=why,
    )
    return _marked(table, solutions.over_range[at], solutions.carried[at] & second, outcomes)


def _cells(solutions: Solutions, determinations: Mapping[str, Determination]) -> Cells:
    """Where there are results: reported positions with a portion, and calibrated lines of determined elements."""
    rows = [
        row
        for row, position in enumerate(solutions.run.positions)
        if position.role in REPORTED and position.portion is not None
    ]
    places = {element: place for place, element in enumerate(determinations)}
    columns = [column for column, line in sorted(solutions.lines.items()) if line.element in places]
    here = [solutions.run.positions[row] for row in rows]
    return Cells(
        rows=rows,
        columns=columns,
        portions=[position.portion for position in here if position.portion is not None],
        dilutions=[position.dilution for position in here],
        determination=[places[solutions.lines[column].element] for column in columns],
    )


def _found(
    solutions: Solutions, cells: Cells, factors: ChainFactors, kept: NDArray[np.bool_]
) -> tuple[Array, dict[tuple[int, int], str]]:
    """Return the concentration of each result, NaN where none can be given, and why there is no value."""
    at = np.ix_(cells.rows, cells.columns)
    solution, why = solutions.concentration[at].copy(), dict[tuple[int, int], str]()
    doubtful = solutions.over_range[at] | ~_clear(solutions)[at]
    for index, portion in enumerate(cells.portions):
        if portion.refused:
            doubtful[index] |= [solutions.lines[column].element in portion.refused for column in cells.columns]
    for index, place in np.argwhere(doubtful & kept).tolist():
        row, column = cells.rows[index], cells.columns[place]
        element = solutions.lines[column].element
        reason = cells.portions[index].refused.get(element) or why_no_result(solutions, row, column)
        if reason is not None:
            solution[index, place] = np.nan
            why[index, place] = reason
    for (index, determination), reason in factors.why_not.items():
        for place, of in enumerate(cells.determination):
            if of == determination and kept[index, place]:
                why.setdefault((index, place), reason)
    return solution, why


def _clear(solutions: Solutions) -> NDArray[np.bool_]:
    """Where nothing stands against a concentration, [position x line]; elsewhere the reason is looked for."""
    clear = np.isfinite(solutions.read) & np.isfinite(solutions.concentration) & ~solutions.run.saturated
    clear &= ~solutions.drifting.uncertain
    for column in solutions.lines:
        if solutions.interferences.lacking[column]:
            clear[:, column] = False
        for other in solutions.interferences.of(column):
            clear[:, column] &= ~solutions.over_range[:, other] & np.isfinite(solutions.drifted[:, other])
    return clear


def why_no_result(solutions: Solutions, row: int, column: int) -> str | None:
    """Return why a reading gives no result, in words: no concentration, or over range; None where it does."""
    why = solutions.why_no_concentration(row, column)
    if why is not None or not solutions.is_over_range(row, column):
        return why
    read, top = float(solutions.read[row, column]), solutions.range_top(row, column)
    printed = solutions.method.solution_unit
    key = solutions.lines[column].key
    return f"{key} reads {figures(read, top)} {printed}, above the working range of {top:g} {printed}. Dilute."


def _u(solutions: Solutions, cells: Cells, factors: ChainFactors, solution: Array, factor: Array) -> Array:
    """Return standard uncertainties in the reporting unit, by the method's own rule."""
    if solutions.method.uncertainty_rule is UncertaintyRule.BUDGET:
        return combined_u(solutions, factors, cells)
    floor, relative = (_of_lines(cells, solutions, name) for name in ("u_floor", "u_relative"))
    floors, relatives = (np.broadcast_to(each, solution.shape).ravel().tolist() for each in (floor, relative))
    stated = map(u_of_concentration, solution.ravel().tolist(), floors, relatives)
    return np.fromiter(stated, np.float64, solution.size).reshape(solution.shape) * factor


def _of_lines(cells: Cells, solutions: Solutions, name: str) -> Array:
    return np.array([getattr(solutions.lines[column], name) for column in cells.columns], dtype=np.float64)


def _marked(
    table: ResultTable, over_range: NDArray[np.bool_], carried: NDArray[np.bool_], outcomes: Sequence[ControlOutcome]
) -> ResultTable:
    """Return the results with their marks, decided on unrounded numbers."""
    none = np.isnan(table.value)
    rows = {position.number: row for row, position in enumerate(table.positions)}
    columns = {line.key: column for column, line in enumerate(table.lines)}
    failed = np.zeros(table.value.shape, dtype=np.bool_)
    for number, line in failed_cells(outcomes, columns):
        if number in rows and line in columns:
            failed[rows[number], columns[line]] = True
    below, low = table.value < table.detection_limit, table.value < table.quantification_limit
    first = np.select(
        [over_range, none, below, low],
        [bit(m) for m in (Mark.OVER_RANGE, Mark.NO_VALUE, Mark.BELOW_DETECTION, Mark.BELOW_QUANTIFICATION)],
        0,
    )
    marks = first + failed * bit(Mark.CONTROL_FAILED) + (carried & ~none) * bit(Mark.CARRY_OVER)
    return replace(table, marks=marks)


def propose_dilutions(solutions: Solutions) -> tuple[Proposal, ...]:
    """Return a dilution for every over-range reading of a sample, in the order of the run.

    The smallest of the method's own steps that brings the reading under four fifths of the range. It counts from the
    solution as it stands after the portion's own dilution, in place of what was made at the instrument.
    A saturated reading has no number to start from: no factor. Nor is there one where no step is large enough.
    """
    positions = solutions.run.positions
    return tuple(
        _proposal(solutions, row, column)
        for row, column in np.argwhere(solutions.over_range).tolist()
        if positions[row].role in DILUTED_AGAIN and column in solutions.lines
    )


def _proposal(solutions: Solutions, row: int, column: int) -> Proposal:
    position, line = solutions.run.positions[row], solutions.lines[column]
    top = solutions.range_top(row, column)
    if solutions.run.saturated[row, column]:
        return Proposal(position.number, line.key, None, top, None, None)
    read = float(solutions.read[row, column])
    undiluted = read * position.dilution
    factor = smallest_step(undiluted, top, solutions.method.dilution_steps)
    return Proposal(position.number, line.key, read, top, factor, None if factor is None else undiluted / factor)


def smallest_step(undiluted: float, range_top: float, steps: Sequence[float]) -> float | None:
    """Return the smallest factor that brings a concentration under four fifths of the range; None where none does."""
    return min((step for step in steps if step > 0 and undiluted / step < SHARE_OF_RANGE * range_top), default=None)


def by_place(results: Sequence[Result]) -> Mapping[tuple[int, str], Result]:
    """Return the results by position number and line."""
    return {(result.position, result.line): result for result in results}
