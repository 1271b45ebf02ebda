"""The uncertainty of a bias, from reference materials or from comparisons between laboratories.

Reference: Nordtest TR 537, Handbook for calculation of measurement uncertainty in environmental laboratories (edition
3.1, 2012), sections 5.2 to 5.4; from memory.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from labresults.calculation.errors import TooFewValues


@dataclass(frozen=True)
class Bias:
    """What one material or one round says; all relative, in the same unit.

    bias : mean found less the reference value. u_reference : standard uncertainty of that value. sd, count : of the
    values found; a single value has no sd.
    """

    bias: float
    u_reference: float
    sd: float = 0.0
    count: int = 1


def root_mean_square(values: Sequence[float]) -> float:
    """Return √(mean of squares), in the unit of the values. Raises TooFewValues for none."""
    if not values:
        raise TooFewValues("There is no bias yet: measure a reference material.")
    return math.sqrt(math.fsum(value**2 for value in values) / len(values))


def u_of_bias(found: Sequence[Bias]) -> float:
    """Return √(RMS(bias)² + RMS(s/√n)² + RMS(u_reference)²), in the unit of the biases. Raises TooFewValues for none.

    A bias that is not corrected is carried as uncertainty, whole.
    """
    return math.hypot(
        root_mean_square([each.bias for each in found]),
        root_mean_square([each.sd / math.sqrt(each.count) for each in found]),
        root_mean_square([each.u_reference for each in found]),
    )
