"""From signals to concentrations in the measured solutions, step by step; each step is an array of its own.

Internal standard, curve or standard additions, drift, inter-element correction, method blank: the method version says
which of them are done, in this order.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from labresults.calculation.blanks import carries_blank, subtract
from labresults.calculation.carry_over import find_carried, sizes_before
from labresults.calculation.curve_quality import qualities
from labresults.calculation.curves import fit_curves
from labresults.calculation.drift import Drift, find_drift
from labresults.calculation.interference import Corrections, correct, corrections, u_of_corrected
from labresults.calculation.internal_standard import ratios, recovery_percent
from labresults.calculation.quality_control import figures
from labresults.calculation.reading_back import ranges_in_use, read_all, u_of_replicates, with_additions
from labresults.calculation.run import (
    Array,
    CurveQuality,
    FittedCurve,
    LineSpecification,
    MethodSpecification,
    RunTable,
)
from labresults.calculation.standard_addition import AdditionResult
from labresults.terms import BlankRule, Role


@dataclass(frozen=True)
class Solutions:
    """What was found in the measured solutions. Arrays are [position x line], in the solution unit unless said.

    lines: by column, the lines that the method calibrates. curves, qualities: by (block, column); no qualities by the
    first edition of the rules. signal: after the internal standard. internal_standard_recovery: [position], %.
    through_curve: what the curve gives. additions: by (row, column), where standard additions stand in its place. read:
    either of the two; u_read: its standard uncertainty. drifting: how far the checks drifted. drifted: read, after
    that. corrected: after inter-element correction. concentration: after the method blank as well, where it is
    subtracted; u_blank: the standard uncertainty of that blank, NaN where there is none. u: of the concentration, from
    the curve, the replicates and the corrections; by the first edition of the rules it is u_read. range_tops,
    quantification_limits: of the range in use, NaN at a line that the method does not calibrate.
    """

    run: RunTable
    method: MethodSpecification
    lines: Mapping[int, LineSpecification]
    curves: Mapping[tuple[int, int], FittedCurve]
    qualities: Mapping[tuple[int, int], CurveQuality]
    signal: Array
    internal_standard_recovery: Array
    through_curve: Array
    additions: Mapping[tuple[int, int], AdditionResult]
    read: Array
    u_read: Array
    drifting: Drift
    drifted: Array
    interferences: Corrections
    corrected: Array
    concentration: Array
    u: Array
    u_blank: Array
    range_tops: Array
    quantification_limits: Array

    @property
    def drift(self) -> Array:
        """What each reading was divided by, [position x line]; NaN where no drift was corrected."""
        return self.drifting.factor

    @cached_property
    def before(self) -> Array:
        """What the position measured just before read, [position x line]."""
        return sizes_before(self.run, self.through_curve, self.range_tops)

    @cached_property
    def carried(self) -> NDArray[np.bool_]:
        """Where a reading may hold something of the position before it, [position x line]."""
        return find_carried(self.before, self.through_curve, self.quantification_limits, self.lines)

    def why_carried(self, row: int, column: int) -> str | None:
        """Return what a reading may hold of the position before it, in words with the numbers; None where nothing."""
        share = self.lines[column].carry_over
        if share is None or not self.carried[row, column]:
            return None
        key, unit, size = self.lines[column].key, self.method.solution_unit, float(self.before[row, column])
        own, number = figures(float(self.through_curve[row, column])), self.run.positions[row - 1].number
        at_least = "at least " if self.run.saturated[row - 1, column] else ""
        return (
            f"{key} reads {own} {unit} just after position {number} with {at_least}{figures(size)} {unit}, of which "
            f"{100.0 * share:g} %, {figures(share * size)} {unit}, may still be seen: not less than the quantification "
            "limit and a tenth of the reading. Read it again after a rinse."
        )

    @cached_property
    def over_range(self) -> NDArray[np.bool_]:
        """Where the reading is saturated, or above the working range before any correction, [position x line]."""
        return np.asarray(self.run.saturated | (self.through_curve > self.range_tops))

    def range_top(self, row: int, column: int) -> float:
        """Return the top of the working range in use there, in the solution unit."""
        return float(self.range_tops[row, column])

    def quantification_limit(self, row: int, column: int) -> float:
        """Return the quantification limit there, in the solution unit; not below where the range in use starts."""
        return float(self.quantification_limits[row, column])

    def is_over_range(self, row: int, column: int) -> bool:
        """Return whether the reading is saturated, or above the working range before any correction."""
        return bool(self.over_range[row, column])

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
        if self.drifting.uncertain[row, column]:
            return self.drifting.why_not(row, column)
        return self._why_not_corrected(row, column)

    def _why_not_read(self, row: int, column: int) -> str:
        line, standard = self.lines[column], self.method.internal_standard
        if not np.isfinite(self.run.signal[row, column]):
            return f"{line.key} was not read at position {self.run.positions[row].number}."
        if self._is_by_additions(row) and np.isfinite(self.through_curve[row, column]):
            return self._why_not_by_additions(row, column)
        if not np.isfinite(self.signal[row, column]):
            return f"The internal standard {standard} was not read, or not above zero. Read the position again."
        return f"{line.key}: the curve has no concentration for this signal. Dilute and read again."

    def _is_by_additions(self, row: int) -> bool:
        return self.method.by_additions and self.run.positions[row].role is Role.SAMPLE

    def _why_not_by_additions(self, row: int, column: int) -> str:
        line, position, found = self.lines[column], self.run.positions[row], self.additions.get((row, column))
        if found is not None and found.problem is not None:
            return found.problem
        return (
            f"{line.key}: the method calibrates its samples by standard additions, and {position.label} has none. Plan "
            "and read its additions."
        )

    def _why_not_corrected(self, row: int, column: int) -> str | None:
        line, position = self.lines[column], self.run.positions[row]
        for element in self.interferences.lacking[column]:
            return f"{element} interferes at {line.key} and was not measured in this run. Read a line of {element}."
        for other in self.interferences.of(column):
            if self.is_over_range(row, other):
                key = self.lines[other].key
                return f"{key} interferes at {line.key} and is over range: the correction is not valid. Dilute."
            if not np.isfinite(self.drifted[row, other]):
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
    signal, curves, through_curve, u_curve = _read_curves(run, method, lines)
    found = qualities(run, lines, curves, method.solution_unit, method.rules, method.internal_standard)
    tops, limits = ranges_in_use(run, lines, found)
    over = run.saturated | (through_curve > tops)
    usable = np.where(over, np.nan, through_curve)
    additions, read, u = with_additions(run, method, lines, usable, through_curve, u_curve)
    interferences = corrections([lines.get(column) for column in range(len(run.line_keys))])
    drifting = find_drift(run, read, u, method, lines, interferences.matrix, spared=frozenset(additions))
    drifted, u_drifted = _without_drift(read, u, drifting)
    corrected, u_corrected = _correct(drifted, u_drifted, interferences)
    concentration, u_of_all, u_blank = corrected, u_corrected, np.full_like(corrected, np.nan)
    if method.blank_rule is BlankRule.SUBTRACT:
        concentration, u_blank = subtract(run.positions, corrected, u_corrected, method.rules)
        u_of_all = _with_blank(run, u_corrected, u_blank)
    return Solutions(
        run=run,
        method=method,
        lines=lines,
        curves=curves,
        qualities=found,
        signal=signal,
        internal_standard_recovery=recovery_percent(run, method.internal_standard),
        through_curve=through_curve,
        additions=additions,
        read=read,
        u_read=u,
        drifting=drifting,
        drifted=drifted,
        interferences=interferences,
        corrected=corrected,
        concentration=concentration,
        u=u_of_all if method.rules > 1 else u,
        u_blank=u_blank,
        range_tops=tops,
        quantification_limits=limits,
    )


def _lines_by_column(run: RunTable, method: MethodSpecification) -> dict[int, LineSpecification]:
    by_key = {line.key: line for line in method.lines if line.key != method.internal_standard}
    return {column: by_key[key] for column, key in enumerate(run.line_keys) if key in by_key}


def _read_curves(
    run: RunTable, method: MethodSpecification, lines: Mapping[int, LineSpecification]
) -> tuple[Array, dict[tuple[int, int], FittedCurve], Array, Array]:
    """Return the signal after the internal standard, the curves, what they read and its standard uncertainty."""
    if method.instrument_calibrates:
        curves: dict[tuple[int, int], FittedCurve] = {}
        signal, read = run.signal, _only(run.signal, lines)
        u = u_of_replicates(run) if method.rules > 1 else np.full_like(signal, np.nan)
    else:
        signal, spread = ratios(run, method.internal_standard)
        curves = fit_curves(run, signal, spread, lines, method.solution_unit, method.internal_standard, method.rules)
        read, u = read_all(run, signal, curves, method.rules)
    return signal, curves, np.where(run.saturated, np.nan, read), u


def _only(values: Array, lines: Mapping[int, LineSpecification]) -> Array:
    kept = np.full_like(values, np.nan)
    columns = list(lines)
    kept[:, columns] = values[:, columns]
    return kept


def _without_drift(read: Array, u: Array, drifting: Drift) -> tuple[Array, Array]:
    """Return readings divided by their factor, where there is one, and their standard uncertainty (GUM, 5.1.2)."""
    known = np.isfinite(drifting.factor)
    factor = np.where(known, drifting.factor, 1.0)
    drifted = np.where(drifting.uncertain, np.nan, read / factor)
    return drifted, np.where(known, np.hypot(u, drifted * drifting.u) / factor, u)


def _correct(read: Array, u: Array, interferences: Corrections) -> tuple[Array, Array]:
    corrected, u_corrected = correct(read, interferences.matrix), u_of_corrected(u, interferences.matrix)
    for column, lacking in enumerate(interferences.lacking):
        if lacking:
            corrected[:, column] = u_corrected[:, column] = np.nan
    return corrected, u_corrected


def _with_blank(run: RunTable, u: Array, u_blank: Array) -> Array:
    """Return u with that of the blank in it, where one was subtracted; NaN where the blank's own is not known."""
    loses = np.array([carries_blank(position) for position in run.positions], dtype=np.bool_)
    return np.where(loses[:, None], np.hypot(u, u_blank), u)


def blank_at(solutions: Solutions, row: int, column: int) -> float | None:
    """Return what was subtracted there as the method blank, solution unit; None where nothing was."""
    position = solutions.run.positions[row]
    if solutions.method.blank_rule is BlankRule.JUDGE or not carries_blank(position):
        return None
    return float(solutions.corrected[row, column] - solutions.concentration[row, column])
