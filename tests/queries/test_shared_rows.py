"""Results of one run share its evaluation, and what is read of them takes as many queries for many as for few."""

from collections.abc import Callable

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from labresults.models import Result, Submission
from labresults.queries.readiness import readiness
from labresults.queries.reportable import reportable
from labresults.queries.results import newest_results, newest_selections
from labresults.queries.review_pages import review_page
from labresults.queries.shared_rows import by_key, give
from reports.queries.previews import preview
from tests.builders import Laboratory, a_submission, an_evaluated_run, approved


@pytest.fixture
def small_and_large(lab: Laboratory) -> tuple[Submission, Submission]:
    """Two submissions of 2 and of 9 samples, measured and approved."""
    made = [a_submission(lab, count) for count in (2, 9)]
    for submission in made:
        an_evaluated_run(lab, submission)
        approved(lab, submission)
    return made[0], made[1]


def queries_of(do: Callable[[], object]) -> int:
    with CaptureQueriesContext(connection) as asked:
        do()
    return len(asked)


def test_queries_do_not_grow_with_the_samples(lab: Laboratory, small_and_large: tuple[Submission, Submission]) -> None:
    asked = {"rule_set": lab.rule_set, "by": lab.people["issuer"], "at": lab.later()}
    for what in (
        lambda of: readiness([of]),
        reportable,
        lambda of: preview(submission=of, **asked),
        lambda of: review_page(of.number).asking,
    ):
        small, large = (queries_of(lambda what=what, of=of: what(of)) for of in small_and_large)  # type: ignore[misc]
        assert small == large


def test_results_of_one_run_share_its_rows(small_and_large: tuple[Submission, Submission]) -> None:
    found = reportable(small_and_large[1])
    results = list(found.results.values())
    assert len(results) == 18
    assert len({id(result.evaluation) for result in results}) == 1
    assert len({id(decided.review) for decided in found.decisions.values()}) == 1


def test_the_results_alone_are_those_of_the_selections(small_and_large: tuple[Submission, Submission]) -> None:
    samples = [sample.pk for submission in small_and_large for sample in submission.samples.all()]
    selections = newest_selections(sample_ids=samples)
    assert newest_results(samples) == {key: row.result for key, row in selections.items()}
    # and results that are known already are given as they are
    known = {row.result_id: row.result for row in selections.values()}
    again = newest_selections(sample_ids=samples, known=known)
    assert all(again[key].result is known[row.result_id] for key, row in selections.items())


def test_what_is_not_there_is_left_to_be_asked_for(small_and_large: tuple[Submission, Submission]) -> None:
    rows = list(Result.objects.filter(is_candidate=True))
    give(rows, "line", by_key(rows[0].line.__class__.objects.all(), []))
    assert not any(Result.line.is_cached(row) for row in rows[1:])
