"""From a derived result to its printed string, step by step: the rule, in words, and what it gives. No query.

| known of it                     | steps                                             |
|---------------------------------|---------------------------------------------------|
| a number                        | as those of a measured result                     |
| a bound, at most 2.05           | bound 2.05, then rounded up: <2.1                 |
| between 10.2 and 14.1           | least, most, then both by their rule: 10 to 14    |
| no value: Mg to follow          | none, then the words that are printed             |
"""

from labresults.calculation.derived import Derived
from reports.derived import as_measured, print_found
from reports.rules.explain_print import PrintStep, explain_print
from reports.rules.ruleset import RuleSet

BESIDE_LIMIT = "one more figure, so that it agrees with its statement; by the rules alone it would be {}"
OTHERWISE = "the certificate says it so; by the rules alone it would be {}"


def printing_steps(found: Derived, rules: RuleSet, printed: str) -> tuple[PrintStep, ...]:
    """Return the steps from what is known of it to the printed string, which is the last step's."""
    by_rules, _ = print_found(found, rules)
    steps = [*_known(found, rules), PrintStep("printed", by_rules.text_rule or "in words", by_rules.printed)]
    if by_rules.printed == printed:
        return tuple(steps)
    finer, _ = print_found(found, rules, extra=1)
    words = BESIDE_LIMIT if finer.printed == printed else OTHERWISE
    return (*steps[:-1], PrintStep("printed", words.format(by_rules.printed), printed))


def _known(found: Derived, rules: RuleSet) -> list[PrintStep]:
    """What is known of it, unrounded."""
    if found.why:
        return [PrintStep("value", f"there is none: {found.why}", "")]
    if found.low is not None and found.high is not None:
        ends = (("least", "with nothing of what was not found", found.low),
                ("most", "with all that its limits allow", found.high))  # fmt: skip
        return [PrintStep(name, words, f"{end!r} {found.unit}") for name, words, end in ends]
    if found.sign and found.bound is not None:
        words = "at most this, as it is carried" if found.sign == "<" else "at least this, as it is carried"
        return [PrintStep("bound", words, f"{found.sign}{found.bound!r} {found.unit}")]
    steps = list(explain_print(as_measured(found), rules)[:-1])
    if found.at_most is not None:
        steps.append(PrintStep("at most", "with all that its limits allow", f"{found.at_most!r} {found.unit}"))
    return steps
