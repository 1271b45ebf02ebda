"""The columns of a review: what is asked for and what was measured. Each function says its database queries."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from labresults.models import Determination, MethodVersion, Request, Result, Sample, Selection
from labresults.queries.asked import pairs_of
from labresults.queries.review_facts import Key


@dataclass(frozen=True)
class Column:
    """One element by one method."""

    method_id: int
    method: str
    element: str
    reported_as: str
    unit: str


def method_of(result: Result) -> str:
    """The code of the method that a result was measured by."""
    return str(result.evaluation.run.method_version.method.code)


def columns_of(
    request: Request | None, samples: Sequence[Sample], selections: dict[Key, Selection]
) -> tuple[list[Column], set[tuple[int, int]]]:
    """The columns in the order of methods and their determinations; pairs of sample and method asked for; 2 queries.

    Every result that stands has its column, whatever version of the method it was measured by.
    """
    asked = pairs_of(request, samples)
    used = {s.result.evaluation.run.method_version_id for s in selections.values()}
    methods = {method for _, method in asked} | {key[1] for key in selections}
    rows = list(
        Determination.objects.filter(method_version__method__in=methods)
        .select_related("method_version__method")
        .order_by("method_version__version", "ordinal")
    )
    chosen = _versions({row.method_version_id: row.method_version for row in rows}.values(), used)
    found: dict[tuple[int, str], Column] = {}
    for row in (row for row in rows if row.method_version_id in chosen):
        method = chosen[row.method_version_id].method
        found[method.pk, row.element_id] = Column(method.pk, method.code, row.element_id, row.reported_as, row.unit)
    for (_, method_id, element), selection in selections.items():
        result = selection.result
        extra = Column(method_id, method_of(result), element, result.reported_as, result.unit)
        found.setdefault((method_id, element), extra)
    return sorted(found.values(), key=lambda column: column.method), asked


def _versions(versions: Collection[MethodVersion], used: set[int]) -> dict[int, MethodVersion]:
    """Of each method the versions that results were measured by; without any, its newest."""
    measured = {version.method_id for version in versions if version.pk in used}
    newest = {version.method_id: version.pk for version in versions}
    kept = used | {pk for method, pk in newest.items() if method not in measured}
    return {version.pk: version for version in versions if version.pk in kept}
