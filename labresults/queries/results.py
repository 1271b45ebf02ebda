"""Results, selections and reviews, read. Each function says how many database queries it makes."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple

import numpy as np
from django.db.models import Case, Exists, F, OuterRef, QuerySet, Value, When

from labresults.calculation.selection import Candidate, Candidates
from labresults.models import (
    Evaluation,
    Position,
    Result,
    Review,
    ReviewedResult,
    Selection,
    Submission,
)
from labresults.queries.failures import Place, Row, batch_failures, failures_of, of_failed_batches
from labresults.queries.overtaken import overtaken
from labresults.queries.shared_rows import by_key, give, give_evaluations, give_shared, in_parts
from labresults.terms import OF_POSITIONS, Decision, Verdict


def as_candidates(results: Collection[Result]) -> list[Candidate]:
    """Samples' results as the rule of selection sees them; the queries of `failures_of` and one.

    A failed control sample counts until somebody accepts it by name; so does what a reviewer refused or sent back.
    """
    failures, decided = failures_of(results), newest_decisions([result.pk for result in results])
    refused = {pk for pk, row in decided.items() if row.review.decision != Decision.APPROVE}
    return [
        Candidate(
            key=result.pk,
            sample=result.sample_id,
            element=result.element_id,
            rank=result.rank,
            has_value=result.value is not None,
            holds=not failures[result.pk]["open"] and result.pk not in refused,
        )
        for result in results
        if result.sample_id is not None
    ]


def candidates_of(evaluation: Evaluation) -> Candidates:
    """Results of samples in an evaluation, as the rule of selection sees them; four queries, or up to seven."""
    positions = Position.objects.filter(run=evaluation.run_id).values_list("pk", "number", "portion")
    places = {pk: Place(number, portion) for pk, number, portion in positions}
    results = Result.objects.filter(evaluation=evaluation, is_candidate=True, sample__isnull=False).order_by("pk")
    rows = list(results.values_list("pk", "position_id", "line_id", "element_id", "sample_id", "rank", "value"))
    touched = _touched(evaluation, rows, places)
    keys, _, _, elements, samples, ranks, values = zip(*rows, strict=True) if rows else [()] * 7
    return Candidates(
        keys=np.array(keys, dtype=np.int64),
        samples=np.array(samples, dtype=np.int64),
        elements=np.array(elements, dtype="U2"),
        ranks=np.array(ranks, dtype=np.int64),
        has_value=np.array([value is not None for value in values], dtype=np.bool_),
        holds=np.array([key not in touched for key in keys], dtype=np.bool_),
    )


def _touched(evaluation: Evaluation, rows: Sequence[tuple[Any, ...]], places: Mapping[int, Place]) -> set[int]:
    """Keys of the results that an open failure speaks against: of their own evaluation, or of their batch elsewhere.

    Two queries; where a batch failed in another run, those of `_batch_failures` as well.
    """
    own = evaluation.outcomes.filter(verdict=Verdict.OUTSIDE, acceptance__isnull=True)
    cells: set[tuple[int, int | None]] = set()
    for measure, line, touches in own.values_list("measure", "line_id", "touches"):
        cells.update((number, None if measure in OF_POSITIONS else line) for number in touches)
    found = {
        pk
        for pk, place, line, *_ in rows
        if (places[place].number, line) in cells or (places[place].number, None) in cells
    }
    portions = {place.portion_id for place in places.values() if place.portion_id}
    if of_failed_batches(portions).exclude(evaluation=evaluation).exists():
        keyed = [Row(pk, evaluation.pk, places[place], line, element) for pk, place, line, element, *_ in rows]
        open_ones = (row.pk for row, outcome in batch_failures(keyed, None) if not hasattr(outcome, "acceptance"))
        found.update(open_ones)
    return found


def newest_selections(
    *,
    sample_ids: Collection[int],
    method_id: int | None = None,
    but_of_run: int | None = None,
    until: datetime | None = None,
    known: Mapping[int, Result] | None = None,
) -> dict[tuple[int, int, str], Selection]:
    """The selection that counts, by sample, method and element; four queries, one where all of their results are known.

    but_of_run: leave out those whose result is of this run. until: the one that counted at that moment. known: results
    by key that the caller has, with all that they share.
    """
    counting = _counting(sample_ids, until)
    if method_id is not None:
        counting = counting.filter(method=method_id)
    if but_of_run is not None:
        counting = counting.exclude(result__evaluation__run=but_of_run)
    rows = list(counting if known is not None else counting.select_related("result"))
    if known is None:
        give_shared([row.result for row in rows])
    else:
        strange = by_key(Result.objects.all(), (row.result_id for row in rows if row.result_id not in known))
        give_shared(list(strange.values()))
        give(rows, "result", {**known, **strange})
    return {(row.sample_id, row.method_id, row.element_id): row for row in rows}


def newest_results(sample_ids: Collection[int], until: datetime | None = None) -> dict[tuple[int, int, str], Result]:
    """The results that `newest_selections` name, by sample, method and element, without their lines; two queries.

    Half the time: of tens of thousands of selections nobody asks who chose them.
    """
    counting = _counting(sample_ids, until).values("pk")
    rows = Result.objects.filter(selections__in=counting, sample__in=sample_ids).annotate(by=F("selections__method"))
    found = {(row.sample_id or 0, row.by, row.element_id): row for row in rows.select_related("position")}
    give_evaluations(found.values())
    return found


def _counting(sample_ids: Collection[int], until: datetime | None) -> QuerySet[Selection]:
    """The selections of samples that count, or that counted at a moment."""
    rows = Selection.objects.all() if until is None else Selection.objects.filter(made_at__lte=until)
    # A look into the index for each row, whatever the statistics of the table say; a sorted list of the newest keys of
    # all groups took minutes where they said that it is empty.
    newer = rows.filter(
        sample=OuterRef("sample"), method=OuterRef("method"), element=OuterRef("element"), pk__gt=OuterRef("pk")
    )
    return rows.filter(~Exists(newer), sample__in=sample_ids)


class Decided(NamedTuple):
    """What was decided of a result. overtaken: approved, and its moisture was recorded since, as `overtaken` says."""

    review: Review
    overtaken: bool = False

    @property
    def review_id(self) -> int:
        """The key of the review."""
        return self.review.pk


def newest_decisions(
    result_ids: Iterable[int], until: datetime | None = None, of_samples: Collection[int] | None = None
) -> dict[int, Decided]:
    """What was decided last of each result, by its key; two queries for `AT_ONCE` of them. until: last at that moment.

    Less the approvals that a later drying overtook: those wait to be reviewed again. Of a moment all of them count.
    of_samples: keys of samples that all of the results are of, where there are fewer of these to ask for.
    """
    found = newest_reviews(result_ids, until, of_samples)
    return {key: decided for key, decided in found.items() if not decided.overtaken}


def newest_reviews(
    result_ids: Iterable[int], until: datetime | None = None, of_samples: Collection[int] | None = None
) -> dict[int, Decided]:
    """As `newest_decisions`, with the approvals that were overtaken; two queries likewise."""
    wanted = set(result_ids)
    if of_samples is None:
        asked = [ReviewedResult.objects.filter(result__in=some) for some in in_parts(wanted)]
    else:
        asked = [ReviewedResult.objects.filter(result__sample__in=of_samples)]
    columns = (row for rows in asked for row in _review_columns(rows, until))
    newest = {key: (review, late) for key, review, late in columns if key in wanted}
    reviews = by_key(Review.objects.select_related("made_by"), (review for review, _ in newest.values()))
    decided = {each: Decided(reviews[each[0]], each[1]) for each in set(newest.values())}
    return {key: decided[each] for key, each in newest.items()}


def _review_columns(rows: QuerySet[ReviewedResult], until: datetime | None) -> QuerySet[Any, tuple[int, int, bool]]:
    """Result, review and whether it was overtaken, the oldest first; part of `newest_reviews`."""
    if until is None:
        rows = rows.annotate(overtaken=Case(When(overtaken(), then=True), default=False))
    else:
        rows = rows.filter(review__made_at__lte=until).annotate(overtaken=Value(False))
    return rows.order_by("pk").values_list("result_id", "review_id", "overtaken")


def turned_down_among(result_ids: Collection[int]) -> dict[int, str]:
    """What was decided last of those that were refused or sent back, by the result's key; one query for `AT_ONCE`."""
    decided: dict[int, str] = {}
    for some in in_parts(result_ids):
        rows = ReviewedResult.objects.filter(result__in=some).order_by("pk")
        decided.update(rows.values_list("result_id", "review__decision"))
    return {key: decision for key, decision in decided.items() if decision != Decision.APPROVE}


def waiting_for_review(submission: Submission) -> list[int]:
    """Keys of the selected results of a submission that nobody has decided about; seven queries."""
    samples = list(submission.samples.filter(struck_at=None).values_list("pk", flat=True))
    selections = newest_selections(sample_ids=samples)
    chosen = sorted(selection.result_id for selection in selections.values())
    decided = newest_decisions(chosen, of_samples=samples)
    return [pk for pk in chosen if pk not in decided]
