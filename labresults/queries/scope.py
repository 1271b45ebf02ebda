"""The scope of accreditation: which row stands on a day, and whether a result lies within it."""

from collections.abc import Iterable
from datetime import date

from labresults.calculation.errors import UnlikeUnits
from labresults.calculation.units import factor
from labresults.models import Result, Scope
from labresults.terms import Mark


def standing_scope(rows: Iterable[Scope], on: date) -> Scope | None:
    """Of the rows of one method, element and matrix the newest that has begun, unless it has ended; no query."""
    begun = [row for row in rows if row.valid_from <= on]
    newest = max(begun, key=lambda row: row.valid_from, default=None)
    return newest if newest and (newest.valid_to is None or on <= newest.valid_to) else None


def is_within(result: Result, scope: Scope | None) -> bool:
    """Whether a result is within a row of the scope: a number in its range, or one that was looked for below it.

    A result without a value, or over range, is outside. No query.
    """
    if scope is None or result.value is None or Mark.OVER_RANGE in result.marks:
        return False
    try:
        times = float(factor(scope.unit, result.unit))
    except UnlikeUnits:
        return False
    if Mark.BELOW_DETECTION in result.marks:
        return (result.detection_limit or 0.0) <= scope.high * times
    return scope.low * times <= result.value <= scope.high * times


def scope_rows(method_code: str) -> list[Scope]:
    """The scope of a method, of each analyte and matrix the newest day first; one query."""
    rows = Scope.objects.filter(method__code=method_code).select_related("matrix", "element", "method")
    return list(rows.order_by("element__symbol", "matrix__name", "-valid_from"))
