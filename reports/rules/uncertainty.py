"""How an expanded uncertainty is printed, and the result beside it.

| result   | U       | rule                    | printed        | source                         |
|----------|---------|-------------------------|----------------|--------------------------------|
| 10.05762 | 0.027   | two figures             | 10.058 ± 0.027 | GUM (JCGM 100:2008) 7.2.6      |
|          | 28.05   | two figures             | 28             | GUM 7.2.6                      |
|          | 10.47   | two figures, upwards    | 11             | GUM 7.2.6                      |
| 0.827    | 0.119   | Particle Data Group     | 0.83 ± 0.12    | Review of Particle Physics, 5.3|
| 0.827    | 0.367   | Particle Data Group     | 0.8 ± 0.4      | as above                       |

No single rule gives both 28.05 -> 28 and 10.47 -> 11, both of which the GUM shows: upwards is a choice of the rule set.
"""

from decimal import ROUND_CEILING, Decimal
from enum import StrEnum

from labresults.terms import Tie
from reports.rules.rounding import decimals_of, exact, quantize, round_decimals, round_significant


class UncertaintyRule(StrEnum):
    """How many figures an uncertainty is given."""

    TWO_FIGURES = "two figures"
    TWO_FIGURES_UP = "two figures, upwards"
    PARTICLE_DATA_GROUP = "Particle Data Group"


def round_uncertainty(expanded_u: float | Decimal, rule: UncertaintyRule, tie: Tie) -> Decimal:
    """Return U for print, in its own unit; zero stays 0.

    Raises ValueError when U is negative or not finite. Sources: GUM 7.2.6; Review of Particle Physics, 5.3: of the
    three leading digits 100 to 354 keep two figures, 355 to 949 one, 950 to 999 become 1000 and keep two.
    """
    number = exact(expanded_u)
    if number < 0:
        raise ValueError(f"An uncertainty of {number} is below zero. Look at the calculation that gave it.")
    if not number:
        return Decimal(0)
    if rule is UncertaintyRule.TWO_FIGURES_UP:
        raised = quantize(number, 1 - number.adjusted(), ROUND_CEILING)
        return quantize(raised, 1 - raised.adjusted(), ROUND_CEILING)
    if rule is UncertaintyRule.PARTICLE_DATA_GROUP:
        return _particle_data_group(number, tie)
    return round_significant(number, 2, tie)


def round_beside(value: float | Decimal, printed_u: Decimal, tie: Tie) -> Decimal:
    """Return `value` rounded once to the place of the printed U (GUM 7.2.6)."""
    exponent = int(printed_u.as_tuple().exponent)
    return round_decimals(value, decimals_of(printed_u) if exponent <= 0 else -exponent, tie)


def _particle_data_group(number: Decimal, tie: Tie) -> Decimal:
    leading = number.scaleb(2 - number.adjusted())  # from 100 up to 1000, not rounded before it decides
    if leading >= 950:
        return Decimal("1.0").scaleb(number.adjusted() + 1)
    return round_significant(number, 2 if leading < 355 else 1, tie)
