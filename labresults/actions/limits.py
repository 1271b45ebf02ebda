"""Limits that results are compared with: one edition of one source, with the decision rule that stands with it."""

from collections.abc import Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from datetime import datetime
from math import isfinite
from typing import NamedTuple

from labresults.acts import BadInput, Done, act
from labresults.calculation.errors import UnlikeUnits
from labresults.calculation.units import unit as known_unit
from labresults.models import DerivedDefinition, Element, Limit, LimitSet, Person
from labresults.terms import Basis, DecisionRule, LimitSide

MOST_RISK_PERCENT = 50.0


class LimitRow(NamedTuple):
    """A limit for one element, or for the derived result with this code; `value` in `unit`."""

    element: str
    value: float
    unit: str
    side: LimitSide = LimitSide.AT_MOST
    derived: str = ""

    @property
    def of(self) -> str:
        """What it is for, as it was entered."""
        return self.element or self.derived


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
    """Enter the limits of one edition of one source. An edition is never changed: enter the next.

    limits: each on the element, or on a derived result in the unit of its definition. basis: what the limits are on;
    results on another basis are not compared with them. decision_rule: None leaves it to the reporting rules of the
    certificate; risk_percent: the accepted risk of a false statement, where it is used.
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
        Limit(
            limit_set=limit_set,
            element_id=row.element or None,
            derived_code=row.derived or None,
            value=row.value,
            unit=row.unit,
            side=row.side,
        )
        for row in rows
    )
    rule = {"decision rule": str(decision_rule or ""), "risk, %": risk_percent}
    return Done(
        limit_set,
        subject=("limits", str(limit_set)),
        after={"source": source, "basis": str(basis), "limits": [[row.of, *row[1:4]] for row in rows], **rule},
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


def _problems(rows: Sequence[LimitRow]) -> Iterator[str]:
    known = set(Element.objects.filter(symbol__in={row.element for row in rows}).values_list("symbol", flat=True))
    units = _units_of_derived()
    seen: set[str] = set()
    for number, row in enumerate(rows, start=1):
        yield from (f"Row {number}{words}" for words in _wrong_with(row, known, units))
        if row.of and row.of in seen:
            yield f"Row {number}: {row.of} has a limit already. Leave one of them out."
        seen.add(row.of)


def _units_of_derived() -> dict[str, str]:
    """What each derived result is in by the newest version of its definition, by code; one query."""
    return dict(DerivedDefinition.objects.order_by("code", "version").values_list("code", "unit"))


def _wrong_with(row: LimitRow, known: AbstractSet[str], units: Mapping[str, str]) -> Iterator[str]:
    """What is wrong with one row, as it goes on after its number."""
    if bool(row.element) == bool(row.derived):
        both = f"{row.element} and {row.derived} stand in one row" if row.element else "nothing is named"
        yield f": {both}. Name one thing that the limit is for: an element, or the code of a computed result."
    elif row.derived and row.derived not in units:
        known_codes = f"known are {', '.join(units)}" if units else "none is defined"
        yield (
            f": there is no computed result {row.derived}; {known_codes}. Correct its code, or define it first. Of an "
            "element write the symbol, which begins with a capital."
        )
    elif row.element and row.element not in known:
        yield f": {row.element} is no element that is known. Correct its symbol, or give the code of a computed result."
    if not (isfinite(row.value) and row.value > 0):
        yield f", {row.of}: a limit of {row.value:g} cannot be. Give a number above zero."
    if row.derived and row.unit != units.get(row.derived, row.unit):
        unit = units[row.derived]
        yield f", {row.derived}: it is computed in {unit}, and the limit is in “{row.unit}”. Give the limit in {unit}."
    if row.element and not _is_unit(row.unit):
        yield f", {row.element}: the unit “{row.unit}” is not known. Write it as mg/kg or mg/L."


def _is_unit(text: str) -> bool:
    try:
        known_unit(text)
    except UnlikeUnits:
        return False
    return True
