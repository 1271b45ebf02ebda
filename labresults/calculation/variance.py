"""How much of a spread comes from where: between runs and within them, between samples and analyses.

References: ISO 5725-2:1994, 7.4 (repeatability and reproducibility); NIST StRD, one-way analysis of variance;
Eurachem/CITAC, Measurement uncertainty arising from sampling (2007), appendix A1, for the balanced duplicate design.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

from labresults.calculation.errors import NotPhysical, TooFewValues

Groups = Sequence[Sequence[float]]


@dataclass(frozen=True)
class OneWay:
    """Sums of squares and degrees of freedom between and within groups, in the unit of the values squared."""

    mean: float
    ss_between: float
    ss_within: float
    df_between: int
    df_within: int
    mean_size: float  # of a group: (N − Σn²/N) / (groups − 1)

    @property
    def ms_between(self) -> float:
        """Mean square between groups."""
        return self.ss_between / self.df_between

    @property
    def ms_within(self) -> float:
        """Mean square within groups."""
        return self.ss_within / self.df_within

    @property
    def f(self) -> float:
        """Between over within [1]."""
        return self.ms_between / self.ms_within

    @property
    def r_squared(self) -> float:
        """Share of the sum of squares that lies between groups [1]."""
        return self.ss_between / (self.ss_between + self.ss_within)

    @property
    def sd_within(self) -> float:
        """Repeatability standard deviation, unit of the values."""
        return math.sqrt(self.ms_within)

    @property
    def sd_between(self) -> float:
        """Standard deviation between groups alone; zero where the groups differ no more than their values do."""
        return math.sqrt(max(self.ms_between - self.ms_within, 0.0) / self.mean_size)

    @property
    def sd_all(self) -> float:
        """Both together: reproducibility where groups are laboratories, intermediate precision where they are runs."""
        return math.hypot(self.sd_within, self.sd_between)


def one_way(groups: Groups) -> OneWay:
    """Return the one-way analysis of variance of at least two groups, not all of a single value.

    groups : [group][value], sizes may differ; empty groups are left out. Raises TooFewValues.
    """
    kept = [list(group) for group in groups if len(group)]
    sizes = [len(group) for group in kept]
    total = sum(sizes)
    if len(kept) < 2 or total <= len(kept):
        raise TooFewValues("It takes at least two groups, and two values in one of them.")
    mean = math.fsum(value for group in kept for value in group) / total
    means = [fmean(group) for group in kept]
    return OneWay(
        mean=mean,
        ss_between=math.fsum(size * (own - mean) ** 2 for size, own in zip(sizes, means, strict=True)),
        ss_within=math.fsum((v - own) ** 2 for group, own in zip(kept, means, strict=True) for v in group),
        df_between=len(kept) - 1,
        df_within=total - len(kept),
        mean_size=(total - sum(size**2 for size in sizes) / total) / (len(kept) - 1),
    )


@dataclass(frozen=True)
class Nested:
    """Standard deviations of a balanced duplicate design, in the unit of the values."""

    mean: float
    sd_analysis: float
    sd_sampling: float
    sd_between_targets: float

    @property
    def sd_measurement(self) -> float:
        """Sampling and analysis together."""
        return math.hypot(self.sd_sampling, self.sd_analysis)

    @property
    def sd_total(self) -> float:
        """All three together."""
        return math.hypot(self.sd_measurement, self.sd_between_targets)


def nested(values: Sequence[Groups]) -> Nested:
    """Return what analysis, sampling and the targets contribute. values : [target][sample][analysis], balanced.

    Raises TooFewValues for fewer than two of any, NotPhysical for a design that is not balanced.
    """
    samples, analyses = len(values[0]) if values else 0, len(values[0][0]) if values and values[0] else 0
    if min(len(values), samples, analyses) < 2:
        raise TooFewValues("It takes two targets, two samples of each, and two analyses of each sample.")
    if any(len(target) != samples or any(len(sample) != analyses for sample in target) for target in values):
        raise NotPhysical("Each target needs as many samples as the others, each sample as many analyses.")
    of_samples = [one_way(target) for target in values]
    of_targets = one_way([[fmean(sample) for sample in target] for target in values])
    ms_analysis = fmean([each.ms_within for each in of_samples])
    ms_sampling = fmean([each.ms_between for each in of_samples])
    ms_targets = of_targets.ms_between * analyses
    return Nested(
        mean=of_targets.mean,
        sd_analysis=math.sqrt(ms_analysis),
        sd_sampling=math.sqrt(max(ms_sampling - ms_analysis, 0.0) / analyses),
        sd_between_targets=math.sqrt(max(ms_targets - ms_sampling, 0.0) / (analyses * samples)),
    )


def sd_of_pairs(differences: Sequence[float]) -> float:
    """Return the standard deviation of one value from differences of duplicates, √(Σd²/2n), in their unit.

    Raises TooFewValues for none.
    """
    if not differences:
        raise TooFewValues("There are no duplicates to take a standard deviation of.")
    return math.sqrt(math.fsum(d * d for d in differences) / (2 * len(differences)))
