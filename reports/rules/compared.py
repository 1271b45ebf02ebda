"""Print a result beside its statement of conformity, so that the two agree or a footnote says why they do not.

The print may contradict the statement: 250.4 is above 250 and prints as 250. Then one more figure is printed, and a
footnote where that does not help.

| probability | statement, risk 5 % | printed            | because                                           |
|-------------|---------------------|--------------------|---------------------------------------------------|
| 0.9772      | conforms            | 97.7 %             | nearest                                           |
| 0.94996     | does not conform    | 94.9 %             | down: 95.0 % would read as conforming             |
| 0.99999     | conforms            | more than 99.9 %   | nothing is certain                                |
| 0.0002      | does not conform    | less than 0.1 %    |                                                   |
"""

from dataclasses import dataclass, replace
from decimal import ROUND_FLOOR, Decimal

from labresults.terms import Basis, DecisionRule, Tie
from reports.rules.conformity import Found, Limit, Rule, Statement, compare, conformity_probability
from reports.rules.printing import Measured, PrintedValue, decide_print, print_measured
from reports.rules.rounding import NO_BREAK_SPACE, decimals_of, exact, quantize, round_decimals, text
from reports.rules.ruleset import RuleSet


@dataclass(frozen=True)
class Compared:
    """A printed result with its statement. footnote: "" unless the printed number alone would say something else.

    probability: of conformity, as it is printed, where the rule gives one; else "".
    """

    printed: PrintedValue
    statement: Statement
    footnote: str = ""
    probability: str = ""

    @property
    def words(self) -> str:
        """The statement with its probability: "conforms, probability 97.7 %"."""
        return f"{self.statement.value}, probability {self.probability}" if self.probability else self.statement.value


def print_contradicts(printed: Found, limit: Limit, rule: Rule, statement: Statement) -> bool:
    """Tell whether a reader who compares the printed number (with its U) comes to another statement.

    printed: number, sign and U as printed, in the limit's unit; U unrounded where none is printed.
    """
    return compare(printed, limit, rule) is not statement


def print_compared(
    measured: Measured,
    basis: Basis,
    limit: Limit,
    rule: Rule,
    rule_set: RuleSet,
) -> Compared:
    """Print a result beside its statement of conformity so that the two agree, or a footnote says why they do not.

    The uncertainty is printed even where the rule set leaves it out (ISO/IEC 17025:2017, 7.8.3.1 c). A result in words
    cannot be decided. Raises NotComparable as `compare` does, ValueError for numbers not finite.
    """
    rule_set = rule_set if rule_set.uncertainty_shown else replace(rule_set, uncertainty_shown=True)
    printed = print_measured(measured, rule_set)
    found = known_of(measured, basis, rule_set)
    if found is None:
        return Compared(printed, Statement.CANNOT_BE_DECIDED)
    statement = compare(found, limit, rule)
    probability = printed_probability(found, limit, rule, statement)
    if not print_contradicts(as_read(printed, measured, found, rule_set), limit, rule, statement):
        return Compared(printed, statement, probability=probability)
    finer = print_measured(measured, rule_set, extra_figures=1)
    if not print_contradicts(as_read(finer, measured, found, rule_set), limit, rule, statement):
        finer = replace(finer, text_rule="one more figure, so that it agrees with the statement")
        return Compared(finer, statement, probability=probability)
    footnote = by_print_alone(compare(as_read(printed, measured, found, rule_set), limit, rule))
    return Compared(printed, statement, footnote, probability)


def known_of(measured: Measured, basis: Basis, rule_set: RuleSet) -> Found | None:
    """Return what the unrounded result says of the amount; a result printed as `<` is known to its limit only."""
    decision, _ = decide_print(measured, rule_set)
    known = measured.value if decision.limit is None else decision.limit
    if decision.sign is None or known is None:
        return None
    return Found(known, measured.unit, basis, decision.sign, measured.expanded_u, measured.coverage_factor)


def probability_text(probability: float, conforms: bool, decimals: int = 1) -> str:
    """Return a probability [1] in %: never 0 or 100, and never on the other side of what was stated.

    decimals: at least those of the accepted risk, or 97.44 % above 97.43 % would be printed below it.
    """
    percent = exact(probability) * 100
    rounded = round_decimals(percent, decimals, Tie.HALF_EVEN) if conforms else quantize(percent, decimals, ROUND_FLOOR)
    least = Decimal(1).scaleb(-decimals)
    if rounded >= 100:
        return f"more than {text(100 - least)}{NO_BREAK_SPACE}%"
    return f"{text(rounded)}{NO_BREAK_SPACE}%" if rounded > 0 else f"less than {text(least)}{NO_BREAK_SPACE}%"


def printed_probability(found: Found, limit: Limit, rule: Rule, statement: Statement) -> str:
    """Return the probability of conformity as it is printed, where the rule gives one; "" otherwise."""
    probability = conformity_probability(found, limit) if rule.kind is DecisionRule.PROBABILITY else None
    if probability is None:
        return ""
    decimals = max(1, decimals_of(exact(rule.risk_percent or 0.0)))
    return probability_text(probability, statement is Statement.CONFORMS, decimals)


def as_read(printed: PrintedValue, measured: Measured, found: Found, rule_set: RuleSet) -> Found:
    """Return what the printed strings say, in the unit of the result."""
    switch = rule_set.switch_for(measured.value, measured.unit) if printed.unit != measured.unit else None
    factor = switch.divide_by if switch else Decimal(1)
    value = Decimal(printed.number or printed.limit or "NaN") * factor
    u = Decimal(printed.u.replace(NO_BREAK_SPACE, "")) * factor if printed.u else found.expanded_u
    return replace(found, value=value, expanded_u=u)


def by_print_alone(statement: Statement) -> str:
    """Return the footnote of a result whose printed figures alone would give this statement, and not its own."""
    return f"Compared before rounding. By the printed figures alone it would read “{statement.value}”."
