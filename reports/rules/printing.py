"""One result in, the strings that are printed of it out. The only place where a result meets its rule set.

Examples stand in ruleset.py. With detection limit 0.2, quantification limit 0.6, top of the range 500 mg/kg:

| carried | printed | number | sign | limit | because                                                   |
|---------|---------|--------|------|-------|-----------------------------------------------------------|
| 0.34    | 0.3     | 0.3    |      |       | one decimal: no finer than the detection limit            |
| 0.19    | <0.2    |        | <    | 0.2   | below the detection limit                                 |
| none    | >500    |        | >    | 500   | above the range                                           |
| none    | words   |        |      |       | in words                                                  |

Where a rule set has words for what was not found (“n.d.”), they stand instead of `<0.2`; sign and limit stay with the
value for programs, and for the comparison with limits.
"""

from dataclasses import dataclass, replace
from decimal import Decimal

from labresults.terms import Mark
from reports.rules.censoring import (
    Below,
    Decision,
    Limits,
    decide,
    figures_of_limit,
    printing_limit,
    round_limit,
    round_limit_above,
    round_limit_below,
)
from reports.rules.rounding import (
    FIGURES_THAT_MEAN,
    NO_BREAK_SPACE,
    decimals_of,
    exact,
    round_decimals,
    round_for_report,
    round_significant,
    text,
)
from reports.rules.ruleset import RuleSet, Switch, in_words
from reports.rules.uncertainty import UncertaintyRule, round_uncertainty


@dataclass(frozen=True)
class Measured:
    """One result, unrounded, everything in `unit`. value None: over range, or not to be had (`why_no_value`).

    coverage_factor: k of `expanded_u`.
    """

    value: float | None
    unit: str
    limits: Limits
    expanded_u: float | None = None
    marks: tuple[Mark, ...] = ()
    why_no_value: str | None = None
    coverage_factor: float = 2.0


@dataclass(frozen=True)
class PrintedValue:
    """What is printed of one result.

    printed: the whole string, with the unit when it is not the column's; number: decimal text behind a printed number,
    for programs; limit: decimal text of what follows the sign; decimals: figures after the point; unit: what the number
    is in; marks: decided on the unrounded value; text_rule: why it looks as it does; u: printed expanded uncertainty.
    """

    printed: str
    number: str | None
    sign: str
    limit: str | None
    decimals: int
    marks: tuple[Mark, ...]
    unit: str
    text_rule: str
    u: str = ""


def print_result(
    value: float | None,
    unit: str,
    detection_limit: float | None,
    quantification_limit: float | None,
    upper_limit: float | None,
    reporting_limit: float | None,
    rule_set: RuleSet,
    marks: tuple[Mark, ...] = (),
    why_no_value: str | None = None,
    *,
    expanded_u: float | None = None,
    extra_figures: int = 0,
) -> PrintedValue:
    """Print one result; all numbers unrounded and in `unit`. A limit of None says that there is none.

    Raises ValueError when a number is not finite.
    """
    limits = Limits(detection_limit or 0.0, quantification_limit or 0.0, upper_limit, reporting_limit)
    return print_measured(Measured(value, unit, limits, expanded_u, marks, why_no_value), rule_set, extra_figures)


def print_measured(measured: Measured, rule_set: RuleSet, extra_figures: int = 0) -> PrintedValue:
    """Print one result by a rule set. extra_figures: more figures than the rule has, where its print would mislead.

    The sign and the marks never depend on the rounding. Raises ValueError when a number is not finite.
    """
    decision, words = decide_print(measured, rule_set)
    if decision.sign is None:
        return _words(measured, decision)
    if decision.limit is None:
        return _number(measured, decision, rule_set, extra_figures)
    printed = _beside_limit(measured, decision, rule_set, extra_figures)
    return replace(printed, printed=words, text_rule=f"{printed.text_rule}: in words") if words else printed


def decide_print(measured: Measured, rule_set: RuleSet) -> tuple[Decision, str]:
    """Return what is printed of a result, and the words that stand instead of sign and limit, "" for none.

    Raises ValueError when a number is not finite.
    """
    decision = decide(measured.value, measured.limits, rule_set.below, measured.marks)
    if decision.sign == ">":
        return decision, rule_set.words_above
    if Mark.BELOW_DETECTION in decision.marks:
        by_detection = rule_set.not_found_by_detection_limit or rule_set.words_not_detected
        limit = measured.limits.detection if by_detection else decision.limit
        return replace(decision, sign="<", limit=limit), rule_set.words_not_detected
    if Mark.BELOW_QUANTIFICATION in decision.marks and rule_set.words_between:
        return replace(decision, sign="<", limit=measured.limits.quantification), rule_set.words_between
    return decision, ""


def print_limit(limit: float | None, rule_set: RuleSet) -> str:
    """Return a detection, quantification or reporting limit as a column head shows it; "" for none."""
    return text(_rounded_limit(exact(limit), rule_set)) if limit else ""


def _words(measured: Measured, decision: Decision) -> PrintedValue:
    otherwise = Mark.OVER_RANGE if Mark.OVER_RANGE in decision.marks else Mark.NO_VALUE
    words = measured.why_no_value or otherwise.value
    return PrintedValue(words, None, "", None, 0, decision.marks, measured.unit, "in words")


