"""What a reviewer sent back or refused and nobody has mended. Each function says how many database queries it makes."""

from dataclasses import dataclass
from typing import Any

from django.db.models import OuterRef, QuerySet, Subquery

from labresults.models import Review, ReviewedResult, Selection
from labresults.queries.turned_down import standing, to_prepare, turned_down
from labresults.queries.waiting import newest_open_requests
from labresults.terms import Station


@dataclass(frozen=True)
class SentBack:
    """Samples of one submission that are to be prepared or measured again by a method, for one reason."""

    review: Review
    station: Station
    method: str
    submission: str
    samples: tuple[str, ...]
    elements: tuple[str, ...]


def sent_back(station: Station, code: str | None = None) -> list[SentBack]:
    """What waits at Preparation or at Runs because a reviewer did not approve it, the oldest first; two queries.

    It leaves Preparation when the sample is weighed again in a later batch, and Runs when another result stands.
    """
    rows = turned_down(standing()).filter(sample__submission__requests__in=newest_open_requests().values("pk"))
    anew = to_prepare(rows)
    rows = anew if station == Station.PREPARATION else rows.exclude(pk__in=anew.values("pk"))
    if code is not None:
        rows = rows.filter(method__code=code)
    return _grouped(station, rows)


def _grouped(station: Station, selections: QuerySet[Selection]) -> list[SentBack]:
    newest = ReviewedResult.objects.filter(result=OuterRef("result")).order_by("-pk")
    rows = selections.annotate(review=Subquery(newest.values("review")[:1])).filter(sample__struck_at=None)
    columns = ("review", "method__code", "sample__submission__number", "sample__number", "element")
    found: dict[tuple[Any, ...], tuple[dict[str, None], dict[str, None]]] = {}
    for *key, sample, element in rows.order_by(*columns).distinct().values_list(*columns):
        samples, elements = found.setdefault(tuple(key), ({}, {}))
        samples[sample], elements[element] = None, None
    reviews = Review.objects.select_related("made_by").in_bulk({key[0] for key in found}) if found else {}
    return [
        SentBack(reviews[review], station, code, number, tuple(samples), tuple(elements))
        for (review, code, number), (samples, elements) in found.items()
    ]
