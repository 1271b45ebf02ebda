"""Drift between bracketing checks: what each found of what it holds, relative to the first check of its block.

The factor is taken as linear between neighbouring checks, in position or in time (common practice, no source). It is
never followed beyond the last check, nor where a check drifted by more than the method corrects: that check has failed.
Checks and calibration solutions are not corrected, so that they are judged as they were read. A check whose stated
content is wrong shows as drift, and so does a second source that disagrees with the first: the limit bounds both.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from labresults.calculation.curve_points import standard_concentration
from labresults.calculation.quality_control import TOLERANCE, figures
from labresults.calculation.run import Array, LineSpecification, MethodSpecification, RunTable
from labresults.terms import DriftRule, Role

CHECKS = frozenset({Role.INITIAL_VERIFICATION, Role.CONTINUING_VERIFICATION})
"""Roles that show the drift."""

DRIFTING = frozenset(
    {
        Role.SAMPLE,
        Role.DUPLICATE,
        Role.SPIKE,
        Role.SERIAL_DILUTION,
        Role.POST_DIGESTION_SPIKE,
        Role.METHOD_BLANK,
        Role.CONTROL_SAMPLE,
        Role.REFERENCE_MATERIAL,
    }
)
"""Roles that are corrected: what was prepared."""


Spared = frozenset[tuple[int, int]]


@dataclass(frozen=True)
class Drift:
    """The drift of a run, [position x line] unless said.

    factor: what a reading is divided by, NaN where nothing is corrected; u: its standard uncertainty.
    at_check: the factor at each check, NaN elsewhere and where it cannot be had. before, after: rows of the two checks
    around a position, -1 where it has none. share: how far it stands from the one to the other, 0 to 1; NaN where its
    time is not known. uncertain: a correction is asked for and cannot be had without a time. spared: (row, column) that
    no drift is corrected at.
    """

    run: RunTable
    method: MethodSpecification
    factor: Array
    u: Array
    at_check: Array
    share: Array
    before: NDArray[np.int64]
    after: NDArray[np.int64]
    uncertain: NDArray[np.bool_]
    spared: Spared = frozenset()

    def why_not(self, row: int, column: int) -> str | None:
        """Return why a position that may be corrected is not, in words; None where it is or never would be."""
        position, key = self.run.positions[row], self.run.line_keys[column]
        may_be = self.method.drift_rule is not DriftRule.NONE and position.role in DRIFTING
        if not may_be or (row, column) in self.spared or np.isfinite(self.factor[row, column]):
            return None
        if self.before[row, column] < 0:
            return f"{key}: position {position.number} does not stand between two checks of its block that hold it."
        if self.uncertain[row, column]:
            return (
                f"{key}: drift is corrected linear in time, and the time of position {position.number} or of a check "
                "beside it is not known or out of order. Load a file with times, or correct by position."
            )
        return self._why_not_between(int(self.before[row, column]), int(self.after[row, column]), column)

    def _why_not_between(self, before: int, after: int, column: int) -> str | None:
        key, limit = self.run.line_keys[column], self.method.drift_limit_percent or 0.0
        for check in (before, after):
            number, factor = self.run.positions[check].number, float(self.at_check[check, column])
            if not np.isfinite(factor):
                return f"{key}: the check at position {number}, or the first one of the block, was not read."
            if not _is_within(factor, limit):
                percent = figures(100.0 * (factor - 1.0), limit, -limit)
                return (
                    f"{key}: the check at position {number} drifted by {percent} %, more than the {limit:g} % that "
                    "the method corrects."
                )
        return None


def find_drift(
    run: RunTable,
    read: Array,
    u: Array,
    method: MethodSpecification,
    lines: Mapping[int, LineSpecification],
    also: Array,
    spared: Spared = frozenset(),
) -> Drift:
    """Return the drift of a run, line by line and block by block.

    read, u : through the curve and its standard uncertainty, [position x line], solution unit. lines : by column.
    also : [line x line], what line i reads for each solution unit at line j (`interference.Corrections.matrix`): a
    check should read what it holds of the line's element, and what its other elements pretend there.
    spared : where none is corrected: standard additions have a slope of their own, which drifts with them.
    Raises UnlikeUnits for a check in a unit that does not lead to the solution unit.
    """
    nothing = np.full(read.shape, np.nan)
    nowhere = np.full(read.shape, -1, dtype=np.int64)
    drift = Drift(
        run=run,
        method=method,
        factor=nothing,
        u=nothing.copy(),
        at_check=nothing.copy(),
        share=nothing.copy(),
        before=nowhere,
        after=nowhere.copy(),
        uncertain=np.zeros(read.shape, dtype=np.bool_),
        spared=spared,
    )
    if method.drift_rule is DriftRule.NONE:
        return drift
    held = _contents(run, method, lines)
    should = _should_read(held, also)
    good = (should > 0) & (read > 0)
    recovery = np.where(good, read, np.nan) / np.where(good, should, 1.0)
    u_recovery = np.where(good, u, np.nan) / np.where(good, should, 1.0)
    blocks = np.array([position.block for position in run.positions])
    for block in sorted(set(blocks.tolist())):
        for columns, checks in _alike(held > 0, np.flatnonzero(blocks == block), lines):
            _fill(drift, np.array(columns), checks, recovery, u_recovery)
    for place in spared:
        drift.factor[place], drift.u[place], drift.uncertain[place] = np.nan, np.nan, False
    return drift


def _contents(run: RunTable, method: MethodSpecification, lines: Mapping[int, LineSpecification]) -> Array:
    """Return what each check, as it was measured, holds of each line's element; NaN elsewhere."""
    held = np.full(run.signal.shape, np.nan)
    for row, position in enumerate(run.positions):
        if position.role in CHECKS:
            for column, line in lines.items():
                content = standard_concentration(position, line.element, method.solution_unit)
                held[row, column] = content / position.dilution
    return held


