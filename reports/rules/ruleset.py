"""A named, versioned choice of how results are printed, and the printing itself.

Three figures, no finer than the detection limit, half to even, below the detection limit as `<`, limits of two figures:

| carried | unit  | detection | printed | because                                              |
|---------|-------|-----------|---------|------------------------------------------------------|
| 4.11991 | g/t   | 0.01      | 4.12    | three figures                                        |
| 0.138604| g/t   | 0.01      | 0.14    | two decimals: no finer than the detection limit      |
| 0.0187  | g/t   | 0.01      | 0.02    | the same; it lies under the quantification limit 0.03|
| 0.00962 | g/t   | 0.01      | <0.01   | below the detection limit                            |
| 65.55   | mg/kg | 0.5       | 65.6    | three figures, an exact half to the even digit       |
| 74.85   | mg/kg | 0.5       | 74.8    | the same                                             |
| 18704.3 | mg/kg | 0.5       | 18 700  | three figures                                        |
| 30912   | mg/kg | 0.5       | >10 000 | above the range, which ends at 10 000                |
| 54270   | mg/kg | 100       | 5.43 %  | with a switch to % from 10 000: divided, then rounded|
"""

import json
from collections.abc import Callable
from dataclasses import asdict, dataclass, fields
from decimal import Decimal
from typing import Any

from labresults.calculation.errors import UnknownCompound
from labresults.calculation.stoichiometry import parse_formula
from labresults.terms import Basis, DecisionRule, Mark, Tie
from reports.rules.censoring import Below
from reports.rules.rounding import exact, round_significant
from reports.rules.uncertainty import UncertaintyRule


class BadRuleSet(ValueError):
    """A rule set that cannot be applied: says which setting, and what to do."""


@dataclass(frozen=True)
class Switch:
    """From `at_least` (in `unit`, unrounded) on, print in `to_unit`: value / `divide_by`."""

    unit: str
    at_least: Decimal
    to_unit: str
    divide_by: Decimal


@dataclass(frozen=True)
class Size:
    """From `at_least` on (in the unit that is printed, before rounding), so many significant figures."""

    at_least: Decimal
    figures: int


EDITION = 2
"""Of the printing. 1: a limit that its value would contradict goes up to the next figure of as many as it had, so that
1.02 below 1.04 was `<2`; an uncertainty that is rounded upwards goes up for the last bit of its sum. 2: such a limit
has two figures at least, `<1.1`; such an uncertainty is taken to twelve; control samples show what was expected with
no more decimals than it was given with. What was saved before is of the first.
"""

ANY = ""
"""Of a code: for any result; the others are "number", "<" and ">"."""


@dataclass(frozen=True)
class Code:
    """A qualifier by its code, as data: what it means, and which results get it.

    of: "number", "<", ">" or ANY; marks: the result has any of them, empty: none is needed. The first code of a rule
    set that fits a result is printed beside it.
    """

    code: str
    meaning: str
    of: str = ANY
    marks: tuple[Mark, ...] = ()