def _beside_limit(measured: Measured, decision: Decision, rule_set: RuleSet, extra: int) -> PrintedValue:
    limit = decision.limit
    if limit is None or decision.sign is None:
        raise ValueError("A sign without a limit cannot be printed. Give the limit.")
    if decision.sign == "<":
        value = measured.value if measured.value is not None else limit
        figures = _limit_figures(exact(limit), rule_set, extra)
        rounded = round_limit_above(value, limit, figures, rule_set.tie, least_figures=min(2, rule_set.edition))
        why = f"below the {_name_of(limit, measured.limits, rule_set.below)}"
    else:
        rounded = round_limit_below(limit, rule_set.figures_of(exact(limit)) + extra)
        why = "above the range"
    printed = decision.sign + text(rounded)
    return PrintedValue(
        printed, None, decision.sign, text(rounded, ""), decimals_of(rounded), decision.marks, measured.unit, why
    )


def _number(measured: Measured, decision: Decision, rule_set: RuleSet, extra: int) -> PrintedValue:
    switch = rule_set.switch_for(measured.value, measured.unit)
    number, why = _rounded(measured, rule_set, switch, extra)
    unit = switch.to_unit if switch else measured.unit
    printed = text(number) + (NO_BREAK_SPACE + unit if switch else "")
    u = _uncertainty(measured, rule_set, switch) if rule_set.uncertainty_shown else None
    return PrintedValue(
        printed=printed,
        number=text(number, ""),
        sign="",
        limit=None,
        decimals=decimals_of(number),
        marks=decision.marks,
        unit=unit,
        text_rule=why,
        u="" if u is None else text(u),
    )


def _rounded(measured: Measured, rule_set: RuleSet, switch: Switch | None, extra: int) -> tuple[Decimal, str]:
    """Return the number, rounded once, and the rule that decided its place in words."""
    value = _switched(measured.value, switch)
    threshold = _rounded_limit(_switched(printing_limit(measured.limits, rule_set.below), switch), rule_set)
    name = _limit_name(measured.limits, rule_set.below)
    finest, why = _finest(rule_set, switch.to_unit if switch else measured.unit, threshold, name)
    figures = rule_set.figures_of(value)
    u = _uncertainty(measured, rule_set, switch)
    if rule_set.uncertainty_decides and u:
        beside = round_decimals(value, -int(u.as_tuple().exponent) + extra, rule_set.tie)
        if beside and (beside >= threshold or not threshold):
            return beside, "to the last figure of the uncertainty"
    if threshold and round_for_report(value, figures, finest, rule_set.tie) < threshold:
        finest, why = decimals_of(threshold), f"no finer than the {name}"  # the unit's places would hide the value
    number = round_for_report(value, figures + extra, None if finest is None else finest + extra, rule_set.tie)
    by_figures = round_for_report(value, figures + extra, None, rule_set.tie)
    if decimals_of(number) == decimals_of(by_figures):
        return number, in_words(figures + extra, "figure")
    return number, f"{in_words(decimals_of(number), 'decimal')}: {why}"


def _rounded_limit(limit: Decimal, rule_set: RuleSet) -> Decimal:
    return round_limit(limit, _limit_figures(limit, rule_set), rule_set.tie)


def _limit_figures(limit: Decimal, rule_set: RuleSet, extra: int = 0) -> int:
    """Return the figures of a printed limit: those of a result where results do not follow the limit's places."""
    figures = rule_set.figures_of(limit)
    if not rule_set.no_finer_than_detection_limit:
        return figures + extra
    if extra:  # more than all that the rule allows, so that what was hidden shows
        return max(rule_set.limit_figures, min(figures, limit.adjusted() + 1)) + extra
    return figures_of_limit(limit, rule_set.limit_figures, figures)


def _finest(rule_set: RuleSet, unit: str, threshold: Decimal, name: str) -> tuple[int | None, str]:
    """Return the places that bound a number, and whose they are: of the printed limit `name`, or of the unit."""
    of_unit = rule_set.finest(unit)
    of_limit = decimals_of(threshold) if rule_set.no_finer_than_detection_limit and threshold else None
    if of_limit is not None and (of_unit is None or of_limit <= of_unit):
        return of_limit, f"no finer than the {name}"
    return of_unit, f"the finest for {unit}"


def _limit_name(limits: Limits, below: Below) -> str:
    """Return what the limit is called that decides: the detection limit where it is the higher, or the only one."""
    return Below.DETECTION_LIMIT.value if printing_limit(limits, below) == limits.detection else below.value


def _name_of(limit: float, limits: Limits, below: Below) -> str:
    """Return what the limit after `<` is called, which may be another than the one a number must reach."""
    if limit == printing_limit(limits, below):
        return _limit_name(limits, below)
    return Below.DETECTION_LIMIT.value if limit == limits.detection else Below.QUANTIFICATION_LIMIT.value


def _uncertainty(measured: Measured, rule_set: RuleSet, switch: Switch | None) -> Decimal | None:
    if measured.expanded_u is None:
        return None
    u = _switched(measured.expanded_u, switch)
    if rule_set.edition > 1 and rule_set.uncertainty is UncertaintyRule.TWO_FIGURES_UP:
        u = round_significant(u, FIGURES_THAT_MEAN, rule_set.tie)  # 0.1 + 0.2 is 0.30, and not above it
    return round_uncertainty(u, rule_set.uncertainty, rule_set.tie)


def _switched(number: float | None, switch: Switch | None) -> Decimal:
    """Return a number in the unit that is printed, not rounded."""
    if number is None:
        raise ValueError("There is no number to print. Say why in words.")
    return exact(number) / switch.divide_by if switch else exact(number)
