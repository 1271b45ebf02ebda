"""A sample's own methods stand instead of those of all, wherever it is asked what is asked for."""

from datetime import date

import pytest
from pytest_django import DjangoAssertNumQueries

from labresults.actions.delivery import receive_samples
from labresults.acts import BadInput
from labresults.models import Method, Submission
from labresults.queries.asked import pairs_of, samples_and_methods
from labresults.queries.bench_waiting import samples_to_begin
from labresults.queries.due import due_on
from labresults.queries.review_pages import review_page
from labresults.queries.waiting import open_work
from labresults.readers.delivery import DeliveredSample
from tests.builders import Laboratory, a_method

ASKED = {("as all", "AR-7"), ("another", "AR-8"), ("both", "AR-7"), ("both", "AR-8")}


@pytest.fixture
def mixed(lab: Laboratory) -> Submission:
    """Three samples: the first as all (AR-7), the second by AR-8 only, the third by both."""
    a_method(lab.people["quality manager"], "AR-8")
    rows = [
        DeliveredSample(1, "as all", "soil"),
        DeliveredSample(2, "another", "soil", methods=("AR-8",)),
        DeliveredSample(3, "both", "soil", methods=("AR-7", "AR-8")),
    ]
    return receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, rows=rows, methods=[lab.method]
    )


def test_one_row_for_each_sample_and_method(
    mixed: Submission, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    with django_assert_num_queries(1):
        rows = list(samples_and_methods(mixed.requests.values("pk")).values_list("client_identification", "code"))
    assert sorted(rows) == sorted(ASKED)


def test_the_pairs_of_a_request(mixed: Submission) -> None:
    samples = list(mixed.samples.all())
    names = {sample.pk: sample.client_identification for sample in samples}
    codes = dict(Method.objects.values_list("pk", "code"))
    assert {(names[sample], codes[method]) for sample, method in pairs_of(mixed.requests.get(), samples)} == ASKED


def test_the_bench_the_ribbon_and_the_review_ask_the_same(lab: Laboratory, mixed: Submission) -> None:
    waiting = {c: {s.client_identification for s in samples_to_begin(c, lab.clock)} for c in ("AR-7", "AR-8")}
    assert waiting == {"AR-7": {"as all", "both"}, "AR-8": {"another", "both"}}
    (row,) = open_work()
    assert (row.samples, row.methods) == (3, "AR-7, AR-8")
    # copper and lead by each method that was asked for, and nothing that was not
    assert review_page(mixed.number).missing == 2 * len(ASKED)


def test_the_turnaround_is_that_of_the_valid_version_or_of_the_newest(lab: Laboratory) -> None:
    # v1 from 1 January with seven working days; v2 from 1 December with three
    quality = lab.people["quality manager"]
    a_method(quality, turnaround_days=3, valid_from=date(2026, 12, 1))
    monday = date(2026, 11, 16)
    assert due_on([lab.method], monday, date(2026, 11, 30)) == date(2026, 11, 25)
    assert due_on([lab.method], monday, date(2026, 12, 1)) == date(2026, 11, 19)
    assert due_on([lab.method], monday, date(2025, 6, 1)) == date(2026, 11, 19)  # none was valid: the newest


def test_a_turnaround_that_no_calendar_holds_is_said_in_words(lab: Laboratory) -> None:
    slow = a_method(lab.people["quality manager"], "AR-8", turnaround_days=30_000).method
    with pytest.raises(BadInput, match="Or give the day on which it is due"):
        due_on([slow], date(2026, 11, 16), date(2026, 11, 16))
