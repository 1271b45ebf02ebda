"""Compare a result with a limit by a stated decision rule, on unrounded values.

Upper limit 0.100 mg/kg, u = 0.010, U = 0.020 (k = 2); after ILAC-G8:09/2019, 4.2, and JCGM 106:2012, 7 and 8:

| result | simple          | guarded by U    | four statements           | guard band, risk 5 % | probability |
|--------|-----------------|-----------------|---------------------------|----------------------|-------------|
| 0.08   | conforms        | conforms        | conforms                  | conforms             | 0.9772      |
| 0.0836 | conforms        | does not conform| conforms, within U        | does not conform     | 0.9495      |
| 0.1    | conforms        | does not conform| conforms, within U        | does not conform     | 0.5         |
| 0.1001 | does not conform| does not conform| does not conform, within U| does not conform     | 0.496       |
| 0.12   | does not conform| does not conform| does not conform, within U| does not conform     | 0.0228      |
| 0.1201 | does not conform| does not conform| does not conform          | does not conform     | 0.0222      |

A result that is only known to lie below a limit of its own (<) conforms when that limit does. Where the comparison
depends on where below it the value lies, it "cannot be decided", and a repeat is due.
"""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from math import erfc, inf, sqrt
from statistics import NormalDist

from labresults.terms import Basis, DecisionRule, LimitSide
from reports.rules.rounding import exact

EVEN_RISK_PERCENT = 50.0
"""Where a probability is printed and no risk was chosen: “conforms” says that it is more likely than not."""


class Statement(StrEnum):
    """What a certificate says beside a limit."""

    CONFORMS = "conforms"
    CONFORMS_WITHIN_U = "conforms, within U"
    DOES_NOT_WITHIN_U = "does not conform, within U"
    DOES_NOT_CONFORM = "does not conform"
    CANNOT_BE_DECIDED = "cannot be decided"


@dataclass(frozen=True)
class Limit:
    """A limit that a client or an authority gave. source: document, edition, date; printed on the certificate."""

    value: float
    unit: str
    side: LimitSide = LimitSide.AT_MOST
    basis: Basis = Basis.AS_RECEIVED
    source: str = ""


@dataclass(frozen=True)
class Rule:
    """A decision rule. risk_percent: the accepted risk of a false statement, where the rule uses one."""

    kind: DecisionRule = DecisionRule.FOUR_STATEMENTS
    risk_percent: float | None = None


@dataclass(frozen=True)
class Found:
    """What is known of the amount, in `unit`: a value, or only a bound on it.

    sign "": `value` is the result; "<": it lies below `value`; ">": it lies above `value`.
    expanded_u: U of the value, or of a value at the bound, with coverage_factor k; None where it is not known.
    """

    value: float | Decimal
    unit: str
    basis: Basis = Basis.AS_RECEIVED
    sign: str = ""
    expanded_u: float | Decimal | None = None
    coverage_factor: float = 2.0

    @property
    def standard_u(self) -> float | None:
        """Return u = U / k."""
        return None if self.expanded_u is None else float(self.expanded_u) / self.coverage_factor


class NotComparable(ValueError):
    """A result and a limit that are not of one unit and basis."""


def compare(found: Found, limit: Limit, rule: Rule) -> Statement:
    """Return the statement of conformity, from unrounded values.

    Raises NotComparable when unit or basis differ: convert first, nothing is converted silently.
    Sources: ILAC-G8:09/2019 4.2; JCGM 106:2012, 8.3; for `<` and `>` the treatment is ours: certain, or undecided.
    """
    if found.unit != limit.unit or found.basis != limit.basis:
        raise NotComparable(
            f"A result in {found.unit}, {found.basis.value}, cannot be compared with a limit in {limit.unit}, "
            f"{limit.basis.value}. Convert the result, or give the limit as the result is reported."
        )
    excess = exact(found.value) - exact(limit.value)
    sign = found.sign
    if limit.side is LimitSide.AT_LEAST:  # the mirror image: what is too little there is too much here
        excess, sign = -excess, {"<": ">", ">": "<", "": ""}[sign]
    guard = guard_band(found, rule)
    if guard is None:
        return Statement.CANNOT_BE_DECIDED
    if sign == "<":
        return _known_below(excess, guard, rule.kind)
    if sign == ">":
        return _known_above(excess, guard, rule.kind)
    return _stated(excess, guard, rule.kind)