def _should_read(held: Array, also: Array) -> Array:
    should = held.copy()
    for i, j in np.argwhere(also):
        should[:, i] += also[i, j] * np.nan_to_num(held[:, j])
    return should


def _alike(
    holds: NDArray[np.bool_], rows: NDArray[np.int64], lines: Mapping[int, LineSpecification]
) -> list[tuple[list[int], NDArray[np.int64]]]:
    """Return the lines of a block in groups that the same checks speak for, each with the rows of its checks."""
    groups: dict[tuple[int, ...], list[int]] = {}
    for column in sorted(lines):
        groups.setdefault(tuple(rows[holds[rows, column]].tolist()), []).append(column)
    return [(columns, np.array(checks)) for checks, columns in groups.items() if len(checks) > 1]


def _fill(drift: Drift, columns: NDArray[np.int64], checks: NDArray[np.int64], recovery: Array, u: Array) -> None:
    """Write the drift of one block at lines that share their checks into the arrays."""
    positions = drift.run.positions
    rows = np.array(
        [row for row in range(int(checks[0]), int(checks[-1])) if positions[row].role in DRIFTING], dtype=np.int64
    )
    first = recovery[checks[0], columns]
    drift.at_check[np.ix_(checks, columns)] = recovery[np.ix_(checks, columns)] / first
    next_one = np.searchsorted(checks, rows)
    before, after = checks[next_one - 1], checks[next_one]
    at = np.ix_(rows, columns)
    share = np.broadcast_to(_share(drift, rows, before, after)[:, None], (len(rows), len(columns)))
    drift.before[at], drift.after[at], drift.share[at] = before[:, None], after[:, None], share
    one, other = drift.at_check[np.ix_(before, columns)], drift.at_check[np.ix_(after, columns)]
    limit = drift.method.drift_limit_percent or 0.0
    allowed = _is_within(one, limit) & _is_within(other, limit)
    factor = one + (other - one) * share
    drift.uncertain[at] = allowed & ~np.isfinite(share)
    drift.factor[at] = np.where(allowed, factor, np.nan)
    of_before, of_after = u[np.ix_(before, columns)] / first, u[np.ix_(after, columns)] / first
    of_first = np.broadcast_to(u[checks[0], columns] / first, share.shape)
    drift.u[at] = np.where(
        allowed, _u_of_factor(factor, share, of_before, of_after, of_first, (before == checks[0])[:, None]), np.nan
    )


def _share(drift: Drift, rows: NDArray[np.int64], before: NDArray[np.int64], after: NDArray[np.int64]) -> Array:
    """Return how far each row stands between the checks around it, 0 to 1; NaN where a time is not between theirs."""
    if drift.method.drift_rule is DriftRule.BY_POSITION:
        share: Array = (rows - before) / (after - before)
        return share
    said = drift.run.times_s or (None,) * len(drift.run.positions)
    times = np.array([np.nan if time is None else time for time in said])
    span = times[after] - times[before]
    share = (times[rows] - times[before]) / np.where(span > 0, span, np.nan)
    return np.where((share >= 0) & (share <= 1), share, np.nan)


def _u_of_factor(
    factor: Array, share: Array, before: Array, after: Array, first: Array, starts: NDArray[np.bool_]
) -> Array:
    """Return the standard uncertainty of ((1 - share) R1 + share R2) / R0; where `starts`, R0 is R1 itself.

    before, after, first : u(R) / R0. JCGM 100:2008 (GUM), 5.1.2, with the readings of the checks independent.
    """
    on_first = np.where(starts, 1.0 - share, 0.0)
    of_before = np.where(starts, 0.0, (1.0 - share) * before)
    return np.sqrt(of_before**2 + (share * after) ** 2 + ((factor - on_first) * first) ** 2)


def _is_within(factor: Array | float, limit_percent: float) -> NDArray[np.bool_]:
    """Return whether a factor is no further from one than the limit, which is included; never where it is NaN."""
    return np.asarray(100.0 * np.abs(np.asarray(factor) - 1.0) <= limit_percent * (1.0 + TOLERANCE) + TOLERANCE)
