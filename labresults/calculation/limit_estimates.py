"""Limits from the laboratory's own values, each with which of the three quantities it is and how it was found.

The procedures themselves are in `detection`; the sources stand there.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from labresults.calculation.detection import (
    adjusted_sd,
    din_32645_limits,
    instrument_detection_limit,
    method_detection_limit,
    t_one_sided,
)
from labresults.calculation.errors import NotPhysical, TooFewValues
from labresults.calculation.replicates import summarise
from labresults.terms import LimitQuantity

FEWEST_BLANKS = 10
"""Blanks that 3 s and 10 s are taken of (common practice, no source)."""


@dataclass(frozen=True)
class Estimated:
    """One limit in the unit of the values, which of the three it is, and how it was found."""

    quantity: LimitQuantity
    value: float
    words: str


def from_blanks(blanks: Sequence[float], unit: str, *, blanks_subtracted: int = 0) -> tuple[Estimated, ...]:
    """Return three and ten standard deviations of a result near zero, in the unit of the blanks.

    blanks : concentrations, signed, at least ten. blanks_subtracted : how many are averaged in the method blank that
    the method takes away, whose own spread is then in each result; 0 where it takes none.
    References: L. A. Currie, IUPAC Recommendations 1995, Pure Appl. Chem. 67, 1699, for ten s
    as the quantification limit; three s is common practice, no source.
    Raises TooFewValues for fewer than ten, NotPhysical where they do not differ.
    """
    if len(blanks) < FEWEST_BLANKS:
        raise TooFewValues(f"{len(blanks)} blanks were chosen. Choose at least {FEWEST_BLANKS}.")
    found = summarise(blanks)
    s = adjusted_sd(_spread(found.sd), blanks_subtracted=blanks_subtracted)
    said = f"s = {s:.4g} {unit} from {found.count} blanks, mean {found.mean:.4g} {unit}"
    if blanks_subtracted:
        said += f", with the spread of the {blanks_subtracted} that is subtracted (Eurachem 2014, 6.2, from memory)"
    return (
        Estimated(LimitQuantity.DETECTION, 3.0 * s, f"3 × s; {said} (common practice, no source)."),
        Estimated(LimitQuantity.QUANTIFICATION, 10.0 * s, f"10 × s; {said} (Currie, IUPAC 1995)."),
    )


def from_spiked_and_blanks(spiked: Sequence[float], blanks: Sequence[float | None], unit: str) -> tuple[Estimated, ...]:
    """Return the limit of 40 CFR 136 Appendix B, Revision 2, from spiked samples and method blanks, in their unit.

    What that rule calls the method detection limit is the result from which on something is there, with 99 %
    confidence: a critical value in Currie's words. Raises TooFewValues as `method_detection_limit` does.
    """
    found = method_detection_limit(spiked, blanks)
    if not found.limit > 0:
        raise NotPhysical("The values do not differ: they give no limit. Choose values that were read on several days.")
    t = t_one_sided(0.99, len(spiked) - 1)
    of_blanks = (
        "no method blanks" if found.from_blanks is None else f"from method blanks {found.from_blanks:.4g} {unit}"
    )
    words = (
        f"The greater of two: from {len(spiked)} spiked samples {found.from_spikes:.4g} {unit} (t = {t:.3f}),"
        f" {of_blanks} ({len(blanks)} of them). 40 CFR Part 136 Appendix B, Revision 2 (2017), section II; a critical"
        " value, though the rule calls it a detection limit."
    )
    return (Estimated(LimitQuantity.CRITICAL, found.limit, words),)


def from_reagent_blanks(blanks: Sequence[float], unit: str) -> tuple[Estimated, ...]:
    """Return the instrument detection limit of EPA Method 6010D (2018), 9.3, in the unit of the blanks.

    Raises TooFewValues for fewer than ten, NotPhysical where it is not above zero.
    """
    value = instrument_detection_limit(blanks)
    if not value > 0:
        raise NotPhysical("The blanks do not differ: they give no limit. Choose blanks that were read one by one.")
    found = summarise(blanks)
    words = (
        f"Mean {found.mean:.4g} {unit} (a negative one counts as zero) and 3 × s = {3 * _spread(found.sd):.4g} {unit}"
        f" of {found.count} reagent blanks. EPA Method 6010D (2018), 9.3: of the instrument, not of the whole method."
    )
    return (Estimated(LimitQuantity.DETECTION, value, words),)


def from_calibration(x: Sequence[float], y: Sequence[float], unit: str) -> tuple[Estimated, ...]:
    """Return all three limits of DIN 32645 from the points of a calibration line without its blank, in the unit of x.

    x, y : [point], concentrations above zero and signals. Raises NoCurve as `din_32645_limits` does.
    """
    found = din_32645_limits(np.array(x, dtype=np.float64), np.array(y, dtype=np.float64))
    said = f"unweighted line through {len(x)} points, {min(x):g} to {max(x):g} {unit}; alpha = beta = 0.01"
    source = "DIN 32645:2008, calibration method"
    return (
        Estimated(LimitQuantity.CRITICAL, found.critical, f"“Nachweisgrenze”; {said}. {source}."),
        Estimated(LimitQuantity.DETECTION, found.detection, f"“Erfassungsgrenze”; {said}. {source}."),
        Estimated(LimitQuantity.QUANTIFICATION, found.quantification, f"“Bestimmungsgrenze”, k = 3; {said}. {source}."),
    )


def _spread(sd: float | None) -> float:
    if not sd:
        raise NotPhysical("The blanks do not differ: they give no limit. Choose blanks that were read on several days.")
    return sd