def guard_band(found: Found, rule: Rule) -> Decimal | None:
    """Return w, in the unit of the result; None where it needs an uncertainty that is not known.

    w = 0, U, or z u with z of the chosen one-sided risk (JCGM 106:2012, 8.3; normal distribution).
    """
    if rule.kind is DecisionRule.SIMPLE:
        return Decimal(0)
    u = found.standard_u
    if found.expanded_u is None or u is None:
        return None
    if rule.kind in {DecisionRule.GUARDED, DecisionRule.FOUR_STATEMENTS}:
        return exact(found.expanded_u)
    return exact(normal_quantile(rule) * u)


def normal_quantile(rule: Rule) -> float:
    """Return z of the chosen risk: Φ(z) = 1 − risk; 1.645 for 5 % (JCGM 106:2012, table 1)."""
    risk = EVEN_RISK_PERCENT if rule.risk_percent is None else rule.risk_percent
    return abs(NormalDist().inv_cdf(risk / 100))  # of a risk up to one half; from the near tail, where it is exact


def conformity_probability(found: Found, limit: Limit) -> float | None:
    """Return the probability that the amount meets the limit [1]; None for a bound, or without an uncertainty."""
    u = found.standard_u
    if found.sign or u is None:
        return None
    at_most = limit.side is LimitSide.AT_MOST
    return probability(float(found.value), u, -inf if at_most else limit.value, limit.value if at_most else inf)


def probability(value: float, u: float, lower: float = -inf, upper: float = inf) -> float:
    """Return the probability [1] of an amount between two limits, all in one unit: normal around `value`, with `u`.

    Φ((upper − value) / u) − Φ((lower − value) / u). Source: JCGM 106:2012, 7.
    """
    if u == 0:
        return float(lower <= value <= upper)
    return 1 - _beyond((upper - value) / u) - _beyond((value - lower) / u)


def _beyond(z: float) -> float:
    """Return the probability beyond z standard deviations, on one side."""
    return 0.5 * erfc(z / sqrt(2))


def _stated(excess: Decimal, guard: Decimal, rule: DecisionRule) -> Statement:
    """excess: result − upper limit; guard: w."""
    if excess <= -guard:
        return Statement.CONFORMS
    if rule is not DecisionRule.FOUR_STATEMENTS or excess > guard:
        return Statement.DOES_NOT_CONFORM
    return Statement.CONFORMS_WITHIN_U if excess <= 0 else Statement.DOES_NOT_WITHIN_U


def _known_below(excess: Decimal, guard: Decimal, rule: DecisionRule) -> Statement:
    """The result lies below a bound; excess: bound − upper limit."""
    if excess <= -guard:
        return Statement.CONFORMS
    if rule is DecisionRule.FOUR_STATEMENTS and excess <= 0:
        return Statement.CONFORMS_WITHIN_U
    return Statement.CANNOT_BE_DECIDED


def _known_above(excess: Decimal, guard: Decimal, rule: DecisionRule) -> Statement:
    """The result lies above a bound; excess: bound − upper limit."""
    if rule is DecisionRule.FOUR_STATEMENTS:
        if excess >= guard:
            return Statement.DOES_NOT_CONFORM
        return Statement.DOES_NOT_WITHIN_U if excess >= 0 else Statement.CANNOT_BE_DECIDED
    return Statement.DOES_NOT_CONFORM if excess >= -guard else Statement.CANNOT_BE_DECIDED
