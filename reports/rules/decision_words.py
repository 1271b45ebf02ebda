"""A decision rule in words, as a certificate states it (ISO/IEC 17025:2017, 7.8.6.2 c): compared how, w, which risk."""

from math import floor, log10
from statistics import NormalDist

from labresults.terms import DecisionRule
from reports.rules.conformity import EVEN_RISK_PERCENT, Rule, normal_quantile

USUAL_FACTOR = 2.0
MOST_DECIMALS = 3

_USUAL_RISK = "2.5"
"""With k = 2 the risk on one side is 2.3 %, and it is common to say at most 2.5 % (ILAC-G8:09/2019, 4.2)."""

_WORDS = {
    DecisionRule.SIMPLE: (
        "simple acceptance. The unrounded value is compared with the limit itself, without a guard band (w = 0); near "
        "the limit, the risk of a false statement reaches 50 %."
    ),
    DecisionRule.GUARDED: (
        "guarded acceptance. The unrounded value must keep the guard band w = U (k = {k}{about}) to the limit: the "
        "risk that “conforms” is wrong is at most {risk} %. “Does not conform” says that the guard band is not kept."
    ),
    DecisionRule.FOUR_STATEMENTS: (
        "the unrounded value is compared with the limit itself, and the expanded uncertainty U (k = {k}{about}) says "
        "how near it lies. “Conforms”: the limit is met even by the far end of value ± U (guard band w = U); the risk "
        "that this is wrong is at most {risk} %. “Does not conform”: it is missed even by the near end; the same risk. "
        "“Conforms, within U” and “does not conform, within U”: the limit lies inside value ± U, and the risk may "
        "reach 50 %."
    ),
    DecisionRule.BY_RISK: (
        "guarded acceptance for a risk of {chosen:g} %. The unrounded value must keep the guard band w = {z} u to the "
        "limit, with u = U / {k}, one-sided, taken as normally distributed (JCGM 106:2012, 8.3): the risk that "
        "“conforms” is wrong is at most {chosen:g} %. “Does not conform” says that the guard band is not kept."
    ),
    DecisionRule.PROBABILITY: (
        "probability of conformity. The probability beside a statement is that of the limit being met, given the "
        "unrounded value and u = U / {k}, taken as normally distributed (JCGM 106:2012, 7). “Conforms” is said from "
        "{at_least:g} % on (guard band w = {z} u). Of a result given as “<” or “>” no probability is known."
    ),
}


def level_in_words(coverage_factor: float) -> str:
    """Return how many of all values U covers with this factor: “about 95 %” with k = 2, else as the normal distribution
    has it, with the decimals that tell it from 100 %; "" where there are more than three.

    Source: JCGM 100:2008 (GUM), table G.1 (from memory).
    """
    if coverage_factor == USUAL_FACTOR:
        return "about 95 %"
    beyond_percent = 200 * NormalDist().cdf(-coverage_factor)
    decimals = max(0, -floor(log10(beyond_percent))) if beyond_percent > 0 else MOST_DECIMALS + 1
    return f"{100 - beyond_percent:.{decimals}f} % if normally distributed" if decimals <= MOST_DECIMALS else ""


def rule_text(rule: Rule, coverage_factor: float) -> str:
    """Return a decision rule in words, for results whose U has this coverage factor."""
    chosen = EVEN_RISK_PERCENT if rule.risk_percent is None else rule.risk_percent
    usual = coverage_factor == USUAL_FACTOR
    return _WORDS[rule.kind].format(
        k=f"{coverage_factor:g}",
        about=", about 95 %" if usual else "",
        risk=_USUAL_RISK if usual else f"{100 * NormalDist().cdf(-coverage_factor):.2g}",
        chosen=chosen,
        at_least=100 - chosen,
        z=f"{normal_quantile(rule):.3g}",
    )
