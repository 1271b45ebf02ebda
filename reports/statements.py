"""The sentences that stand on every certificate, and those about limits.

Source: ISO/IEC 17025:2017, 7.8.2.1 l (items tested), 7.8.2.2 (as received), 7.8.6 (decision rule);
ILAC-G8:09/2019, 4.2.
"""

from collections import Counter
from collections.abc import Sequence

from reports.facts import LimitFact
from reports.rules.conformity import Statement

ITEMS_TESTED = "The results relate only to the items tested."
AS_RECEIVED = "The laboratory did not take the samples: results apply to them as they were received."
IN_FULL = "This certificate may be reproduced only in full, unless the laboratory agrees in writing."
INVENTED = "Invented demonstration data: this laboratory, its clients and every number here are made up."

_RULE = (
    "Decision rule: the unrounded value is compared with the limit itself, and the expanded uncertainty U (k = 2, "
    "about 95 %) says how near it lies. “Conforms”: value + U does not exceed the limit; the risk that this is wrong "
    "is at most 2.5 %. “Does not conform”: value − U exceeds the limit; the same risk. “Conforms, within U” and “does "
    "not conform, within U”: the limit lies inside value ± U, and the risk may reach 50 %. What follows from a "
    "statement is for the client and the authority to decide."
)


def standing_statements(invented: bool) -> tuple[str, ...]:
    """Return the sentences of every certificate; the first one says when all of it is invented."""
    return ((INVENTED,) if invented else ()) + (ITEMS_TESTED, AS_RECEIVED, IN_FULL)


def conformity_text(limits: Sequence[LimitFact], statements: Sequence[str]) -> str:
    """Return what was compared with what, by which rule, and how often each statement was made; "" without a limit.

    Where samples are compared with different limits, each set has its number, and the statement of a sample names it.
    """
    if not limits:
        return ""
    numbers = limit_numbers(limits)
    named = [
        f"Limits{f' {number}' if number else ''}: {_named([limit for limit in limits if limit.limit_set == name])}."
        for name, number in numbers.items()
    ]
    counts = Counter(statement for statement in statements if statement)
    said = ", ".join(f"{count} “{statement}”" for statement, count in counts.most_common())
    return f"{' '.join(named)} {_RULE} Of {sum(counts.values())} samples: {said}."


def limit_numbers(limits: Sequence[LimitFact]) -> dict[str, int]:
    """Return the number of each limit set, from 1 in the order in which they stand; 0 where there is only one."""
    names = list(dict.fromkeys(limit.limit_set for limit in limits))
    return {name: number if len(names) > 1 else 0 for number, name in enumerate(names, start=1)}


def conformity_head(limits: Sequence[LimitFact]) -> str:
    """Return what stands over the column of statements; "" without a limit."""
    if len(limits) == 1:
        return f"{limits[0].element} against {limits[0].value:g} {limits[0].unit}"
    return "Against the limits" if limits else ""


def conformity_of_row(statements: Sequence[tuple[str, Statement]], number: int) -> tuple[str, bool | None]:
    """Return the statement of a sample in words, and whether it conforms (None: cannot be decided).

    statements: what is reported, and its statement. number: of the limit set, 0 where there is only one.
    """
    if not statements:
        return "", None
    which = f" (limits {number})" if number else ""
    kinds = {statement for _, statement in statements}
    fails = kinds & {Statement.DOES_NOT_CONFORM, Statement.DOES_NOT_WITHIN_U}
    conforms = False if fails else None if Statement.CANNOT_BE_DECIDED in kinds else True
    if len(kinds) == 1:
        return statements[0][1].value + which, conforms
    worst = [f"{name} {statement.value}" for name, statement in statements if statement != Statement.CONFORMS]
    return "; ".join(worst) + "; the others conform" * (Statement.CONFORMS in kinds) + which, conforms


def _named(limits: Sequence[LimitFact]) -> str:
    named = ", ".join(f"{limit.element} {limit.value:g} {limit.unit}" for limit in limits)
    sources = "; ".join(dict.fromkeys(limit.source for limit in limits))
    return f"{named} ({sources})"
