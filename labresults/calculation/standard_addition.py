"""Standard additions: the content of a solution from what it reads when known amounts are added to it.

References: J. N. Miller, J. C. Miller, Statistics and Chemometrics for Analytical Chemistry (2005), 5.8, the intercept
with the axis of concentrations and its standard deviation (from memory); ISO 8466-1:1990, 4.1.3, the test of linearity
by a quadratic term (from memory).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from labresults.calculation.calibration import Fit, fit
from labresults.calculation.errors import CalculationError, NoCurve, TooFewValues
from labresults.calculation.run import Array, Position, RunTable
from labresults.terms import Role

LEAST_POINTS = 3
"""The solution itself and two additions: with fewer, nothing tells how well they lie on a line."""
NOT_LINEAR = 0.01
"""A quadratic term that so few straight lines would show by chance is told (ISO 8466-1 tests at 99 %, from memory)."""
NOTHING = float("nan")


@dataclass(frozen=True)
class AdditionResult:
    """What standard additions give. found, u : content of the solution without addition and its standard uncertainty.

    slope, intercept : signal = intercept + slope × added. n : points, numbers of whose positions are in `positions`.
    warning : in words, that the points bend. problem : in words, why nothing is found; the numbers are NaN then.
    """

    found: float
    u: float
    slope: float
    intercept: float
    n: int
    positions: tuple[int, ...] = ()
    warning: str = ""
    problem: str | None = None


def by_additions(added: Sequence[float], signal: Sequence[float]) -> AdditionResult:
    """Return the content at which a straight line through the additions has no signal, in the unit of `added`.

    signal : one for each addition, the solution without addition among them (added 0). found = a/b; u(found) =
    (s/b) √(1/n + mean y²/(b² Σ(x − mean x)²)), as Miller and Miller (2005), 5.8 (from memory).
    Raises TooFewValues for fewer than three points or none without addition, NoCurve for a line that does not rise.
    """
    x, y = np.array([added], dtype=np.float64), np.array([signal], dtype=np.float64)
    known = int((np.isfinite(x) & np.isfinite(y)).sum())
    if known < LEAST_POINTS or not (x[np.isfinite(y)] == 0).any():
        raise TooFewValues(
            f"{known} readings for standard additions: the solution itself and at least two additions are needed."
        )
    found = fit(x, y, np.ones_like(x), (0, 1))
    intercept, slope = found.coefficients[0].tolist()
    if not slope > 0:
        raise NoCurve("The readings do not rise with what was added: look at the additions, or read them again.")
    content = intercept / slope
    # the line's own covariance at its crossing of zero, where no reading adds to it
    at = np.array([1.0, -content])
    u = float(np.sqrt(at @ found.covariance[0] @ at)) / slope
    return AdditionResult(content, u, slope, intercept, known, warning=_bend(x, y))


def _bend(x: Array, y: Array) -> str:
    """Return in words that a quadratic term is larger than chance would make it; empty where it is not.

    The term over its standard error is Student's t with n − 3 degrees of freedom (ISO 8466-1:1990, 4.1.3, whose F is
    its square; from memory). Three points cannot tell.
    """
    bent: Fit = fit(x, y, np.ones_like(x), (0, 1, 2))
    freedom = int(bent.degrees_of_freedom[0])
    if freedom < 1 or not np.isfinite(bent.coefficients[0, 2]):
        return ""
    limit = float(stdtrit(freedom, 1.0 - NOT_LINEAR / 2.0)) * bent.standard_errors[0, 2]
    if abs(bent.coefficients[0, 2]) <= limit or _is_noise(bent, x, y):
        return ""
    way = "flatten" if bent.coefficients[0, 2] < 0 else "steepen"
    return f"The readings {way} with what was added: the straight line is in doubt. Dilute the solution, or add less."


def _is_noise(bent: Fit, x: Array, y: Array) -> bool:
    """Return whether the bend over the whole range is lost in the last digits of the readings."""
    return bool(abs(bent.coefficients[0, 2]) * np.nanmax(x) ** 2 <= 1e-9 * np.nanmax(np.abs(y)))


def additions_of(run: RunTable, read: Array, column: int) -> Mapping[int, AdditionResult]:
    """Return what standard additions give at a line, by row of the sample; only samples with additions are in it.

    read : [position x line], in the solution unit, or signals that are proportional to it. A sample's additions are the
    positions that name it as parent. Where nothing can be found the result says why.
    """
    row_of = {position.number: row for row, position in enumerate(run.positions)}
    children: dict[int, list[int]] = {}
    for row, position in enumerate(run.positions):
        if position.role is Role.STANDARD_ADDITION and position.parent in row_of:
            children.setdefault(row_of[position.parent], []).append(row)
    return {
        row: _added_to(run, read, column, row, children[row])
        for row in sorted(children)
        if run.positions[row].role is Role.SAMPLE
    }


def _added_to(run: RunTable, read: Array, column: int, row: int, children: Sequence[int]) -> AdditionResult:
    key = run.line_keys[column]
    element = key.partition(" ")[0]
    sample = run.positions[row]
    holding = [child for child in children if element in run.positions[child].added]
    numbers = (sample.number, *(run.positions[child].number for child in holding))
    problem = _unlike(sample, [run.positions[child] for child in holding], element)
    if problem is None:
        added = [0.0, *(run.positions[child].added[element] for child in holding)]
        try:
            found = by_additions(added, [read[at, column] for at in (row, *holding)])
        except CalculationError as error:
            problem = str(error)
        else:
            return AdditionResult(found.found, found.u, found.slope, found.intercept, found.n, numbers, found.warning)
    return AdditionResult(NOTHING, NOTHING, NOTHING, NOTHING, len(numbers), numbers, problem=f"{key}: {problem}")


def _unlike(sample: Position, additions: Sequence[Position], element: str) -> str | None:
    if not additions:
        return f"none of the additions to {sample.label} holds {element}."
    for each in additions:
        if each.dilution != sample.dilution or each.block != sample.block:
            return (
                f"position {each.number} is diluted otherwise than {sample.label}, or read under another calibration: "
                "additions are made to the same dilution and read in the same block."
            )
    return None
