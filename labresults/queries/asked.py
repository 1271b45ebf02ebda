"""Which methods are asked of which samples: those of the whole submission, or a sample's own instead of them."""

from collections.abc import Iterable
from typing import Any

from django.db.models import Exists, F, OuterRef, Q, QuerySet

from labresults.models import Request, RequestedMethod, Sample


def samples_and_methods(requests: QuerySet[Any, Any] | Iterable[int]) -> QuerySet[Sample]:
    """One row for each sample and method that requests (by key) ask of it, struck samples left out; part of a query.

    Annotated: `method` (key) and `code`. A sample that asks for methods of its own is not asked for those of all.
    """
    own = RequestedMethod.objects.filter(request=OuterRef("in_request"), sample=OuterRef("pk"))
    return (
        Sample.objects.filter(
            submission__requests__in=requests, submission__requests__methods__isnull=False, struck_at=None
        )
        .annotate(
            in_request=F("submission__requests"),
            asked_by=F("submission__requests__methods__sample"),
            method=F("submission__requests__methods__method"),
            code=F("submission__requests__methods__method__code"),
        )
        .filter(Q(asked_by=F("pk")) | Q(asked_by__isnull=True) & ~Exists(own))
    )


def pairs_of(request: Request | None, samples: Iterable[Sample]) -> set[tuple[int, int]]:
    """Keys of each sample and method that a request asks of it, among these samples; one query."""
    asked = list(RequestedMethod.objects.filter(request=request).values_list("method_id", "sample_id"))
    own = {sample for _, sample in asked if sample}
    return {
        (sample.pk, method)
        for sample in samples
        for method, of in asked
        if of == sample.pk or (of is None and sample.pk not in own)
    }
