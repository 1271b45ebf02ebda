"""Combine and expand uncertainties.

References: JCGM 100:2008 (GUM), 5.1.2, 6.2.1 and G.4.1 (effective degrees of freedom, Welch–Satterthwaite);
M. Thompson, TrAC 30 (2011) 1168, for an uncertainty as a function of the concentration (form from memory).
"""

import math
from collections.abc import Sequence

from scipy.special import ndtri, stdtrit

from labresults.calculation.errors import NotPhysical, TooFewValues


def u_of_concentration(concentration: float, u_floor: float, u_relative: float) -> float:
    """Return u = √(u_floor² + (u_relative · c)²), in the unit of the concentration and of u_floor.

    u_floor : standard uncertainty near zero. u_relative : relative standard uncertainty well above it [1].
    """
    return math.hypot(u_floor, u_relative * concentration)


def combine(contributions: Sequence[float]) -> float:
    """Return the root of the sum of squares of independent contributions, all in one unit, signs of no matter."""
    return math.hypot(*contributions)


def effective_degrees_of_freedom(contributions: Sequence[float], degrees_of_freedom: Sequence[float]) -> float:
    """Return uc⁴ / Σ(uᵢ⁴/νᵢ) (GUM, G.2b); infinite where every contribution is known exactly (νᵢ infinite).

    Raises TooFewValues when the two differ in number, NotPhysical for a νᵢ that is not above zero.
    """
    if len(contributions) != len(degrees_of_freedom) or not contributions:
        raise TooFewValues("Each contribution needs its degrees of freedom: give as many of the one as of the other.")
    if not all(nu > 0 for nu in degrees_of_freedom):
        raise NotPhysical(f"Degrees of freedom are above zero: {list(degrees_of_freedom)}.")
    below = sum(u**4 / nu for u, nu in zip(contributions, degrees_of_freedom, strict=True))
    return math.inf if below == 0 else combine(contributions) ** 4 / below


def coverage_factor(probability: float, degrees_of_freedom: float) -> float:
    """Return k: the two-sided factor of Student's t for a level of confidence, between 0 and 1 (GUM, G.3).

    Degrees of freedom need not be whole: t is interpolated, as G.4.2 allows; infinite gives the normal factor.
    Raises NotPhysical for a probability outside 0 to 1 or degrees of freedom below one.
    """
    if not 0 < probability < 1 or degrees_of_freedom < 1:
        raise NotPhysical(f"No coverage factor for p = {probability} and {degrees_of_freedom} degrees of freedom.")
    tail = (1.0 + probability) / 2.0
    return float(stdtrit(degrees_of_freedom, tail) if math.isfinite(degrees_of_freedom) else ndtri(tail))


def expand(u: float, k: float) -> float:
    """Return the expanded uncertainty U = k · u, in the unit of u. Raises NotPhysical for a k that is not above 0."""
    if not k > 0:
        raise NotPhysical(f"A coverage factor of {k} cannot be.")
    return k * u
