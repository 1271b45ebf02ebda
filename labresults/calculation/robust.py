"""A mean and a standard deviation that a few outlying values do not carry away.

References: ISO 13528:2015, annex C.3 (Algorithm A), with its factors exact instead of rounded to 1.483 and 1.134, which
is Huber's proposal 2 (Venables and Ripley, Modern Applied Statistics with S, 4th edition (2002), chapter 5).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from labresults.calculation.errors import NotPhysical, TooFewValues
from labresults.calculation.run import Array

K = 1.5
"""Values farther than so many standard deviations are drawn in to there."""

TO_SD = 1.0 / float(ndtri(0.75))
"""A median of absolute deviations as a standard deviation: 1.4826."""

_INSIDE = 2.0 * float(ndtr(K)) - 1.0
_DENSITY = float(np.exp(-K * K / 2.0) / np.sqrt(2.0 * np.pi))
_SHRINKS = _INSIDE + K * K * (1.0 - _INSIDE) - 2.0 * K * _DENSITY
"""What drawing in leaves of a normal variance."""

_ROUNDS = 10_000


@dataclass(frozen=True)
class Robust:
    """A robust mean and standard deviation, in the unit of the values."""

    mean: float
    sd: float


def median_deviation(values: Sequence[float]) -> float:
    """Return the median of absolute deviations from the median, as a standard deviation, in the unit of the values."""
    x = np.asarray(values, dtype=np.float64)
    return TO_SD * float(np.median(np.abs(x - np.median(x))))


def algorithm_a(values: Sequence[float]) -> Robust:
    """Return the robust mean and standard deviation of at least three values, in their unit.

    Raises TooFewValues for fewer, NotPhysical where half of them are the same value, so that there is no spread.
    """
    x, sd = _ready(values)
    mean = float(np.median(x))
    for _ in range(_ROUNDS):
        drawn = _drawn_in(x, mean, sd)
        new_mean = float(drawn.mean())
        new_sd = float(np.sqrt(((drawn - new_mean) ** 2).sum() / ((len(x) - 1) * _SHRINKS)))
        settled = abs(new_mean - mean) <= 1e-14 * abs(sd) and abs(new_sd - sd) <= 1e-14 * sd
        mean, sd = new_mean, new_sd
        if settled:
            break
    return Robust(mean, sd)


def huber_mean(values: Sequence[float]) -> float:
    """Return the robust mean with the spread held at the median deviation. Raises as `algorithm_a`."""
    x, sd = _ready(values)
    mean = float(np.median(x))
    for _ in range(_ROUNDS):
        before, mean = mean, float(_drawn_in(x, mean, sd).mean())
        if abs(mean - before) <= 1e-15 * sd:
            break
    return mean


def _ready(values: Sequence[float]) -> tuple[Array, float]:
    if len(values) < 3:
        raise TooFewValues("A robust mean needs at least three values.")
    sd = median_deviation(values)
    if not sd > 0:
        raise NotPhysical("Half of the values are the same: there is no spread to judge by.")
    return np.asarray(values, dtype=np.float64), sd


def _drawn_in(x: Array, mean: float, sd: float) -> Array:
    return np.clip(x, mean - K * sd, mean + K * sd)
