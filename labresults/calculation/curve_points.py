"""What the curves of a block are fitted to: what the calibration solutions hold, and their means or replicates."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from labresults.calculation.errors import UnlikeUnits
from labresults.calculation.replicates import summarise
from labresults.calculation.run import Array, LineSpecification, Position, RunTable
from labresults.calculation.units import factor
from labresults.terms import FitOn, Role, Weighting

NOTHING = float("nan")


@dataclass(frozen=True)
class Points:
    """The calibration solutions of one block at lines that are fitted together.

    x : in the solution unit, [line x solution]. reads : what they read as, with what their other elements pretend.
    y : mean signals, the same shape. single_y, s : what is fitted and its
    standard deviation, [line x solution x replicate]; one replicate, the mean, where the fit is on means.
    faults : why a solution in use cannot be fitted, by line and solution.
    """

    numbers: tuple[int, ...]
    x: Array
    reads: Array
    y: Array
    single_y: Array
    s: Array
    used: NDArray[np.bool_]
    faults: Mapping[tuple[int, int], str] = field(default_factory=dict)


def standard_concentration(position: Position, element: str, solution_unit: str) -> float:
    """Return what a calibration solution holds of an element, in the solution unit; NaN where it is not said.

    A calibration blank holds nothing unless it says otherwise. Raises UnlikeUnits for a unit that does not lead there.
    """
    expected = position.expected.get(element)
    if expected is None:
        return 0.0 if position.role is Role.CALIBRATION_BLANK else NOTHING
    if expected.unit == solution_unit:
        return expected.value
    try:
        return expected.value * float(factor(expected.unit, solution_unit))
    except UnlikeUnits as error:
        raise UnlikeUnits(f"{position.label}: {error} The curve of {element} is in {solution_unit}.") from error


def _pretended(position: Position, line: LineSpecification, solution_unit: str) -> float:
    """Return what the other elements of a solution read as at a line, solution unit; unsaid ones read as nothing."""
    total = 0.0
    for interference in line.interferences:
        held = standard_concentration(position, interference.element, solution_unit)
        total += interference.apparent * held if np.isfinite(held) else 0.0
    return total


def points_of(
    run: RunTable,
    signal: Array,
    spread: Array,
    rows: Sequence[int],
    lines: Sequence[tuple[int, LineSpecification]],
    solution_unit: str,
    internal_standard: str | None = None,
    rules: int = 1,
) -> Points:
    """Return the points of some lines, all with the same weighting and fitted on the same thing.

    signal, spread : [position x line], after the internal standard. rows : of the calibration solutions.
    lines : with their columns, at least one. internal_standard : key of its line. rules : beyond the first edition
    solutions count with what they read as, so that a mixed standard that holds an interferent does not bend the curve.
    Raises UnlikeUnits as `standard_concentration` does.
    """
    columns = [column for column, _ in lines]
    at = np.ix_(rows, columns)
    solutions = [run.positions[row] for row in rows]
    x = [[standard_concentration(each, line.element, solution_unit) for each in solutions] for _, line in lines]
    used = [[each.used and (each.number, line.key) not in run.left_out for each in solutions] for _, line in lines]
    pretended = [
        [_pretended(each, line, solution_unit) if rules > 1 else 0.0 for each in solutions] for _, line in lines
    ]
    shape = (len(lines), len(rows))
    held = np.array(x, dtype=np.float64).reshape(shape)
    y = np.where(run.saturated[at].T, np.nan, signal[at].T)
    s = spread[at].T
    specification = lines[0][1]
    if specification.fit_on is FitOn.REPLICATES:
        single_y, s_of_single, faults = _singles(run, y, rows, lines, internal_standard)
    else:
        if specification.weighting is Weighting.ABSOLUTE:
            s = s / np.sqrt(np.maximum(run.count[at].T, 1.0))  # what is fitted is the mean
        single_y, s_of_single, faults = y[..., None], s[..., None], {}
    return Points(
        numbers=tuple(each.number for each in solutions),
        x=held,
        reads=held + np.array(pretended, dtype=np.float64).reshape(shape),
        y=y,
        single_y=single_y,
        s=s_of_single,
        used=np.array(used, dtype=np.bool_).reshape(shape),
        faults=faults,
    )


def _singles(
    run: RunTable,
    y: Array,
    rows: Sequence[int],
    lines: Sequence[tuple[int, LineSpecification]],
    internal_standard: str | None,
) -> tuple[Array, Array, dict[tuple[int, int], str]]:
    """Return single replicates and their standard deviation, [line x solution x replicate], and what is wrong."""
    values: dict[tuple[int, int], tuple[float, ...]] = {}
    faults: dict[tuple[int, int], str] = {}
    for i, (_, line) in enumerate(lines):
        for j, row in enumerate(rows):
            if not np.isfinite(y[i, j]):
                continue
            found = replicates_at(run, row, line.key, internal_standard)
            if isinstance(found, str):
                faults[i, j] = found
            else:
                values[i, j] = found or (float(y[i, j]),)
    most = max((len(each) for each in values.values()), default=1)
    single_y, s = np.full((*y.shape, most), np.nan), np.full((*y.shape, most), np.nan)
    for (i, j), each in values.items():
        single_y[i, j, : len(each)] = each
        s[i, j] = summarise(each).sd or np.nan
    return single_y, s, faults


def replicates_at(run: RunTable, row: int, key: str, internal_standard: str | None) -> tuple[float, ...] | str:
    """Return the single replicates of a calibration solution at a line, as ratios where there is an internal standard.

    A replicate's ratio is to the internal standard's replicate of the same index. Empty where the position was read
    once. Where single replicates are asked for and are not there, returns why, in words.
    """
    number = run.positions[row].number
    own = run.replicates.get((number, key), ())
    if not own:
        if run.count[row, run.line_keys.index(key)] > 1:
            return (
                f"position {number} has only the mean of its replicates, and the curve is fitted on single ones. "
                "Load a file that has them, leave the position out, or fit on means."
            )
        return ()
    if internal_standard is None:
        return tuple(value for value in own if np.isfinite(value))
    others = run.replicates.get((number, internal_standard), ())
    pairs = [(a, b) for a, b in zip(own, others, strict=False) if np.isfinite(a) and b > 0]
    if len(own) != len(others) or not pairs:
        return (
            f"position {number} has {len(own)} replicates and {len(others)} of the internal standard "
            f"{internal_standard}: single replicates have no ratios. Read it again, leave it out, or fit on means."
        )
    return tuple(a / b for a, b in pairs)
