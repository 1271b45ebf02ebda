"""Holding times that run out: of open samples that were not measured yet, soonest first."""

from datetime import UTC, datetime

import pytest
from pytest_django import DjangoAssertNumQueries

from labresults.actions.delivery import receive_samples
from labresults.actions.holding import register_holding_time
from labresults.models import Element, Matrix, Submission
from labresults.queries.holding import Holding, holding_ends
from labresults.readers.delivery import DeliveredSample
from tests.builders import NOW, Laboratory, an_evaluated_run


@pytest.fixture
def held(lab: Laboratory) -> Submission:
    """Soil may wait ten days, its lead four; the samples were taken on different days, one nobody knows when."""
    who = {"by": lab.people["quality manager"], "at": NOW, "matrix": Matrix.objects.get(name="soil")}
    register_holding_time(hours=240, source="common practice, no source", **who)
    register_holding_time(hours=96, source="a standard", element=Element.objects.get(pk="Pb"), **who)
    rows = [
        DeliveredSample(1, "later", "soil", sampled="2026-11-15"),
        DeliveredSample(2, "sooner", "soil", sampled="2026-11-14 12:00"),
        DeliveredSample(3, "not said", "soil"),
        DeliveredSample(4, "no holding time", "rock", sampled="2026-11-14"),
    ]
    return receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, rows=rows, methods=[lab.method]
    )


def test_what_runs_out_before_a_moment(
    lab: Laboratory, held: Submission, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    later, sooner = held.samples.order_by("ordinal")[:2]
    with django_assert_num_queries(3):
        waits = holding_ends(datetime(2026, 11, 19, 0, 1, tzinfo=UTC))
    assert [(wait.sample, wait.method, wait.ends_at) for wait in waits] == [
        (sooner.number, "AR-7", datetime(2026, 11, 18, 12, tzinfo=UTC)),
        (later.number, "AR-7", datetime(2026, 11, 19, tzinfo=UTC)),
    ]
    # copper may wait until 24 November: only lead ends before
    assert [(end.element, str(end.holding)) for end in waits[0].ends] == [("Pb", "4 days")]
    assert holding_ends(datetime(2026, 11, 18, 12, tzinfo=UTC)) == []


def test_what_is_measured_waits_no_more(lab: Laboratory, held: Submission) -> None:
    an_evaluated_run(lab, held)
    assert holding_ends(datetime(2027, 1, 1, tzinfo=UTC)) == []


@pytest.mark.parametrize(
    ("hours", "words"), [(672.0, "28 days"), (24.0, "1 day"), (36.0, "36 hours"), (1.0, "1 hour"), (0.5, "0.5 hours")]
)
def test_a_time_in_words(hours: float, words: str) -> None:
    assert str(Holding(hours, "")) == words
