"""How control samples are judged: recovery, differences, and a number against its bounds.

References: EPA Method 6010D (2018), sections 9.7, 9.11 and 10.8; EPA SW-846 Chapter One (2014), 1.5, for the formulas.
"""

from labresults.terms import Verdict

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


def is_not_above(value: float, bound: float) -> bool:
    """Return whether value <= bound, the bound included even where binary arithmetic misses it."""
    return value <= bound + TOLERANCE * abs(bound)


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
    whole = len(f"{abs(value):.0f}")
    for count in range(max(4, whole), 17):
        text = f"{value:.{count}g}"
        if all(_side(float(text), bound) == _side(value, bound) for bound in known):
            return text
    return repr(value)


def _side(value: float, bound: float) -> int:
    """Return −1 below a bound, 0 on it, 1 above it."""
    return int(not is_not_above(value, bound)) - int(not is_not_above(bound, value))


def span(low: float | None, high: float | None) -> str:
    """Return the bounds in words: "90 to 110", "at most 20", "at least 75"."""
    if low is None:
        return f"at most {high:g}"
    return f"at least {low:g}" if high is None else f"{low:g} to {high:g}"
