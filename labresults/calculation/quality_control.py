"""How control samples are judged: recovery, differences, and a number against its bounds.

References: EPA Method 6010D (2018), sections 9.7, 9.11 and 10.8; EPA SW-846 Chapter One (2014), 1.5, for the formulas;
T. Linsinger, ERM Application Note 1 (2010), for the comparison with a certified value (from memory).
"""

from functools import cache
from math import hypot, sqrt

import numpy as np
from numpy.typing import NDArray

from labresults.calculation.expected_precision import horwitz_percent
from labresults.terms import Measure, Verdict

TOLERANCE = 1e-12
"""Relative: 100 × 1.1 / 1.0 is 110.00000000000001 in binary, and a bound of 110 is included."""

ELIGIBLE_TIMES_QUANTIFICATION = 25.0
"""A dilution is compared only where the original is at least this many quantification limits (EPA 6010D, 9.11.1)."""


def recovery_percent(found: float, expected: float) -> float | None:
    """Return 100 × found / expected; both in the same unit; None where nothing is expected."""
    return None if expected == 0 else 100.0 * found / expected


def difference_percent(one: float, other: float) -> float | None:
    """Return the relative difference of two contents, 100 × |a − b| / mean; None where the mean is not above zero.

    Of contents, never of recoveries (EPA 6010D, 9.7.2).
    """
    mean = (one + other) / 2.0
    return 100.0 * abs(one - other) / mean if mean > 0 else None


def spike_recovery_percent(spiked: float, unspiked: float, added: float) -> float | None:
    """Return 100 × (spiked − unspiked) / added; all in the same unit; None where nothing was added."""
    return 100.0 * (spiked - unspiked) / added if added > 0 else None


def dilution_difference_percent(original: float, diluted: float, factor: float) -> float | None:
    """Return 100 × |original − diluted × factor| / original; None where the original is not above zero."""
    return 100.0 * abs(original - diluted * factor) / original if original > 0 else None


def times_limit(found: float, quantification_limit: float) -> float:
    """Return |found| / quantification limit [1]: too much taken away counts like contamination (EPA 6010D, 9.9)."""
    return abs(found) / quantification_limit


def error_ratio(found: float, certified: float, u_found: float, u_certified: float, k: float) -> float | None:
    """Return |found − certified| / (k √(u_found² + u_certified²)) [1]; None where both uncertainties are zero.

    u_found, u_certified : standard uncertainties, everything in one unit. k : coverage factor; at most 1 says that no
    difference can be seen (ERM Application Note 1, from memory).
    """
    u = hypot(u_found, u_certified)
    return abs(found - certified) / (k * u) if u > 0 else None


def absolute_difference(one: float, other: float, quantification_limit: float) -> float:
    """Return |a − b| / quantification limit [1], all in one unit."""
    return abs(one - other) / quantification_limit


def horwitz_ratio(one: float, other: float, to_mass_fraction: float) -> float | None:
    """Return the relative standard deviation of a pair over the expected one [1]; None without a mean above zero.

    to_mass_fraction : what both are multiplied by to be mass fractions [1]. The deviation of a pair is |a − b| / √2.
    Raises NotPhysical for a mass fraction above one.
    """
    mean = (one + other) / 2.0
    if mean <= 0:
        return None
    return 100.0 * abs(one - other) / sqrt(2.0) / mean / horwitz_percent(mean * to_mass_fraction)


def unit_of(measure: str) -> str:
    """Return the unit of what a measure gives: "%", "× quantification limit", or "" for a bare number."""
    if measure.endswith("%"):
        return "%"
    return "× quantification limit" if measure in _IN_LIMITS else ""


_IN_LIMITS = frozenset({Measure.TIMES_QUANTIFICATION_LIMIT, Measure.ABSOLUTE_DIFFERENCE})


def is_not_above(value: float, bound: float) -> bool:
    """Return whether value <= bound, the bound included even where binary arithmetic misses it."""
    return value <= bound + TOLERANCE * abs(bound)


def are_not_above(values: NDArray[np.float64], bounds: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return `is_not_above` for each of two arrays of one shape."""
    return np.asarray(values <= bounds + TOLERANCE * np.abs(bounds), dtype=np.bool_)


def judge(observed: float, low: float | None, high: float | None, close_fraction: float) -> Verdict:
    """Return how a number stands between its bounds, both included, unrounded.

    Close is the outer `close_fraction` of the allowed span, half of it at either end; where there is no low bound
    the span starts at zero. Without a high bound nothing is close.
    """
    if low is not None and not is_not_above(low, observed):
        return Verdict.OUTSIDE
    if high is None:
        return Verdict.WITHIN
    if not is_not_above(observed, high):
        return Verdict.OUTSIDE
    ends = 2.0 if low is not None else 1.0
    margin = close_fraction * (high - (low or 0.0)) / ends
    near_low = low is not None and not is_not_above(low + margin, observed)
    near_high = not is_not_above(observed, high - margin)
    return Verdict.CLOSE if near_low or near_high else Verdict.WITHIN


def figures(value: float, *bounds: float | None) -> str:
    """Return a number in four figures, or in as many as show it on its own side of every bound."""
    known = [bound for bound in bounds if bound is not None]
    text = f"{value:.4g}" if abs(value) < _FOUR_DIGITS else ""
    if text and _is_on_same_sides(float(text), value, known):
        return text
    for count in range(max(4, len(f"{abs(value):.0f}")), 17):
        text = f"{value:.{count}g}"
        if _is_on_same_sides(float(text), value, known):
            return text
    return repr(value)


_FOUR_DIGITS = 9999.0


def _is_on_same_sides(shown: float, value: float, bounds: list[float]) -> bool:
    """Return whether a number as shown lies where its value lies; far from a bound there is nothing to look at."""
    near = 2.0 * abs(shown - value)
    return all(abs(value - b) > near + TOLERANCE * abs(b) or _side(shown, b) == _side(value, b) for b in bounds)


def _side(value: float, bound: float) -> int:
    """Return −1 below a bound, 0 on it, 1 above it."""
    return int(not is_not_above(value, bound)) - int(not is_not_above(bound, value))


@cache
def span(low: float | None, high: float | None) -> str:
    """Return the bounds in words: "90 to 110", "at most 20", "at least 75"."""
    if low is None:
        return f"at most {high:g}"
    return f"at least {low:g}" if high is None else f"{low:g} to {high:g}"
