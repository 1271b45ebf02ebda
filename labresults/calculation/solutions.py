"""From signals to concentrations in the measured solutions: internal standard, curves, corrections, blank."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from labresults.calculation.blanks import CARRIES_BLANK, subtract
from labresults.calculation.calibration import Inverse, read_back, u_of_read_back
from labresults.calculation.curves import fit_curves
from labresults.calculation.interference import Corrections, correct, corrections
from labresults.calculation.internal_standard import ratios
from labresults.calculation.run import Array, FittedCurve, LineSpecification, MethodSpecification, RunTable
from labresults.terms import BlankRule


@dataclass(frozen=True)
class Solutions:
    """What was found in the measured solutions. Arrays are [position x line], in the solution unit but for `signal`.

    lines: by column, the lines that the method calibrates. curves: by (block, column). signal: after the internal
    standard. read: through the curve; u: standard uncertainty of that reading, from the curve and the replicates.
    corrected: after inter-element correction. concentration: after the method blank as well, where it is subtracted.
    """

    run: RunTable
    method: MethodSpecification
    lines: Mapping[int, LineSpecification]
    curves: Mapping[tuple[int, int], FittedCurve]
    signal: Array
    read: Array
    u: Array
    interferences: Corrections
    corrected: Array
    concentration: Array

    def is_over_range(self, row: int, column: int) -> bool:
        """Return whether the reading is saturated, or above the working range before any correction."""
        return bool(self.run.saturated[row, column] or self.read[row, column] > self.lines[column].range_top)

    def why_no_concentration(self, row: int, column: int) -> str | None:
        """Return why no concentration can be given there, in words; None where one can."""
        position, line = self.run.positions[row], self.lines[column]
        curve = self.curves.get((position.block, column))
        if self.run.saturated[row, column]:
            return f"{line.key}: the instrument was saturated. Dilute and read again."
        if curve is not None and curve.problem is not None:
            return f"No curve. {curve.problem}"
        if not np.isfinite(self.read[row, column]):
            return self._why_not_read(row, column)
        return self._why_not_corrected(row, column)

    def _why_not_read(self, row: int, column: int) -> str:
        line, standard = self.lines[column], self.method.internal_standard
        if not np.isfinite(self.run.signal[row, column]):
            return f"{line.key} was not read at position {self.run.positions[row].number}."
        if not np.isfinite(self.signal[row, column]):
            return f"The internal standard {standard} was not read, or not above zero. Read the position again."
        return f"{line.key}: the curve has no concentration for this signal. Dilute and read again."

    def _why_not_corrected(self, row: int, column: int) -> str | None:
        line, position = self.lines[column], self.run.positions[row]
        for element in self.interferences.lacking[column]:
            return f"{element} interferes at {line.key} and was not measured in this run. Read a line of {element}."
        for other in self.interferences.of(column):
            if self.is_over_range(row, other):
                key = self.lines[other].key
                return f"{key} interferes at {line.key} and is over range: the correction is not valid. Dilute."
            if not np.isfinite(self.read[row, other]):
                return f"{self.lines[other].key} interferes at {line.key} and could not be read: no correction."
        if not np.isfinite(self.concentration[row, column]) and position.portion is not None:
            return (
                f"The method subtracts its method blank, and batch {position.portion.batch} has none that was read "
                "at this line in this run. Read its blank in this run."
            )
        return None


def find_solutions(run: RunTable, method: MethodSpecification) -> Solutions:
    """Return the concentrations of a run, with the curves that they were read from.

    Lines that the method lacks stay NaN; so does the line of the internal standard, which calibrates nothing.
    Where the instrument calibrates, concentrations are the signals and there are no curves.
    Raises NoCurve when the internal standard was not measured; UnlikeUnits for a standard in an impossible unit.
    """
    lines = _lines_by_column(run, method)
    if method.instrument_calibrates:
        curves: dict[tuple[int, int], FittedCurve] = {}
        signal, read, u = run.signal, _only(run.signal, lines), np.full_like(run.signal, np.nan)
    else:
        signal, spread = ratios(run, method.internal_standard)
        curves = fit_curves(run, signal, spread, lines, method.solution_unit)
        read, u = _read_all(run, signal, curves)
    read = np.where(run.saturated, np.nan, read)
    interferences = corrections([lines.get(column) for column in range(len(run.line_keys))])
    corrected = _correct(read, interferences)
    subtracts = method.blank_rule is BlankRule.SUBTRACT
    concentration = subtract(run.positions, corrected) if subtracts else corrected
    return Solutions(run, method, lines, curves, signal, read, u, interferences, corrected, concentration)


def _lines_by_column(run: RunTable, method: MethodSpecification) -> dict[int, LineSpecification]:
    by_key = {line.key: line for line in method.lines if line.key != method.internal_standard}
    return {column: by_key[key] for column, key in enumerate(run.line_keys) if key in by_key}


def _only(values: Array, lines: Mapping[int, LineSpecification]) -> Array:
    kept = np.full_like(values, np.nan)
    columns = list(lines)
    kept[:, columns] = values[:, columns]
    return kept


def _correct(read: Array, interferences: Corrections) -> Array:
    corrected = correct(read, interferences.matrix)
    for column, lacking in enumerate(interferences.lacking):
        if lacking:
            corrected[:, column] = np.nan
    return corrected


def _read_all(run: RunTable, signal: Array, curves: Mapping[tuple[int, int], FittedCurve]) -> tuple[Array, Array]:
    """Return what the curves read at every position, and its standard uncertainty, [position x line]."""
    read, u = np.full_like(signal, np.nan), np.full_like(signal, np.nan)
    blocks = np.array([position.block for position in run.positions])
    for block in sorted({at for at, _ in curves}):
        rows = np.flatnonzero(blocks == block)
        columns = np.array([column for at, column in curves if at == block])
        at = np.ix_(rows, columns)
        chosen = [curves[block, int(column)] for column in columns]
        read[at], u[at] = _read_block(chosen, signal[at], run.count[at])
    return read, u


def _read_block(curves: list[FittedCurve], signal: Array, count: Array) -> tuple[Array, Array]:
    coefficients = np.array([curve.coefficients for curve in curves])
    middle = np.array([(curve.low + curve.high) / 2.0 for curve in curves])
    inverse = Inverse(
        coefficients,
        np.array([curve.covariance for curve in curves]),
        np.array([curve.residual_sd for curve in curves]),
    )
    x = read_back(coefficients, middle, signal)
    weight = np.stack([_weight_at(curve, x[:, i]) for i, curve in enumerate(curves)], axis=-1)
    return x, u_of_read_back(inverse, x, weight, np.maximum(count, 1.0))


def _weight_at(curve: FittedCurve, x: Array) -> Array:
    """Return the weight of a reading at x, between those of the standards beside it: 1/√w is taken as linear in x.

    Beyond the standards it is that of the nearest (common practice, no source).
    """
    used = sorted((point.x, point.weight**-0.5) for point in curve.points if point.used)
    if not used:
        return np.full_like(x, np.nan)
    places, roots = zip(*used, strict=True)
    return np.asarray(np.interp(x, places, roots) ** -2.0, dtype=np.float64)


def blank_at(solutions: Solutions, row: int, column: int) -> float | None:
    """Return what was subtracted there as the method blank, solution unit; None where nothing was."""
    position = solutions.run.positions[row]
    subtracts = solutions.method.blank_rule is BlankRule.SUBTRACT
    if not subtracts or position.portion is None or position.role not in CARRIES_BLANK:
        return None
    return float(solutions.corrected[row, column] - solutions.concentration[row, column])
