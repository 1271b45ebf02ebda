"""The sentences that stand on every certificate, and those about limits.

Source: ISO/IEC 17025:2017, 7.8.2.1 l (items tested), 7.8.2.2 (as received), 7.8.6 (decision rule);
ILAC-G8:09/2019, 4.2.
"""

from collections import Counter
from collections.abc import Sequence

from reports.facts import LimitFact

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
    """Return what was compared with what, by which rule, and how often each statement was made; "" without a limit."""
    if not limits:
        return ""
    named = ", ".join(f"{limit.element} {limit.value:g} {limit.unit}" for limit in limits)
    sources = "; ".join(dict.fromkeys(limit.source for limit in limits))
    counts = Counter(statement for statement in statements if statement)
    said = ", ".join(f"{count} “{statement}”" for statement, count in counts.most_common())
    return f"Limits: {named} ({sources}). {_RULE} Of {sum(counts.values())} samples: {said}."
