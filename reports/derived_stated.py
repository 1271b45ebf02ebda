"""Derived results beside their statement of conformity: judged at every end of what they may be. Pure.

Limit at most 10 mg/L, simple acceptance; Mg was not found and may be up to 1, which is 4.1 of a hardness:

| known of it                          | judged at  | statement         |
|--------------------------------------|------------|-------------------|
| 9.4, all of it found                 | 9.4        | conforms          |
| 5.0, with Mg up to 9.1               | 5.0, 9.1   | conforms          |
| 7.5, with Mg up to 11.6              | 7.5, 11.6  | cannot be decided |
| 12, with Mg up to 16.1               | 12, 16.1   | does not conform  |
| at most 9                            | < 9        | conforms          |
| at least 12                          | > 12       | does not conform  |
| computed without a term, or no value |            | cannot be decided |

A measured result that was not found is treated the same way: certain, or undecided (`rules.conformity`). Where nothing
is decided a remark says why. With four statements, what conforms at one end and conforms within U at the other conforms
within U. Of what is known between two ends no probability is given.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from math import isfinite

from labresults.calculation.derived import Derived
from labresults.calculation.derived_formula import bounds
from labresults.terms import Tie
from reports.derived import TO, PrintedDerived, as_measured, print_found
from reports.facts import DerivedFact, LimitFact
from reports.printed import rule_of
from reports.rules.censoring import round_limit_above, round_limit_below
from reports.rules.compared import Compared, as_read, by_print_alone, known_of, printed_probability
from reports.rules.conformity import Found, Limit, NotComparable, Rule, Statement, compare, guard_band
from reports.rules.printing import PrintedValue
from reports.rules.rounding import FIGURES_THAT_MEAN, NO_BREAK_SPACE, round_significant, text
from reports.rules.ruleset import RuleSet

NEEDS_U = "Cannot be decided: the decision rule needs an uncertainty, and none is known of this computed result."
OPEN = "Cannot be decided: a term was not found, so that it may lie anywhere between {} and {}."
UNLIKE = "Cannot be decided: the limit is in {}, {}, and it is in {}, {}."
HELD = "Judged at both ends of where it may lie, since a term was not found: {} and {}."
LACKING = "Cannot be decided: a part of it was not measured."
FIGURES_OF_ENDS = 4

_MET = {Statement.CONFORMS, Statement.CONFORMS_WITHIN_U}
_MISSED = {Statement.DOES_NOT_CONFORM, Statement.DOES_NOT_WITHIN_U}


def print_derived(
    facts: Iterable[DerivedFact], rule_set: RuleSet, limits: Sequence[LimitFact] = ()
) -> tuple[PrintedDerived, ...]:
    """Return each derived result as printed, beside its limit where it has one, in the order of the facts."""
    by_code = {(limit.limit_set, limit.derived): limit for limit in limits if limit.derived}
    return tuple(_print(fact, by_code.get((fact.limit_set, fact.definition.code)), rule_set) for fact in facts)


def compared_of(printed: Iterable[PrintedDerived]) -> Mapping[str, list[tuple[str, Compared]]]:
    """Return what each sample, by number, and each set, by name, has of statements, with the heading of each."""
    found: dict[str, list[tuple[str, Compared]]] = {}
    for one in printed:
        if one.compared is not None:
            of = one.fact.sample or one.fact.sample_set
            found.setdefault(of, []).append((one.fact.definition.reported_as, one.compared))
    return found


def _print(fact: DerivedFact, limit: LimitFact | None, rule_set: RuleSet) -> PrintedDerived:
    if limit is None:
        value, remarks = print_found(fact.found, rule_set)
        return PrintedDerived(fact, value, (*remarks, *fact.remarks))
    rule_set = replace(rule_set, uncertainty_shown=True)  # ISO/IEC 17025:2017, 7.8.3.1 c
    compared, remarks = _beside(fact, limit, rule_set)
    why = (compared.footnote,) if compared.footnote else ()
    return PrintedDerived(fact, compared.printed, (*remarks, *fact.remarks, *why), compared)


def _beside(fact: DerivedFact, limit: LimitFact, rule_set: RuleSet) -> tuple[Compared, tuple[str, ...]]:
    """The result as printed with its statement, and the remarks that it would have without a limit."""
    printed, remarks = print_found(fact.found, rule_set)
    bound = Limit(limit.value, limit.unit, limit.side, limit.basis, limit.source)
    rule, ends = rule_of(limit, rule_set), known_ends(fact, rule_set)
    statement = _stated(ends, bound, rule)
    if statement is Statement.CANNOT_BE_DECIDED:
        return Compared(printed, statement, _why_not(fact.found, ends, bound, rule)), remarks
    probability = printed_probability(ends[0], bound, rule, statement) if len(ends) == 1 else ""
    alone = _by_print_alone(printed, fact.found, bound, rule, rule_set)
    if alone in {None, statement}:
        return Compared(printed, statement, probability=probability), remarks
    finer, remarks_beside_finer = print_found(fact.found, rule_set, extra=1)
    if _by_print_alone(finer, fact.found, bound, rule, rule_set) is statement:
        finer = replace(finer, text_rule="one more figure, so that it agrees with the statement")
        return Compared(finer, statement, probability=probability), remarks_beside_finer
    note = by_print_alone(alone or statement) if len(ends) == 1 else HELD.format(*_in_words(ends))
    return Compared(printed, statement, note, probability), remarks


def known_ends(fact: DerivedFact, rule_set: RuleSet) -> tuple[Found, ...]:
    """Return what is known of a derived result: a value, a bound, or both ends of where it lies; nothing for words.

    What its rules print as `<` is known to that limit only, as a measured result is. Numbers have the twelve figures
    that a sum of floating numbers means.
    """
    found = fact.found
    if found.why or found.lacking:
        return ()
    if found.low is not None and found.high is not None:
        return _between(found, found.low, found.high)
    known = None if found.sign else known_of(as_measured(found), found.basis, rule_set)
    if known is None:
        return (_end(found, found.bound or 0.0, found.sign),)
    if known.sign:
        return (_end(found, max(float(known.value), found.at_most or 0.0), known.sign),)
    if any(each.given.is_below for each in found.entered):
        return _between(found, *bounds(fact.definition, found.entered))
    return (_end(found, float(known.value)),)


def _between(found: Derived, low: float, high: float) -> tuple[Found, ...]:
    """Both ends; a value where they are one, a bound where there is no upper one."""
    if not isfinite(high):
        return (_end(found, low, ">"),)
    ends = (_end(found, low), _end(found, high))
    return ends if ends[0].value != ends[1].value else ends[:1]


def _end(found: Derived, value: float, sign: str = "") -> Found:
    u = None if found.expanded_u is None else _meant(found.expanded_u)
    return Found(_meant(value), found.unit, found.basis, sign, u, found.coverage_factor)


def _meant(number: float) -> Decimal:
    return round_significant(number, FIGURES_THAT_MEAN, Tie.HALF_EVEN)


def _stated(ends: Sequence[Found], limit: Limit, rule: Rule) -> Statement:
    """The statement that holds at every end."""
    try:
        found = {compare(end, limit, rule) for end in ends}
    except NotComparable:
        return Statement.CANNOT_BE_DECIDED
    if len(found) == 1:
        return found.pop()
    if found and found <= _MET:
        return Statement.CONFORMS_WITHIN_U
    return Statement.DOES_NOT_WITHIN_U if found and found <= _MISSED else Statement.CANNOT_BE_DECIDED


def _why_not(found: Derived, ends: Sequence[Found], limit: Limit, rule: Rule) -> str:
    """Why nothing is decided, where no other remark says so; of < and > the limit beside them does."""
    if found.why:
        return ""
    if found.unit != limit.unit or found.basis != limit.basis:
        return UNLIKE.format(limit.unit, limit.basis.value, found.unit, found.basis.value)
    if not ends:
        return LACKING
    if guard_band(ends[0], rule) is None:
        return NEEDS_U
    if len(ends) == 1:
        return ""
    return OPEN.format(*_in_words(ends))


def _in_words(ends: Sequence[Found]) -> tuple[str, str]:
    """Both ends with a few figures, rounded outwards, the unit behind the second."""
    low, high = (float(end.value) for end in ends)
    above = round_limit_above(high, high, FIGURES_OF_ENDS, Tie.HALF_EVEN, FIGURES_OF_ENDS)
    return text(round_limit_below(low, FIGURES_OF_ENDS)), f"{text(above)} {ends[1].unit}"


def _by_print_alone(
    printed: PrintedValue, found: Derived, limit: Limit, rule: Rule, rule_set: RuleSet
) -> Statement | None:
    """What a reader would say who compares the printed figures; None where they are not numbers in the limit's unit."""
    known = _end(found, 0.0, printed.sign)
    if printed.number or printed.limit:
        shown = replace(as_measured(found), value=found.high if found.value is None else found.value)
        return compare(as_read(printed, shown, known, rule_set), limit, rule)
    ends = printed.printed.replace(NO_BREAK_SPACE, "").split(TO)
    if len(ends) != 2 or printed.unit != found.unit:
        return None
    return _stated([replace(known, value=Decimal(end)) for end in ends], limit, rule)
