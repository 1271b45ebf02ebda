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
from dataclasses import asdict, dataclass, fields
from decimal import Decimal
from typing import Any

from labresults.terms import Tie
from reports.rules.censoring import Below
from reports.rules.rounding import exact, text
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
class RuleSet:
    """How results are printed. A version that was used is never changed, only replaced.

    figures: significant figures of a result; limit_figures: of a printed limit, at most `figures`, so that a value at
    its limit is never printed below it; below: which limit a number must reach, and whose decimals it follows when
    no_finer_than_detection_limit; finest_decimals: pairs (unit, places); uncertainty_decides: the result is
    rounded to the place of its printed U (GUM 7.2.6) instead, where it has one.
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

    def __post_init__(self) -> None:
        if not self.name or self.version < 1:
            raise BadRuleSet("A rule set needs a name and a version from 1 on. Both are printed on the certificate.")
        if not 1 <= self.limit_figures <= self.figures:
            raise BadRuleSet(
                f"A limit of {self.limit_figures} figures beside results of {self.figures}: give the limit at least "
                "one, and no more than the results have."
            )
        for switch in self.switches:
            if not (switch.at_least > 0 and switch.divide_by > 0) or switch.unit == switch.to_unit:
                raise BadRuleSet(
                    f"The switch from {switch.unit} to {switch.to_unit} needs two units, and numbers above zero."
                )

    def to_json(self) -> str:
        """Return the rule set as text with sorted keys; decimals are strings."""
        return json.dumps(asdict(self), default=str, ensure_ascii=False, sort_keys=True)

    @classmethod
    def from_json(cls, source: str) -> "RuleSet":
        """Read `to_json` back. Raises BadRuleSet when a setting is unknown, missing or cannot be applied."""
        try:
            raw: dict[str, Any] = json.loads(source)
            unknown = set(raw) - {field.name for field in fields(cls)}
            if unknown:
                raise BadRuleSet(f"Unknown settings: {', '.join(sorted(unknown))}. Take them out, or correct them.")
            return cls(**(raw | _rebuilt(raw)))
        except BadRuleSet:
            raise
        except (ValueError, TypeError, KeyError, ArithmeticError) as problem:
            raise BadRuleSet(
                f"The rule set cannot be read ({problem}). Correct the setting that is named."
            ) from problem

    def finest(self, unit: str) -> int | None:
        """Return the places beyond which nothing is printed in `unit`, or None."""
        return dict(self.finest_decimals).get(unit)

    def switch_for(self, value: float | None, unit: str) -> Switch | None:
        """Return the switch with the highest threshold that the unrounded `value` reaches."""
        if value is None:
            return None
        reached = [s for s in self.switches if s.unit == unit and exact(value) >= s.at_least]
        return max(reached, key=lambda s: s.at_least, default=None)


def describe(rule_set: RuleSet) -> str:
    """Return the rule in a few sentences, for the certificate."""
    sentences = [_rounding_sentence(rule_set), _below_sentence(rule_set.below)]
    sentences.append("“>” means more than what follows it: above the range that was measured.")
    sentences += [f"From {text(s.at_least)} {s.unit} on, results are given in {s.to_unit}." for s in rule_set.switches]
    sentences.append("Every decision is made on the unrounded value.")
    return " ".join(sentences)


_WORDS = {0: "no", 1: "one", 2: "two", 3: "three", 4: "four", 5: "five", 6: "six"}


def in_words(count: int, noun: str) -> str:
    """Return "three figures", "one decimal", "7 figures"."""
    return f"{_WORDS.get(count, str(count))} {noun}{'' if count == 1 else 's'}"


def _rounding_sentence(rule_set: RuleSet) -> str:
    words = f"Values are rounded once, here: {in_words(rule_set.figures, 'figure')}"
    if rule_set.no_finer_than_detection_limit:
        words += f", and no more decimals than the {rule_set.below.value} has"
    words += "".join(f"; {unit}: at most {in_words(places, 'decimal')}" for unit, places in rule_set.finest_decimals)
    if rule_set.uncertainty_decides:
        words += "; where an uncertainty is given, to its last figure"
    tie = "to the even digit" if rule_set.tie is Tie.HALF_EVEN else "away from zero"
    return f"{words}; an exact half goes {tie}."


def _below_sentence(below: Below) -> str:
    if below is Below.DETECTION_LIMIT:
        return "“<” means not found at the detection limit that follows it."
    return f"“<” means below the {below.value} that follows it, whether found or not."


def _rebuilt(raw: dict[str, Any]) -> dict[str, Any]:
    """Give back the types that JSON does not know."""
    kinds = {"tie": Tie, "below": Below, "uncertainty": UncertaintyRule}
    rebuilt: dict[str, Any] = {key: kind(raw[key]) for key, kind in kinds.items() if key in raw}
    if "finest_decimals" in raw:
        rebuilt["finest_decimals"] = tuple((str(unit), int(places)) for unit, places in raw["finest_decimals"])
    if "switches" in raw:
        rebuilt["switches"] = tuple(
            Switch(s["unit"], Decimal(s["at_least"]), s["to_unit"], Decimal(s["divide_by"])) for s in raw["switches"]
        )
    return rebuilt