@dataclass(frozen=True)
class RuleSet:
    """How results are printed. A version that was used is never changed, only replaced.

    figures: significant figures of a result, and figures_by_size from which size on it has others; limit_figures: of a
    printed limit, never more than results have, so that a value at its limit is never printed below it; below: which
    limit a number must reach, and whose decimals it follows when no_finer_than_detection_limit; finest_decimals: pairs
    (unit, places); uncertainty_decides: the result is rounded to the place of its printed U (GUM 7.2.6) instead, where
    it has one; uncertainty_shown: else only beside statements of conformity (ISO/IEC 17025:2017, 7.8.3.1 c).
    not_found_by_detection_limit: below the detection limit its own limit follows `<`, whatever `below` says;
    words_not_detected, words_between (the two limits), words_above (the range): printed instead of number or limit.
    forms: pairs (element, as what it is printed); basis: the only one that is printed, None: as each request asks;
    codes: qualifiers by code instead of letters; decision_rule, risk_percent: where the limits name none.
    edition: of the printing itself, so that what was printed once is printed the same again; see EDITION.
    """

    name: str
    version: int
    figures: int = 3
    limit_figures: int = 2
    no_finer_than_detection_limit: bool = True
    finest_decimals: tuple[tuple[str, int], ...] = ()
    tie: Tie = Tie.HALF_EVEN
    below: Below = Below.DETECTION_LIMIT
    switches: tuple[Switch, ...] = ()
    uncertainty: UncertaintyRule = UncertaintyRule.TWO_FIGURES
    uncertainty_decides: bool = False
    figures_by_size: tuple[Size, ...] = ()
    not_found_by_detection_limit: bool = False
    words_not_detected: str = ""
    words_between: str = ""
    words_above: str = ""
    forms: tuple[tuple[str, str], ...] = ()
    basis: Basis | None = None
    uncertainty_shown: bool = True
    codes: tuple[Code, ...] = ()
    decision_rule: DecisionRule = DecisionRule.FOUR_STATEMENTS
    risk_percent: float | None = None
    edition: int = EDITION

    def __post_init__(self) -> None:
        if not self.name or self.version < 1:
            raise BadRuleSet("A rule set needs a name and a version from 1 on. Both are printed on the certificate.")
        _check_figures(self)
        for switch in self.switches:
            if not (switch.at_least > 0 and switch.divide_by > 0) or switch.unit == switch.to_unit:
                raise BadRuleSet(
                    f"The switch from {switch.unit} to {switch.to_unit} needs two units, and numbers above zero."
                )
        _check_forms(self.forms, self.edition)
        _check_codes(self.codes)
        check_risk(self.decision_rule, self.risk_percent)

    def __str__(self) -> str:
        return f"{self.name} v{self.version}"

    def to_json(self) -> str:
        """Return the rule set as text with sorted keys; decimals are strings. The first edition is not written."""
        said = {name: value for name, value in asdict(self).items() if (name, value) != ("edition", 1)}
        return json.dumps(said, default=str, ensure_ascii=False, sort_keys=True)

    @classmethod
    def from_json(cls, source: str) -> "RuleSet":
        """Read `to_json` back. Raises BadRuleSet when a setting is unknown, missing or cannot be applied."""
        try:
            raw: dict[str, Any] = json.loads(source)
            unknown = set(raw) - {field.name for field in fields(cls)}
            if unknown:
                raise BadRuleSet(f"Unknown settings: {', '.join(sorted(unknown))}. Take them out, or correct them.")
            return cls(**({"edition": 1} | raw | _rebuilt(raw)))
        except BadRuleSet:
            raise
        except (ValueError, TypeError, KeyError, ArithmeticError) as problem:
            raise BadRuleSet(
                f"The rule set cannot be read ({problem}). Correct the setting that is named."
            ) from problem

    def finest(self, unit: str) -> int | None:
        """Return the places beyond which nothing is printed in `unit`, or None."""
        return dict(self.finest_decimals).get(unit)

    def figures_of(self, number: Decimal) -> int:
        """Return the significant figures of a result of this size, which is in the unit that is printed."""
        reached = [size for size in self.figures_by_size if abs(number) >= size.at_least]
        return max(reached, key=lambda size: size.at_least).figures if reached else self.figures

    def form_of(self, element: str) -> str:
        """Return as what an element is printed, or "" where the method decides."""
        return dict(self.forms).get(element, "")

    def switch_for(self, value: float | None, unit: str) -> Switch | None:
        """Return the switch with the highest threshold that the unrounded `value` reaches."""
        if value is None:
            return None
        reached = [s for s in self.switches if s.unit == unit and exact(value) >= s.at_least]
        return max(reached, key=lambda s: s.at_least, default=None)


def check_risk(rule: DecisionRule, risk_percent: float | None) -> None:
    """Raise BadRuleSet unless a risk stands with the rules that use one, and with no other."""
    if rule is DecisionRule.BY_RISK and risk_percent is None:
        raise BadRuleSet("A guard band for a chosen risk needs the risk: give it in %, for example 5.")
    if risk_percent is None:
        return
    if rule not in {DecisionRule.BY_RISK, DecisionRule.PROBABILITY}:
        raise BadRuleSet(f"{rule.value.capitalize()} has no chosen risk: leave the risk out, or choose another rule.")
    if not 0 < risk_percent <= 50:
        raise BadRuleSet(f"A risk of {risk_percent:g} % cannot be chosen: give one above 0 and up to 50 %.")


