"""A rule set as it is typed on its page: plain text in, a rule set out, with words for what cannot be."""

from collections.abc import Iterator, Mapping
from decimal import Decimal, InvalidOperation
from typing import Any

from labresults.acts import BadInput
from labresults.terms import Basis, DecisionRule, Tie
from reports.rules.censoring import Below
from reports.rules.qualifiers import EPA_CODES
from reports.rules.ruleset import BadRuleSet, RuleSet, Size, Switch
from reports.rules.uncertainty import UncertaintyRule

MOST_FIGURES = 12
"""More than any result has."""

CHOICES = {
    "tie": [(tie.value, tie.value) for tie in Tie],
    "below": [(below.value, f"the {below}") for below in Below],
    "uncertainty": [(rule.value, rule.value) for rule in UncertaintyRule],
    "basis": [("", "as each request asks"), *((basis.value, basis.value) for basis in Basis)],
    "decision_rule": [(rule.value, rule.value) for rule in DecisionRule],
    "qualifiers": [("letters", "letters, explained one by one"), ("EPA", "EPA codes: U, J, J+, UJ"), ("", "as now")],
}
"""Words to choose from, by setting."""


def typed(rule_set: RuleSet) -> dict[str, Any]:
    """Return a rule set as its form shows it."""
    codes = {(): "letters", EPA_CODES: "EPA"}
    return {
        "figures": rule_set.figures,
        "figures_by_size": "\n".join(f"{size.at_least:f}: {size.figures}" for size in rule_set.figures_by_size),
        "limit_figures": rule_set.limit_figures,
        "no_finer_than_detection_limit": rule_set.no_finer_than_detection_limit,
        "finest_decimals": "\n".join(f"{unit}: {places}" for unit, places in rule_set.finest_decimals),
        "tie": rule_set.tie.value,
        "below": rule_set.below.value,
        "not_found_by_detection_limit": rule_set.not_found_by_detection_limit,
        "words_not_detected": rule_set.words_not_detected,
        "words_between": rule_set.words_between,
        "words_above": rule_set.words_above,
        "switches": "\n".join(f"{s.unit}: {s.at_least:f}: {s.to_unit}: {s.divide_by:f}" for s in rule_set.switches),
        "forms": "\n".join(f"{element}: {form}" for element, form in rule_set.forms),
        "basis": rule_set.basis.value if rule_set.basis else "",
        "uncertainty": rule_set.uncertainty.value,
        "uncertainty_decides": rule_set.uncertainty_decides,
        "uncertainty_shown": rule_set.uncertainty_shown,
        "qualifiers": codes.get(rule_set.codes, ""),
        "decision_rule": rule_set.decision_rule.value,
        "risk_percent": rule_set.risk_percent,
    }


def drafted(given: Mapping[str, Any], base: RuleSet, name: str, version: int) -> RuleSet:
    """Return the rule set that was typed. base: keeps its codes where they stay as now. Raises BadInput in words."""
    codes = {"letters": (), "EPA": EPA_CODES}.get(given["qualifiers"], base.codes)
    plain = ("figures", "limit_figures", "no_finer_than_detection_limit", "not_found_by_detection_limit")
    words = ("words_not_detected", "words_between", "words_above", "uncertainty_decides", "uncertainty_shown")
    try:
        return RuleSet(
            name=name,
            version=version,
            figures_by_size=tuple(Size(_decimal(a), _whole(b, 1)) for a, b in _rows(given, "figures_by_size", 2)),
            finest_decimals=tuple((unit, _whole(places, 0)) for unit, places in _rows(given, "finest_decimals", 2)),
            switches=tuple(Switch(a, _decimal(b), c, _decimal(d)) for a, b, c, d in _rows(given, "switches", 4)),
            forms=tuple((element, form) for element, form in _rows(given, "forms", 2)),
            tie=Tie(given["tie"]),
            below=Below(given["below"]),
            basis=Basis(given["basis"]) if given["basis"] else None,
            uncertainty=UncertaintyRule(given["uncertainty"]),
            codes=codes,
            decision_rule=DecisionRule(given["decision_rule"]),
            risk_percent=given["risk_percent"],
            **{key: given[key] for key in (*plain, *words)},
        )
    except BadRuleSet as problem:
        raise BadInput(str(problem)) from problem


def _rows(given: Mapping[str, Any], key: str, cells: int) -> Iterator[list[str]]:
    """Rows of a small table that is typed with colons."""
    for number, line in enumerate(given[key].splitlines(), start=1):
        if line.strip():
            parts = [part.strip() for part in line.split(":")]
            if len(parts) != cells or not all(parts):
                name = key.replace("_", " ").capitalize()
                raise BadInput(f"{name}, row {number}: give {cells} parts with colons between.")
            yield parts


def _decimal(text: str) -> Decimal:
    try:
        number = Decimal(text.replace(" ", "").replace("\N{NO-BREAK SPACE}", ""))
    except InvalidOperation:
        raise BadInput(f"“{text}” is no number. Write it as 10 or 0.5.") from None
    if not number.is_finite():
        raise BadInput(f"“{text}” is no number. Write it as 10 or 0.5.")
    return number


def _whole(text: str, least: int) -> int:
    """Figures or decimals, as many as a field of its own takes."""
    number = _decimal(text)
    if not least <= number <= MOST_FIGURES or number != int(number):
        raise BadInput(f"“{text}”: give a whole number from {least} to {MOST_FIGURES}.")
    return int(number)
