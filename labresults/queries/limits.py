"""Limits that samples are compared with, and results that can never be judged by them."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

from django.db.models import Count, QuerySet

from labresults.models import Limit, LimitSet, Result, Sample, Submission
from labresults.queries.derived import newest_definitions
from labresults.terms import LimitSide

if TYPE_CHECKING:
    from labresults.models import Request

LimitsOfSamples = Mapping[int, Mapping[str, Limit]]
"""By the key of a sample, then by the symbol of an element, or by the code of a derived result."""


def limits_of(submission: Submission, samples: Sequence[Sample]) -> LimitsOfSamples:
    """What each sample is compared with: its own limits, else those of the newest request; three queries."""
    request: Request | None = submission.requests.order_by("-version").first()
    if request is None:
        return {}
    own = dict(request.terms.filter(sample__in=samples).values_list("sample", "limit_set"))
    chosen = {sample.pk: own.get(sample.pk, request.limit_set_id) for sample in samples}
    rows: dict[int, dict[str, Limit]] = defaultdict(dict)
    for limit in Limit.objects.filter(limit_set__in=set(chosen.values()) - {None}).select_related("limit_set"):
        rows[limit.limit_set_id][limit.of] = limit
    return {sample: rows[limit_set] for sample, limit_set in chosen.items() if limit_set}


def out_of_reach(results: Iterable[Result], limits: LimitsOfSamples) -> dict[int, str]:
    """Results whose own detection limit lies above the limit that they are compared with, in words; no query.

    Such a result cannot be decided (job of a repeat with a larger portion or less dilution), by the key of the result.
    """
    found = {}
    for result in results:
        limit = limits.get(result.sample_id or 0, {}).get(result.element_id)
        if limit is None or limit.side != LimitSide.AT_MOST or result.reported_as != result.element_id:
            continue
        same = (limit.unit, limit.limit_set.basis) == (result.unit, result.basis)
        if same and result.detection_limit and result.detection_limit > limit.value and _is_below(result):
            found[result.pk] = (
                f"Cannot be decided: its detection limit of {result.detection_limit:.3g} {result.unit} is above the "
                f"limit of {limit.value:g} {limit.unit} ({limit.limit_set}). Measure again with a larger portion, less "
                "dilution, or a method that sees less."
            )
    return found


def _is_below(result: Result) -> bool:
    return result.value is not None and result.value < (result.detection_limit or 0.0)


def limit_sets() -> QuerySet[LimitSet]:
    """Every edition of every set of limits, newest first, with how many limits it has; one query when it is shown."""
    return LimitSet.objects.annotate(limit_count=Count("limits")).order_by("name", "-pk")


def derived_units() -> list[tuple[str, str]]:
    """Codes of derived results, each with the unit that a limit on it is given in; one query."""
    return list(newest_definitions().values_list("code", "unit"))


def limit_set(key: int) -> LimitSet:
    """One edition with its limits; two queries. Raises LimitSet.DoesNotExist."""
    return LimitSet.objects.prefetch_related("limits").get(pk=key)
