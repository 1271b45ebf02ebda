"""Mean and standard deviation of replicates.

References: ISO 5725-1:1994 for the words; NIST StRD for the check values of mean and standard deviation.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import fsum, sqrt

from labresults.calculation.errors import TooFewValues


@dataclass(frozen=True)
class Replicates:
    """Mean and standard deviation, in the unit of the values; `sd` is None for a single one."""

    mean: float
    sd: float | None
    count: int

    @property
    def relative_sd_percent(self) -> float | None:
        """100 × s / |mean| [%]; None for a single value or a mean of zero."""
        return None if self.sd is None or self.mean == 0 else 100.0 * self.sd / abs(self.mean)


def summarise(values: Sequence[float]) -> Replicates:
    """Return the mean and the standard deviation (n − 1) of values in one unit, summed without loss.

    Raises TooFewValues when there are none.
    """
    count = len(values)
    if count == 0:
        raise TooFewValues("There are no replicates to take a mean of. Read the position again.")
    mean = fsum(values) / count
    if count == 1:
        return Replicates(mean, None, 1)
    correction = fsum(value - mean for value in values) ** 2 / count  # what the rounding of the mean left over
    square = fsum((value - mean) ** 2 for value in values)
    return Replicates(mean, sqrt(max(square - correction, 0.0) / (count - 1)), count)
