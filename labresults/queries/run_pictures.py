"""What pictures of a whole run are drawn from: what each reading says, what runs through all positions.

No database query: everything comes from a `RunPage`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from labresults.calculation.run import FittedCurve
from labresults.calculation.solutions import Solutions, find_solutions
from labresults.models import ControlOutcome, Criterion
from labresults.plots.calibration import DrawnCurve, Standard
from labresults.plots.internal_standard import Track
from labresults.plots.matrix import Matrix, State
from labresults.plots.sequence import Check, Series
from labresults.queries.run_answers import largest_residual
from labresults.queries.run_pages import RunPage
from labresults.queries.run_positions import bracket_of, line_keys
from labresults.terms import CALIBRATING, OF_POSITIONS, DriftRule, Measure, Role, Verdict

_ORDER = tuple(State)
_VERIFICATIONS = (Role.INITIAL_VERIFICATION, Role.CONTINUING_VERIFICATION)
MOST_BESIDE = 2
"""So many other lines stand thin behind the checks of one."""


@dataclass(frozen=True)
class Checks:
    """Verifications of a line through the run, with what is allowed and what a failed one touches."""

    subject: Series
    others: list[Series]
    low: float
    high: float
    touched: tuple[int, int] | None
    failed_at: int | None


@dataclass(frozen=True)
class RunPictures:
    """Pictures of one evaluation of a run. address: with `{}` for a position's number."""

    page: RunPage
    address: str = ""

    @cached_property
    def solutions(self) -> Solutions:
        """What was found in the solutions, step by step, computed again."""
        return find_solutions(self.page.loaded.table, self.page.loaded.method)

    @property
    def lines(self) -> tuple[str, ...]:
        """Lines that have a curve, or why not."""
        return tuple(dict.fromkeys(curve.line for curve in self.page.curves))

    @property
    def blocks(self) -> tuple[int, ...]:
        """Calibration blocks that have curves."""
        return tuple(sorted({curve.block for curve in self.page.curves}))

    def most_telling(self) -> str:
        """The first line that failed; else the one with the largest residual; "" without curves."""
        failed = [str(f.outcome.line) for f in self.page.open_failures if str(f.outcome.line) in self.lines]
        found = largest_residual(self.page.curves)
        return failed[0] if failed else found[0].line if found else next(iter(self.lines), "")

    def curve(self, line: str, block: int) -> FittedCurve | None:
        """The fitted curve of a line in a block."""
        return next((c for c in self.page.curves if (c.line, c.block) == (line, block)), None)

    def drawn(self, curve: FittedCurve) -> DrawnCurve:
        """A curve as its drawing needs it, with a stroke for each sample of its block."""
        method = self.page.loaded.method
        return DrawnCurve(
            line=f"{curve.line} nm",
            coefficients=curve.coefficients,
            weighting=f"{curve.curve}, {curve.weighting}",
            standards=tuple(
                Standard(p.position, p.reads, p.y, p.residual_percent, p.used, self.address.format(p.position))
                for p in curve.points
                if isfinite(p.y)
            ),
            solution_unit=method.solution_unit,
            signal_unit="ratio" if method.internal_standard else method.signal_unit,
            samples=self._samples(curve),
        )

    def checks(self, line: str) -> Checks | None:
        """The verifications of a line through the run; None where fewer than two were judged, or without limits."""
        by_line: dict[str, list[ControlOutcome]] = {}
        for outcome in self.page.outcomes:
            if _is_recovery(outcome) and outcome.observed is not None:
                by_line.setdefault(str(outcome.line), []).append(outcome)
        subject = by_line.pop(line, [])
        limits = next(((o.criterion.low, o.criterion.high) for o in reversed(subject)), (None, None))
        if len(subject) < 2 or limits[0] is None or limits[1] is None:
            return None
        failed = next(
            (f.outcome for f in self.page.open_failures if str(f.outcome.line) == line and _is_recovery(f.outcome)),
            None,
        )
        return Checks(
            subject=self._series(line, subject),
            others=[self._series(name, rows) for name, rows in sorted(by_line.items())[:MOST_BESIDE]],
            low=limits[0],
            high=limits[1],
            touched=bracket_of(failed, self.page.outcomes, self.page.positions) if failed else None,
            failed_at=failed.position.number if failed else None,
        )

    def matrix(self, addresses: Mapping[str, str] | None = None) -> Matrix:
        """What each reading says, by line and position. addresses: of the lines."""
        lines = line_keys(self.page)
        columns = [self.page.loaded.table.line_keys.index(key) for key in lines]
        states = self._states()[:, columns].T
        return Matrix(
            lines=tuple(lines),
            positions=tuple(position.number for position in self.page.positions),
            states=[[_ORDER[code] for code in row] for row in states.tolist()],
            blocks=tuple(position.block for position in self.page.positions),
            position_address=self.address,
            line_addresses=addresses or {},
        )

    def internal_standard(self) -> Track | None:
        """The internal standard's recovery at each position, with its window; None where the method has none."""
        name = self.page.loaded.method.internal_standard
        if name is None:
            return None
        window = _window(self.page.outcomes)
        return Track(
            what=f"Internal standard {name}",
            unit="%",
            values=self._known(self.solutions.internal_standard_recovery),
            low=window.low if window else None,
            high=window.high if window else None,
            address=self.address,
        )

    def drift(self, line: str) -> Track | None:
        """The drift that was corrected at a line, in %; None where the method corrects none."""
        method, table = self.page.loaded.method, self.page.loaded.table
        if method.drift_rule is DriftRule.NONE or line not in table.line_keys:
            return None
        percent = 100.0 * (self.solutions.drift[:, table.line_keys.index(line)] - 1.0)
        return Track(
            what=f"Drift of {line} that was corrected, {method.drift_rule}",
            unit="% of the first check",
            values=self._known(percent),
            address=self.address,
        )

    def _samples(self, curve: FittedCurve) -> tuple[float, ...]:
        """Concentrations of the samples that were read through a curve."""
        if self.page.evaluated is None:
            return ()
        column = self.page.loaded.table.line_keys.index(curve.line)
        read = self.page.evaluated.concentration[:, column].tolist()
        return tuple(
            value
            for value, position in zip(read, self.page.positions, strict=True)
            if position.role == Role.SAMPLE and position.block == curve.block and isfinite(value)
        )

    def _series(self, line: str, outcomes: Sequence[ControlOutcome]) -> Series:
        return Series(
            line,
            tuple(
                Check(
                    o.position.number,
                    o.observed or 0.0,
                    o.verdict != Verdict.OUTSIDE,
                    self.address.format(o.position.number),
                )
                for o in outcomes
            ),
        )

    def _known(self, values: NDArray[np.float64]) -> tuple[tuple[int, float], ...]:
        pairs = zip(self.page.positions, values.tolist(), strict=True)
        return tuple((position.number, value) for position, value in pairs if isfinite(value))

    def _states(self) -> NDArray[np.int64]:
        """What each reading says, [position x line], as places in the order of the states."""
        page, table = self.page, self.page.loaded.table
        found = np.full(table.signal.shape, _ORDER.index(State.HELD))
        calibrating = np.array([p.role in CALIBRATING | {Role.RINSE} for p in page.positions], dtype=bool)
        limits = {line.key: line.detection_limit for line in page.loaded.method.lines}
        limit = np.array([limits.get(key, np.nan) for key in table.line_keys])
        with np.errstate(invalid="ignore"):
            below = (self.solutions.concentration < limit) & ~calibrating[:, None]
        found[below] = _ORDER.index(State.BELOW)
        touched, failed, spread = self._failed_places()
        for where, state in (
            (touched, State.TOUCHED),
            (spread, State.SPREAD),
            (self.solutions.carried & ~calibrating[:, None], State.CARRIED),
            (self.solutions.over_range & ~calibrating[:, None], State.OVER_RANGE),
            (failed, State.FAILED),
            (~np.isfinite(table.signal) & ~table.saturated, State.NOT_READ),
        ):
            found[where] = _ORDER.index(state)
        return found

    def _failed_places(self) -> tuple[NDArray[np.bool_], NDArray[np.bool_], NDArray[np.bool_]]:
        """Where readings stand on an open failure, where a control sample failed, where replicates spread."""
        page, shape = self.page, self.page.loaded.table.signal.shape
        touched, failed, spread = (np.zeros(shape, dtype=bool) for _ in range(3))
        row_of = {position.number: row for row, position in enumerate(page.positions)}
        key_of = {pk: column for column, pk in enumerate(page.loaded.line_ids[k] for k in page.loaded.table.line_keys)}
        for failure in page.failures:
            outcome = failure.outcome
            column = slice(None) if outcome.measure in OF_POSITIONS else key_of[outcome.line_id]
            here = spread if outcome.measure == Measure.SPREAD else failed
            here[row_of[outcome.position.number], column] = True
            if failure.is_open:
                touched[[row_of[number] for number in outcome.touches], column] = True
        return touched, failed, spread


def _is_recovery(outcome: ControlOutcome) -> bool:
    return outcome.measure == Measure.RECOVERY and outcome.position.role in _VERIFICATIONS


def _window(outcomes: Sequence[ControlOutcome]) -> Criterion | None:
    """The window of the internal standard: that of the first outcome by which it is judged."""
    judged = (o.criterion for o in outcomes if o.measure == Measure.INTERNAL_STANDARD)
    return next(judged, None)
