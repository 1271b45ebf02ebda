"""Critical values, detection and quantification limits, by the name of the procedure.

The same word means different things in different standards: each function here says which of the three it gives.
References: 40 CFR Part 136 Appendix B, Revision 2 (2017); L. A. Currie, IUPAC Recommendations 1995, Pure Appl. Chem.
67, 1699; DIN 32645:2008; EPA Method 6010D (2018), 9.3.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import nctdtr, ndtri, stdtrit

from labresults.calculation.calibration import POWERS, fit
from labresults.calculation.errors import NoCurve, NotPhysical, TooFewValues
from labresults.calculation.replicates import summarise
from labresults.calculation.run import Array
from labresults.terms import Curve


@dataclass(frozen=True)
class MethodDetectionLimit:
    """40 CFR 136: limit from spiked samples, from blanks (None where it does not apply), and the greater of the two."""

    from_spikes: float
    from_blanks: float | None
    limit: float


def method_detection_limit(spikes: Sequence[float], blanks: Sequence[float | None]) -> MethodDetectionLimit:
    """Return the method detection limit of 40 CFR 136 Appendix B, Revision 2, section II, in the unit of the values.

    spikes : results of at least seven spiked samples. blanks : results of method blanks, None for "not detected".
    Spikes: t(0.99, n − 1) · s. Blanks: none numeric, does not apply; some, the highest (beyond 100 blanks the 99th
    percentile, rank 0.99 n to the nearest whole number); all, mean + t · s, a negative mean counting as zero.
    Raises TooFewValues for fewer than seven spikes, or blanks that are not none and fewer than seven.
    """
    if len(spikes) < 7 or 0 < len(blanks) < 7:
        raise TooFewValues("40 CFR 136 Appendix B asks for at least seven spiked samples and seven method blanks.")
    from_spikes = t_one_sided(0.99, len(spikes) - 1) * (summarise(spikes).sd or 0.0)
    from_blanks = _from_blanks(blanks)
    return MethodDetectionLimit(from_spikes, from_blanks, max(from_spikes, from_blanks or 0.0))


def _from_blanks(blanks: Sequence[float | None]) -> float | None:
    numeric = sorted(blank for blank in blanks if blank is not None)
    if not numeric:
        return None
    if len(numeric) < len(blanks):
        if len(blanks) <= 100:
            return numeric[-1]
        from_top = len(blanks) - math.floor(len(blanks) * 0.99 + 0.5)
        return numeric[max(len(numeric) - 1 - from_top, 0)]
    found = summarise(numeric)
    return max(found.mean, 0.0) + t_one_sided(0.99, found.count - 1) * (found.sd or 0.0)


def instrument_detection_limit(blanks: Sequence[float]) -> float:
    """Return mean + 3 s of reagent blanks, a negative mean counting as zero (EPA 6010D, 9.3), in their unit.

    Raises TooFewValues for fewer than ten.
    """
    if len(blanks) < 10:
        raise TooFewValues("EPA 6010D, 9.3, asks for ten reagent blanks.")
    found = summarise(blanks)
    return max(found.mean, 0.0) + 3.0 * (found.sd or 0.0)


def adjusted_sd(s0: float, *, replicates: int = 1, blanks_subtracted: int = 0) -> float:
    """Return s0' of a result near zero, in the unit of s0, the standard deviation of single readings there.

    replicates : averaged in a result. blanks_subtracted : averaged in the blank that is taken away; 0 where none is.
    Reference: Eurachem, The fitness for purpose of analytical methods, 2nd edition (2014), section 6.2; from memory.
    """
    share = 1.0 / replicates + (1.0 / blanks_subtracted if blanks_subtracted else 0.0)
    return s0 * math.sqrt(share)


@dataclass(frozen=True)
class Limits:
    """Critical value (is something there?), detection limit (is it found reliably?), quantification limit."""

    critical: float
    detection: float
    quantification: float


def currie_limits(
    sd_zero: float, degrees_of_freedom: float = math.inf, alpha: float = 0.05, beta: float = 0.05
) -> Limits:
    """Return Currie's limits in the unit of sd_zero, the standard deviation of a net result near zero.

    For a paired blank sd_zero is √2 times that of the blank. With few degrees of freedom the critical value takes
    Student's t, and the detection limit the non-central t. The quantification limit is ten times sd_zero.
    Raises NotPhysical for a standard deviation that is not above zero.
    """
    if not sd_zero > 0:
        raise NotPhysical(f"A standard deviation of {sd_zero} gives no limit. Take blanks that differ.")
    if math.isinf(degrees_of_freedom):
        critical = float(ndtri(1.0 - alpha))
        return Limits(critical * sd_zero, (critical + float(ndtri(1.0 - beta))) * sd_zero, 10.0 * sd_zero)
    critical = t_one_sided(1.0 - alpha, degrees_of_freedom)
    return Limits(critical * sd_zero, _non_centrality(critical, degrees_of_freedom, beta) * sd_zero, 10.0 * sd_zero)


def _non_centrality(critical: float, degrees_of_freedom: float, beta: float) -> float:
    """Return delta with P(t'(nu, delta) <= critical) = beta, by halving: the probability falls as delta grows."""
    low, high = 0.0, 100.0
    while high - low > 1e-12 * high:
        middle = (low + high) / 2.0
        if nctdtr(degrees_of_freedom, middle, critical) > beta:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0


def din_32645_limits(
    x: Array, y: Array, alpha: float = 0.01, beta: float = 0.01, k: float = 3.0, measurements: int = 1
) -> Limits:
    """Return the limits of DIN 32645 from an unweighted calibration line, in the unit of x.

    x, y : [point]; blanks belong to the blank method and are left out. alpha, beta : errors of the first and second
    kind. k : reciprocal relative uncertainty at the quantification limit. measurements : of the sample.
    "Nachweisgrenze" is the critical value here, "Erfassungsgrenze" the detection limit, "Bestimmungsgrenze" the last.
    Raises NoCurve when fewer than three points, or a line that does not rise, are given.
    """
    found = fit(x[None, :], y[None, :], np.ones((1, x.size)), POWERS[Curve.LINE])
    slope, s, freedom = float(found.coefficients[0, 1]), float(found.residual_sd[0]), int(found.degrees_of_freedom[0])
    if freedom < 1 or not slope > 0:
        raise NoCurve("DIN 32645 needs a rising line through at least three calibration solutions.")
    centre, sxx = float(x.mean()), float(((x - x.mean()) ** 2).sum())
    share = 1.0 / measurements + 1.0 / x.size

    def half_width(at: float, probability: float) -> float:
        spread = math.sqrt(share + (at - centre) ** 2 / sxx)
        return s / slope * t_one_sided(probability, freedom) * spread

    critical = half_width(0.0, 1.0 - alpha)
    quantification = k * half_width(0.0, 1.0 - alpha / 2.0)
    for _ in range(100):
        quantification = k * half_width(quantification, 1.0 - alpha / 2.0)
    return Limits(critical, critical + half_width(0.0, 1.0 - beta), quantification)


def din_32645_critical_from_blanks(blanks: Sequence[float], slope: float, alpha: float = 0.01, m: int = 1) -> float:
    """Return the critical value of DIN 32645 by its blank method, in the unit of concentration.

    blanks : signals. slope : of the calibration line, signal per concentration. m : measurements of the sample.
    Raises TooFewValues for fewer than two blanks, NotPhysical for a slope that is not above zero.
    """
    if len(blanks) < 2:
        raise TooFewValues("The blank method of DIN 32645 needs blanks to take a standard deviation of.")
    if not slope > 0:
        raise NotPhysical(f"A slope of {slope} gives no limit.")
    found = summarise(blanks)
    factor = t_one_sided(1.0 - alpha, found.count - 1) * math.sqrt(1.0 / m + 1.0 / found.count)
    return (found.sd or 0.0) / slope * factor


def t_one_sided(probability: float, degrees_of_freedom: float) -> float:
    """Return the quantile of Student's t."""
    return float(stdtrit(degrees_of_freedom, probability))
