"""A client's earlier samples of the same matrix. Each function says how many database queries it makes."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Exists, OuterRef, QuerySet

from labresults.models import Result, Sample, Selection
from labresults.terms import Mark

MOST_EARLIER = 200
"""So many of the client's newest earlier samples are looked at, whatever their matrix."""

Series = tuple[int, str, str, str, str, str]
"""Matrix, method, element, what it is reported as, unit, basis."""


@dataclass(frozen=True)
class Past:
    """The result that stands of an earlier sample, in the unit of its series."""

    result: int
    sample: str
    identification: str
    received_at: datetime
    value: float
    is_below: bool
    detection_limit: float


Earlier = Mapping[Series, list[Past]]
"""Earlier results by series, the oldest first."""


def earlier_values(samples: Collection[Sample]) -> Earlier:
    """What stands of the earlier samples of these samples' client and matrices, above the detection limit.

    One query a submission, however many samples and earlier ones there are: at most `MOST_EARLIER` of these count.
    """
    found: dict[Series, list[Past]] = {}
    submissions = {row.submission_id: row for row in samples}
    for row in submissions.values():
        for key, past in _series(row, {one.matrix_id for one in samples}):
            if not past.is_below:
                found.setdefault(key, []).append(past)
    return found


def earlier_of(result: Result, most: int = 12) -> list[Past]:
    """The newest earlier results like this one of the same client, the oldest first; one query."""
    if result.sample is None:
        return []
    method = result.evaluation.run.method_version.method.code
    ours = (result.sample.matrix_id, method, result.element_id, result.reported_as, result.unit, result.basis)
    found = [past for key, past in _series(result.sample, {result.sample.matrix_id}, result.element_id) if key == ours]
    return found[-most:]


def _series(of: Sample, matrices: Collection[int], element: str = "") -> list[tuple[Series, Past]]:
    """Earlier results that stand of the client of a sample, the oldest first; one query."""
    newest = _before(of, matrices).values("pk")[:MOST_EARLIER]
    later = Selection.objects.filter(
        sample=OuterRef("sample"), method=OuterRef("method"), element=OuterRef("element"), pk__gt=OuterRef("pk")
    )
    rows = Selection.objects.filter(~Exists(later), sample__in=newest, result__value__isnull=False)
    if element:
        rows = rows.filter(element=element)
    columns = rows.order_by("sample__submission__received_at", "sample__ordinal").values_list(
        "sample__matrix", "method__code", "element", "result__reported_as", "result__unit", "result__basis", "result",
        "sample__number", "sample__client_identification", "sample__submission__received_at", "result__value",
        "result__marks", "result__detection_limit",
    )  # fmt: skip
    found = []
    for *key, pk, number, identification, at, value, marks, limit in columns:
        past = Past(pk, number, identification, at, value, Mark.BELOW_DETECTION in marks, limit)
        if Mark.OVER_RANGE not in marks:
            found.append(((key[0], key[1], key[2], key[3], key[4], key[5]), past))
    return found


def _before(of: Sample, matrices: Collection[int]) -> QuerySet[Sample]:
    """Samples of the same client received before, the newest first."""
    rows = Sample.objects.filter(
        submission__client=of.submission.client_id,
        submission__received_at__lt=of.submission.received_at,
        matrix__in=matrices,
        struck_at=None,
    )
    return rows.order_by("-submission__received_at", "-ordinal")
