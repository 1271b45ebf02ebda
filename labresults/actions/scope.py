"""The scope of accreditation, as data: method, analyte, matrix, range, from and to."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import NamedTuple

from labresults.acts import BadInput, Done, act
from labresults.calculation.errors import UnlikeUnits
from labresults.calculation.units import factor
from labresults.models import Determination, Element, Matrix, Method, Person, Scope


class ScopeRow(NamedTuple):
    """One line of the scope: contents from `low` to `high`, in `unit`, both ends within."""

    element: str
    matrix: str
    low: float
    high: float
    unit: str


@act("register_scope")
def register_scope(
    *,
    by: Person,
    at: datetime,
    reason: str,
    method: Method,
    rows: Sequence[ScopeRow],
    valid_from: date,
    valid_to: date | None = None,
) -> Done[list[Scope]]:
    """Enter what a method is accredited for, from a day on; of one analyte and matrix the newest day stands.

    valid_to: the last day; to end a scope early, enter it again with its last day. Raises BadInput where a row cannot
    be or is there already: says which, and what to do.
    """
    if valid_to is not None and valid_to < valid_from:
        raise BadInput(f"The scope would end on {valid_to}, before it begins on {valid_from}. Correct one of them.")
    problems = tuple(_problems(method, rows, valid_from))
    if problems or not rows:
        raise BadInput("The scope cannot be taken." if rows else "Give at least one analyte and matrix.", problems)
    matrices = {matrix.name: matrix for matrix in Matrix.objects.filter(name__in={row.matrix for row in rows})}
    made = Scope.objects.bulk_create(
        Scope(
            method=method, element_id=row.element, matrix=matrices[row.matrix], low=row.low, high=row.high,
            unit=row.unit, valid_from=valid_from, valid_to=valid_to,
        )
        for row in rows
    )  # fmt: skip
    after = {"rows": [list(row) for row in rows], "from": str(valid_from), "to": str(valid_to or "")}
    return Done(made, subject=("scope", method.code), after=after)


def _problems(method: Method, rows: Sequence[ScopeRow], valid_from: date) -> list[str]:
    elements = set(Element.objects.filter(symbol__in={row.element for row in rows}).values_list("symbol", flat=True))
    matrices = set(Matrix.objects.filter(name__in={row.matrix for row in rows}).values_list("name", flat=True))
    units = dict(
        Determination.objects.filter(method_version__method=method)
        .order_by("method_version__version")
        .values_list("element_id", "unit")
    )
    there = Scope.objects.filter(method=method, valid_from=valid_from).values_list("element_id", "matrix__name")
    taken = set(there)
    said = []
    for number, row in enumerate(rows, start=1):
        where = f"Row {number}, {row.element} in {row.matrix}"
        if row.element not in elements or row.matrix not in matrices:
            said.append(f"{where}: the element or the matrix is not known. Correct it, or enter the matrix first.")
        elif row.element not in units:
            said.append(f"{where}: {method} does not determine {row.element}. Leave it out.")
        elif not _is_like(row.unit, units[row.element]):
            said.append(f"{where}: {method} reports in {units[row.element]}, which {row.unit} cannot be turned into.")
        if not 0 <= row.low < row.high < float("inf"):
            said.append(f"{where}: a range from {row.low:g} to {row.high:g} cannot be. Give the lower end first.")
        if (row.element, row.matrix) in taken:
            said.append(f"{where} is in the scope from {valid_from} on already. Give another day, or leave it out.")
        taken.add((row.element, row.matrix))
    return said


def _is_like(one: str, other: str) -> bool:
    try:
        factor(one, other)
    except UnlikeUnits:
        return False
    return True
