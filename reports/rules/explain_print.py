"""From the carried value to the printed string, step by step, with this result's own numbers.

Detection limit 0.01, quantification limit 0.03, three figures, no finer than the detection limit; 0.138604 g/t:

| step            | words                                                   | gives      |
|-----------------|---------------------------------------------------------|------------|
| value           | as it is carried, not rounded                           | 0.138604   |
| limit           | at or above the detection limit of 0.01: a number       | 0.138604   |
| figures         | three figures                                           | 0.139      |
| place           | two decimals: no finer than the detection limit         | 0.14       |
| printed         | two decimals: no finer than the detection limit         | 0.14       |
"""

from dataclasses import dataclass
from decimal import Decimal

from reports.rules.censoring import Decision, printing_limit
from reports.rules.printing import Measured, PrintedValue, decide_print, print_measured
from reports.rules.rounding import exact, round_for_report, text
from reports.rules.ruleset import RuleSet, Switch, in_words
from reports.rules.uncertainty import UncertaintyRule


@dataclass(frozen=True)
class PrintStep:
    """One step: its name, the rule in words with this result's numbers, and what it gives."""

    name: str
    words: str
    gives: str


def explain_print(measured: Measured, rule_set: RuleSet) -> tuple[PrintStep, ...]:
    """Return the steps from an unrounded result to what `print_measured` prints, which is the last step's string.

    Raises ValueError when a number is not finite.
    """
    printed = print_measured(measured, rule_set)
    decision, _ = decide_print(measured, rule_set)
    steps = [_carried(measured), PrintStep("limit", _limit_words(measured, decision, rule_set), decision.sign or "")]
    if printed.number is not None and measured.value is not None:
        steps += _number_steps(measured, printed, rule_set)
    return (*steps, PrintStep("printed", printed.text_rule, printed.printed))


def _carried(measured: Measured) -> PrintStep:
    if measured.value is None:
        return PrintStep("value", "there is none", measured.why_no_value or "")
    return PrintStep("value", "as it is carried, not rounded", f"{measured.value!r} {measured.unit}")


def _limit_words(measured: Measured, decision: Decision, rule_set: RuleSet) -> str:
    if decision.sign is None:
        return "no limit decides: words are printed"
    if decision.limit is not None:
        side = "below" if decision.sign == "<" else "above"
        return f"{side} {decision.limit!r} {measured.unit}: {', '.join(decision.marks) or rule_set.below}"
    threshold = printing_limit(measured.limits, rule_set.below)
    marks = f"; {', '.join(decision.marks)}" if decision.marks else ""
    if not threshold:
        return f"the method has no {rule_set.below}: a number{marks}"
    return f"at or above the {rule_set.below}, {threshold!r} {measured.unit}: a number{marks}"


def _number_steps(measured: Measured, printed: PrintedValue, rule_set: RuleSet) -> list[PrintStep]:
    steps = []
    switch = rule_set.switch_for(measured.value, measured.unit)
    number = exact(measured.value or 0.0)
    if switch:
        number /= switch.divide_by
        steps.append(PrintStep("unit", _switch_words(switch), f"{text(number)} {switch.to_unit}"))
    figures = rule_set.figures_of(number)
    by_figures = round_for_report(number, figures, None, rule_set.tie)
    steps.append(PrintStep("figures", f"{in_words(figures, 'figure')}, {rule_set.tie}", text(by_figures)))
    if printed.number != text(by_figures, ""):
        steps.append(PrintStep("place", printed.text_rule, text(Decimal(printed.number or "0"))))
    if printed.u:
        steps.append(PrintStep("uncertainty", _u_words(measured, rule_set.uncertainty), printed.u))
    return steps


def _switch_words(switch: Switch) -> str:
    return f"from {text(switch.at_least)} {switch.unit} on: divided by {text(switch.divide_by)}"


def _u_words(measured: Measured, rule: UncertaintyRule) -> str:
    return f"U = {measured.expanded_u!r} {measured.unit} (k = {measured.coverage_factor:g}), {rule}"