_WORDS = {0: "no", 1: "one", 2: "two", 3: "three", 4: "four", 5: "five", 6: "six"}


def in_words(count: int, noun: str) -> str:
    """Return "three figures", "one decimal", "7 figures"."""
    return f"{_WORDS.get(count, str(count))} {noun}{'' if count == 1 else 's'}"


def _check_figures(rule_set: RuleSet) -> None:
    fewest = min([rule_set.figures, *(size.figures for size in rule_set.figures_by_size)])
    if not 1 <= rule_set.limit_figures <= fewest:
        raise BadRuleSet(
            f"A limit of {rule_set.limit_figures} figures beside results of {fewest}: give the limit at least "
            "one, and no more than the results have."
        )
    before, reached = rule_set.figures, Decimal(0)
    for size in rule_set.figures_by_size:
        if size.at_least <= reached:
            raise BadRuleSet(f"Sizes go up, from above zero: {size.at_least} stands after {reached}. Order them.")
        rough = min(before, size.figures)
        if round_significant(size.at_least, rough, rule_set.tie) != size.at_least:
            raise BadRuleSet(
                f"The size {size.at_least} has more than {in_words(rough, 'figure')}: a larger result could be "
                "printed below a smaller one. Give a rounder size."
            )
        before, reached = size.figures, size.at_least


def _check_forms(forms: tuple[tuple[str, str], ...], edition: int) -> None:
    if len(dict(forms)) < len(forms):
        raise BadRuleSet("An element has two forms: say once as what it is printed.")
    elements: dict[str, str] = {}
    for element, form in forms:
        other = elements.setdefault(form, element)
        if other != element and edition > 1:  # what was saved before can still be read
            raise BadRuleSet(f"{other} and {element} are both printed as {form}: columns need names that differ.")
    for element, form in forms:
        try:
            held = dict(parse_formula(form))
        except UnknownCompound as unknown:
            raise BadRuleSet(str(unknown)) from unknown
        if element not in held:
            raise BadRuleSet(f"{form} holds no {element}: {element} cannot be printed as it. Correct the form.")


def _check_codes(codes: tuple[Code, ...]) -> None:
    meanings: dict[str, str] = {}
    for code in codes:
        if not code.code.strip() or code.code.islower() or not code.meaning.strip():
            raise BadRuleSet(f"The code {code.code!r} needs capital letters (small ones are remarks), and a meaning.")
        if code.of not in {ANY, "number", "<", ">"}:
            raise BadRuleSet(f"{code.code}: “{code.of}” is no kind of result. Give “number”, “<”, “>”, or nothing.")
        if meanings.setdefault(code.code, code.meaning) != code.meaning:
            raise BadRuleSet(f"{code.code} has two meanings. Give it one, or another code.")


def _rebuilt(raw: dict[str, Any]) -> dict[str, Any]:
    """Give back the types that JSON does not know."""
    kinds: dict[str, Callable[[Any], Any]] = {
        "tie": Tie,
        "below": Below,
        "uncertainty": UncertaintyRule,
        "decision_rule": DecisionRule,
        "basis": lambda word: None if word is None else Basis(word),
        "finest_decimals": lambda rows: tuple((str(unit), int(places)) for unit, places in rows),
        "forms": lambda rows: tuple((str(element), str(form)) for element, form in rows),
        "figures_by_size": lambda rows: tuple(Size(Decimal(row["at_least"]), row["figures"]) for row in rows),
        "switches": lambda rows: tuple(
            Switch(s["unit"], Decimal(s["at_least"]), s["to_unit"], Decimal(s["divide_by"])) for s in rows
        ),
        "codes": lambda rows: tuple(
            Code(c["code"], c["meaning"], c.get("of", ANY), tuple(map(Mark, c.get("marks", ())))) for c in rows
        ),
    }
    return {key: kind(raw[key]) for key, kind in kinds.items() if key in raw}
