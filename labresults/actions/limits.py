"""Limits that results are compared with: one edition of one source, with the decision rule that stands with it."""

from collections.abc import Sequence
from datetime import datetime
from math import isfinite
from typing import NamedTuple

from labresults.acts import BadInput, Done, act
from labresults.calculation.errors import UnlikeUnits
from labresults.calculation.units import unit as known_unit
from labresults.models import Element, Limit, LimitSet, Person
from labresults.terms import Basis, DecisionRule, LimitSide

MOST_RISK_PERCENT = 50.0


class LimitRow(NamedTuple):
    """A limit for one element, `value` in `unit`."""

    element: str
    value: float
    unit: str
    side: LimitSide = LimitSide.AT_MOST


@act("register_limits")
def register_limits(
    *,
    by: Person,
    at: datetime,
    reason: str,
    name: str,
    edition: str,
    source: str,
    limits: Sequence[LimitRow | tuple[str, float, str]],
    basis: Basis = Basis.AS_RECEIVED,
    decision_rule: DecisionRule | None = None,
    risk_percent: float | None = None,
) -> Done[LimitSet]:
    """Enter the limits of one edition of one source, each on the element. An edition is never changed: enter the next.

    basis: what the limits are on; results on another basis are not compared with them. decision_rule: None leaves it to
    the reporting rules of the certificate; risk_percent: the accepted risk of a false statement, where it is used.
    Raises BadInput when name, edition or source is missing, the edition is there, or a row or the rule cannot be: says
    which row, and what to do.
    """
    name, edition, source = name.strip(), edition.strip(), source.strip()
    if not name or not edition or not source:
        raise BadInput("Limits need a name, their edition and their source: a document, its date, its table.")
    if LimitSet.objects.filter(name=name, edition=edition).exists():
        raise BadInput(f"{name}, {edition} is there already. Enter a new edition instead.")
    _check_rule(decision_rule, risk_percent)
    rows = [LimitRow(*row) for row in limits]
    problems = tuple(_problems(rows))
    if problems or not rows:
        raise BadInput("The limits cannot be taken." if rows else "Give at least one limit.", problems)
    limit_set = LimitSet.objects.create(
        name=name, edition=edition, source=source, basis=basis, decision_rule=decision_rule or "",
        risk_percent=risk_percent,
    )  # fmt: skip
    Limit.objects.bulk_create(
        Limit(limit_set=limit_set, element_id=row.element, value=row.value, unit=row.unit, side=row.side)
        for row in rows
    )
    rule = {"decision rule": str(decision_rule or ""), "risk, %": risk_percent}
    return Done(
        limit_set,
        subject=("limits", str(limit_set)),
        after={"source": source, "basis": str(basis), "limits": [list(row) for row in rows], **rule},
    )


def _check_rule(rule: DecisionRule | None, risk_percent: float | None) -> None:
    uses_risk = rule in {DecisionRule.BY_RISK, DecisionRule.PROBABILITY}
    if rule is DecisionRule.BY_RISK and risk_percent is None:
        raise BadInput("A guard band for a chosen risk needs the risk: give it in %, for example 5.")
    if risk_percent is not None and not uses_risk:
        raise BadInput(
            "A risk goes with a guard band for a chosen risk, or with a probability: choose one, or no risk."
        )
    if risk_percent is not None and not 0 < risk_percent <= MOST_RISK_PERCENT:
        raise BadInput(f"A risk of {risk_percent:g} % cannot be chosen: give one above 0 and up to 50 %.")


def _problems(rows: Sequence[LimitRow]) -> list[str]:
    known = set(Element.objects.filter(symbol__in={row.element for row in rows}).values_list("symbol", flat=True))
    seen: set[str] = set()
    said = []
    for number, row in enumerate(rows, start=1):
        if row.element not in known:
            said.append(f"Row {number}: {row.element} is no element that is known. Correct its symbol.")
        elif row.element in seen:
            said.append(f"Row {number}: {row.element} has a limit already. Leave one of them out.")
        if not (isfinite(row.value) and row.value > 0):
            said.append(f"Row {number}, {row.element}: a limit of {row.value:g} cannot be. Give a number above zero.")
        if not _is_unit(row.unit):
            said.append(f"Row {number}, {row.element}: the unit “{row.unit}” is not known. Write it as mg/kg or mg/L.")
        seen.add(row.element)
    return said


def _is_unit(text: str) -> bool:
    try:
        known_unit(text)
    except UnlikeUnits:
        return False
    return True
