"""Tests that name an outlying value or an outlying spread. Naming is all they do: nobody is left out by a formula.

References: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1 (Grubbs); ISO 5725-2:1994, 7.3.3 (Cochran).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import fdtri, stdtrit

from labresults.calculation.errors import NotPhysical, TooFewValues


@dataclass(frozen=True)
class Outlying:
    """The value that stands out most, by its place; its statistic, and the critical one that it is compared with."""

    index: int
    statistic: float
    critical: float

    @property
    def is_outlying(self) -> bool:
        """Whether the statistic is above the critical one."""
        return self.statistic > self.critical


def grubbs(values: Sequence[float], alpha: float = 0.05) -> Outlying:
    """Return the value farthest from the mean, in standard deviations, against the two-sided critical value.

    Raises TooFewValues for fewer than three values, NotPhysical where they do not differ.
    """
    count = len(values)
    if count < 3:
        raise TooFewValues("An outlier is told from three values on.")
    x = np.asarray(values, dtype=np.float64)
    sd = float(x.std(ddof=1))
    if not sd > 0:
        raise NotPhysical("The values do not differ: none of them stands out.")
    distance = np.abs(x - x.mean())
    index = int(distance.argmax())
    return Outlying(index, float(distance[index]) / sd, grubbs_critical(count, alpha / 2.0))


def grubbs_critical(count: int, alpha: float) -> float:
    """Return the one-sided critical value of Grubbs' test for so many values."""
    t = float(stdtrit(count - 2, 1.0 - alpha / count))
    return (count - 1) / math.sqrt(count) * math.sqrt(t**2 / (count - 2 + t**2))


def cochran(variances: Sequence[float], count: int, alpha: float = 0.05) -> Outlying:
    """Return the largest of several variances as a share of their sum, against its critical value.

    count : values that each variance is of, at least two.
    Raises TooFewValues for fewer than two variances, NotPhysical where all of them are zero.
    """
    if len(variances) < 2 or count < 2:
        raise TooFewValues("Cochran's test needs at least two groups of at least two values.")
    total = math.fsum(variances)
    if not total > 0:
        raise NotPhysical("No group has a spread: none of them stands out.")
    index = max(range(len(variances)), key=lambda place: variances[place])
    return Outlying(index, variances[index] / total, cochran_critical(len(variances), count, alpha))


def cochran_critical(groups: int, count: int, alpha: float) -> float:
    """Return the critical value of Cochran's test for so many groups of `count` values."""
    f = float(fdtri(count - 1, (groups - 1) * (count - 1), 1.0 - alpha / groups))
    return f / (f + groups - 1)
