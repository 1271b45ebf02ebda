"""Methods and their versions, read. Each function says how many database queries it makes."""

from collections.abc import Collection
from datetime import date

from django.db.models import Prefetch

from labresults.models import Determination, MethodLine, MethodVersion


def current_versions(on: date) -> dict[str, MethodVersion]:
    """The version of each method that is valid on a day, by the method's code; one query."""
    rows = MethodVersion.objects.filter(valid_from__lte=on).select_related("method").order_by("version")
    return {row.method.code: row for row in rows if _is_valid(row, on)}


def versions_asked(codes: Collection[str], on: date) -> list[MethodVersion]:
    """The version of each method that is valid on a day, else its newest, in the order of the codes.

    Each with what it determines and its lines by rank; three queries.
    """
    rows = (
        MethodVersion.objects.filter(method__code__in=codes)
        .select_related("method")
        .prefetch_related(
            Prefetch("determinations", Determination.objects.select_related("element").order_by("ordinal")),
            Prefetch("lines", MethodLine.objects.select_related("line").order_by("line__element", "rank")),
        )
        .order_by("version")
    )
    found: dict[str, MethodVersion] = {}
    for row in rows:
        if _is_valid(row, on) or row.method.code not in found or not _is_valid(found[row.method.code], on):
            found[row.method.code] = row
    return [found[code] for code in codes if code in found]


def _is_valid(version: MethodVersion, on: date) -> bool:
    return version.valid_from <= on and (version.valid_to is None or version.valid_to >= on)
