"""Compare a result with a limit by a stated decision rule, on unrounded values.

Upper limit 0.100 mg/kg, u = 0.010, U = 0.020 (k = 2); constructed after ILAC-G8:09/2019, 4.2:

| result | simple            | guarded by U      | four statements             |
|--------|-------------------|-------------------|-----------------------------|
| 0.08   | conforms          | conforms          | conforms                    |
| 0.0836 | conforms          | does not conform  | conforms, within U          |
| 0.1    | conforms          | does not conform  | conforms, within U          |
| 0.1001 | does not conform  | does not conform  | does not conform, within U  |
| 0.12   | does not conform  | does not conform  | does not conform, within U  |
| 0.1201 | does not conform  | does not conform  | does not conform            |

A result that is only known to lie below a limit of its own (<) conforms when that limit does. Where the comparison
depends on where below it the value lies, it "cannot be decided", and a repeat is due.

The print may contradict the statement: 250.4 is above 250 and prints as 250. Then one more figure is printed, and a
footnote where that does not help.
"""

from dataclasses import dataclass, replace
from decimal import Decimal
from enum import StrEnum

from labresults.terms import Basis
from reports.rules.censoring import decide
from reports.rules.printing import Measured, PrintedValue, print_measured
from reports.rules.rounding import NO_BREAK_SPACE, exact
from reports.rules.ruleset import RuleSet


class DecisionRule(StrEnum):
    """How the uncertainty enters (ISO/IEC 17025:2017 7.8.6; ILAC-G8:09/2019 4.2)."""

    SIMPLE = "simple acceptance"  # guard band w = 0
    GUARDED = "guarded by U"  # w = U
    FOUR_STATEMENTS = "four statements with U"  # w = U on both sides of the limit


class Statement(StrEnum):
    """What a certificate says beside a limit."""

    CONFORMS = "conforms"
    CONFORMS_WITHIN_U = "conforms, within U"
    DOES_NOT_WITHIN_U = "does not conform, within U"
    DOES_NOT_CONFORM = "does not conform"
    CANNOT_BE_DECIDED = "cannot be decided"


class Side(StrEnum):
    """Which side of the limit is allowed."""

    AT_MOST = "at most"
    AT_LEAST = "at least"


@dataclass(frozen=True)
class Limit:
    """A limit that a client or an authority gave. source: document, edition, date; printed on the certificate."""

    value: float
    unit: str
    side: Side = Side.AT_MOST
    basis: Basis = Basis.AS_RECEIVED
    source: str = ""


@dataclass(frozen=True)
class Found:
    """What is known of the amount, in `unit`: a value, or only a bound on it.

    sign "": `value` is the result; "<": it lies below `value`; ">": it lies above `value`.
    expanded_u: U of the value, or of a value at the bound; None where it is not known.
    """

    value: float | Decimal
    unit: str
    basis: Basis = Basis.AS_RECEIVED
    sign: str = ""
    expanded_u: float | Decimal | None = None


class NotComparable(ValueError):
    """A result and a limit that are not of one unit and basis."""


def compare(found: Found, limit: Limit, rule: DecisionRule) -> Statement:
    """Return the statement of conformity, from unrounded values.

    Raises NotComparable when unit or basis differ: convert first, nothing is converted silently.
    Sources: ILAC-G8:09/2019 4.2; the treatment of `<` and `>` is ours: certain, or cannot be decided.
    """
    if found.unit != limit.unit or found.basis != limit.basis:
        raise NotComparable(
            f"A result in {found.unit}, {found.basis.value}, cannot be compared with a limit in {limit.unit}, "
            f"{limit.basis.value}. Convert the result, or give the limit as the result is reported."
        )
    excess = exact(found.value) - exact(limit.value)
    sign = found.sign
    if limit.side is Side.AT_LEAST:  # the mirror image: what is too little there is too much here
        excess, sign = -excess, {"<": ">", ">": "<", "": ""}[sign]
    guard = _guard(found, rule)
    if guard is None:
        return Statement.CANNOT_BE_DECIDED
    if sign == "<":
        return _known_below(excess, guard, rule)
    if sign == ">":
        return _known_above(excess, guard, rule)
    return _stated(excess, guard, rule)


def _guard(found: Found, rule: DecisionRule) -> Decimal | None:
    if rule is DecisionRule.SIMPLE:
        return Decimal(0)
    return None if found.expanded_u is None else exact(found.expanded_u)


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


# ---------------------------------------------------------------- what the reader sees beside it


@dataclass(frozen=True)
class Compared:
    """A printed result with its statement. footnote: "" unless the printed number alone would say something else."""

    printed: PrintedValue
    statement: Statement
    footnote: str = ""


def print_contradicts(printed: Found, limit: Limit, rule: DecisionRule, statement: Statement) -> bool:
    """Tell whether a reader who compares the printed number (with its U) comes to another statement.

    printed: number, sign and U as printed, in the limit's unit; U unrounded where none is printed.
    """
    return compare(printed, limit, rule) is not statement


def print_compared(
    measured: Measured,
    basis: Basis,
    limit: Limit,
    rule: DecisionRule,
    rule_set: RuleSet,
) -> Compared:
    """Print a result beside its statement of conformity so that the two agree, or a footnote says why they do not.

    A result in words cannot be decided. Raises NotComparable as `compare` does, ValueError for numbers not finite.
    """
    printed = print_measured(measured, rule_set)
    found = _found(measured, basis, rule_set)
    if found is None:
        return Compared(printed, Statement.CANNOT_BE_DECIDED)
    statement = compare(found, limit, rule)
    if not print_contradicts(_as_read(printed, measured, found, rule_set), limit, rule, statement):
        return Compared(printed, statement)
    finer = print_measured(measured, rule_set, extra_figures=1)
    if not print_contradicts(_as_read(finer, measured, found, rule_set), limit, rule, statement):
        return Compared(replace(finer, text_rule="one more figure, so that it agrees with the statement"), statement)
    return Compared(printed, statement, _footnote(compare(_as_read(printed, measured, found, rule_set), limit, rule)))


def _found(measured: Measured, basis: Basis, rule_set: RuleSet) -> Found | None:
    """Return what the unrounded result says of the amount; a result printed as `<` is known to its limit only."""
    decision = decide(measured.value, measured.limits, rule_set.below, measured.marks)
    known = measured.value if decision.limit is None else decision.limit
    if decision.sign is None or known is None:
        return None
    return Found(known, measured.unit, basis, decision.sign, measured.expanded_u)


def _as_read(printed: PrintedValue, measured: Measured, found: Found, rule_set: RuleSet) -> Found:
    """Return what the printed strings say, in the unit of the result."""
    switch = rule_set.switch_for(measured.value, measured.unit) if printed.unit != measured.unit else None
    factor = switch.divide_by if switch else Decimal(1)
    value = Decimal(printed.number or printed.limit or "NaN") * factor
    u = Decimal(printed.u.replace(NO_BREAK_SPACE, "")) * factor if printed.u else found.expanded_u
    return replace(found, value=value, expanded_u=u)


def _footnote(as_read: Statement) -> str:
    return f"Compared before rounding. By the printed figures alone it would read “{as_read.value}”."
