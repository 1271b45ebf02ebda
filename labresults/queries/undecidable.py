"""Results that cannot be compared with their limit: the detection limit lies above it. Says its database queries."""

from collections.abc import Collection, Iterable

from django.db.models import Exists, OuterRef, Q, QuerySet

from labresults.calculation.errors import CalculationError
from labresults.calculation.stoichiometry import compound_factor
from labresults.calculation.units import factor
from labresults.models import Limit, Request, RequestedTerms, Result, Sample
from labresults.terms import LimitSide, Mark


def undecidable(samples: Collection[Sample], results: Iterable[Result]) -> dict[int, str]:
    """Why each of these results cannot be compared with what its sample is compared with, by key; at most 2 queries.

    It is below its detection limit, and the limit lies below that: whether it is met nobody can say.
    """
    below = [result for result in results if Mark.BELOW_DETECTION in result.marks and result.detection_limit]
    limits = _limits(samples) if below else {}
    found: dict[int, str] = {}
    for result in below:
        limit = limits.get((result.sample_id, result.element_id))
        if limit is not None and (reach := _lowest_that_is_seen(result, limit)) is not None and reach > limit.value:
            found[result.pk] = (
                f"Below its detection limit, {reach:.3g} {limit.unit}, and the limit of {limit.limit_set} is"
                f" {limit.value:.3g} {limit.unit}: it cannot be decided. Measure it again with a larger portion or"
                " less dilution."
            )
    return found


def _limits(samples: Collection[Sample]) -> dict[tuple[int, str], Limit]:
    """The upper limit of each sample and element by the newest request, of all or a sample's own; 2 queries."""
    submissions = {row.submission_id for row in samples}
    terms = RequestedTerms.objects.filter(request__in=_newest(submissions), limit_set=OuterRef("limit_set"))
    rows = (
        Limit.objects.filter(Exists(terms) | Q(limit_set__in=_newest(submissions).values("limit_set")))
        .filter(side=LimitSide.AT_MOST, element__isnull=False)
        .select_related("limit_set")
    )
    by_set: dict[int, list[Limit]] = {}
    for row in rows:
        by_set.setdefault(row.limit_set_id, []).append(row)
    sets = _sets(submissions) if by_set else {}
    return {
        (sample.pk, limit.element_id): limit
        for sample in samples
        for limit in by_set.get(
            sets.get((sample.submission_id, sample.pk), sets.get((sample.submission_id, 0))) or 0, ()
        )
    }


def _sets(submissions: Collection[int]) -> dict[tuple[int, int], int | None]:
    """The set of limits by submission and sample, 0 for every sample without one of its own; one query."""
    found: dict[tuple[int, int], int | None] = {}
    columns = ("submission", "limit_set", "terms__sample", "terms__limit_set")
    for submission, of_all, sample, own in _newest(submissions).values_list(*columns):
        found[submission, 0] = of_all
        if sample:
            found[submission, sample] = own
    return found


def _newest(submissions: Collection[int]) -> QuerySet[Request]:
    newer = Request.objects.filter(submission=OuterRef("submission"), version__gt=OuterRef("version"))
    return Request.objects.filter(~Exists(newer), submission__in=submissions)


def _lowest_that_is_seen(result: Result, limit: Limit) -> float | None:
    """The detection limit of a result as the element in the unit of the limit; None where no factor leads there."""
    try:
        as_element = compound_factor(result.reported_as, result.element_id)
        return float(result.detection_limit * float(factor(result.unit, limit.unit)) / as_element)
    except CalculationError:
        return None
