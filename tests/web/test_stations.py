"""Where a sample stands is derived from what happened to it, and asked again only when something happened."""

from collections import Counter
from collections.abc import Callable
from datetime import date

import pytest
from django.db import connection
from pytest_django import DjangoAssertNumQueries

from labresults.actions.requests import change_request
from labresults.actions.review import refuse_results, send_back_results
from labresults.actions.samples import state_not_measured
from labresults.models import Submission
from labresults.queries.results import waiting_for_review
from labresults.queries.waiting import open_work
from labresults.terms import Basis, NotMeasured
from reports.actions.certificates import withdraw_certificate
from tests.builders import (
    PASSWORD,
    Laboratory,
    a_certificate,
    a_run,
    a_submission,
    a_weighed_batch,
    an_evaluated_run,
    an_imported_file,
    approved,
)


def received(lab: Laboratory) -> Submission:
    return a_submission(lab, 2)


def nothing_asked(lab: Laboratory) -> Submission:
    submission = a_submission(lab, 2)
    change_request(
        by=lab.people["reception"], at=lab.later(), reason="all cancelled", submission=submission, methods=[],
        basis=Basis.AS_RECEIVED, due_on=date(2026, 12, 1), agreed_with="the client",
    )  # fmt: skip
    return submission


def weighed(lab: Laboratory) -> Submission:
    submission = a_submission(lab, 2)
    a_weighed_batch(lab, submission)
    return submission


def imported(lab: Laboratory) -> Submission:
    submission = a_submission(lab, 2)
    an_imported_file(lab, a_run(lab, a_weighed_batch(lab, submission)))
    return submission


def evaluated(lab: Laboratory) -> Submission:
    submission = a_submission(lab, 2)
    an_evaluated_run(lab, submission)
    return submission


def refused(lab: Laboratory) -> Submission:
    submission = evaluated(lab)
    refuse_results(
        by=lab.people["reviewer"], at=lab.later(), reason="spilled", results=waiting_for_review(submission),
        password=PASSWORD,
    )  # fmt: skip
    return submission


def sent_back(lab: Laboratory) -> Submission:
    submission = evaluated(lab)
    send_back_results(
        by=lab.people["reviewer"], at=lab.later(), reason="look again", results=waiting_for_review(submission),
        password=PASSWORD,
    )  # fmt: skip
    return submission


def all_approved(lab: Laboratory) -> Submission:
    return approved(lab, evaluated(lab))


def all_in_words(lab: Laboratory) -> Submission:
    submission = a_submission(lab, 2)
    for sample in submission.samples.all():
        state_not_measured(
            by=lab.people["reception"], at=lab.later(), reason="the bag was empty", sample=sample, method=lab.method,
            word=NotMeasured.INSUFFICIENT,
        )  # fmt: skip
    return submission


def certified(lab: Laboratory) -> Submission:
    submission = all_approved(lab)
    a_certificate(lab, submission, draw=False)
    return submission


def withdrawn(lab: Laboratory) -> Submission:
    submission = all_approved(lab)
    certificate = a_certificate(lab, submission)
    withdraw_certificate(by=lab.people["issuer"], at=lab.later(), reason="wrong client", certificate=certificate)
    return submission


@pytest.mark.parametrize(
    ("happened", "stations"),
    [
        (received, {"preparation": 2}),
        (nothing_asked, {"reception": 2}),
        (weighed, {"runs": 2}),
        (imported, {"runs": 2}),
        (evaluated, {"review": 2}),
        (refused, {"runs": 2}),
        (sent_back, {"runs": 2}),
        (all_approved, {"certificates": 2}),
        (all_in_words, {"certificates": 2}),
        (certified, {}),
        (withdrawn, {"certificates": 2}),
    ],
    ids=lambda value: value.__name__ if callable(value) else "",
)
def test_where_samples_stand(
    happened: Callable[[Laboratory], Submission], stations: dict[str, int], lab: Laboratory
) -> None:
    happened(lab)
    counted: Counter[str] = Counter()
    for row in open_work():
        counted[row.station.value] += row.samples
    assert dict(counted) == stations


def test_a_sample_in_words_goes_ahead_of_the_others(lab: Laboratory) -> None:
    submission = a_submission(lab, 3)
    state_not_measured(
        by=lab.people["reception"], at=lab.later(), reason="never came", sample=submission.samples.first(),
        method=lab.method, word=NotMeasured.NOT_RECEIVED,
    )  # fmt: skip
    assert {(row.station.value, row.samples) for row in open_work()} == {("preparation", 2), ("certificates", 1)}


def test_late_is_the_day_after(lab: Laboratory) -> None:
    a_submission(lab, 1, due_on=date(2026, 11, 17))
    (row,) = open_work()
    assert [row.days_late(date(2026, 11, day)) for day in (16, 17, 18, 20)] == [0, 0, 1, 3]


def test_it_is_asked_again_only_after_an_act(
    lab: Laboratory, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    a_submission(lab, 2)
    with django_assert_num_queries(2):  # nothing is kept yet: no need to ask first whether it still holds
        open_work()
    with django_assert_num_queries(1):
        assert sum(row.samples for row in open_work()) == 2
    a_submission(lab, 3)
    with django_assert_num_queries(3):
        assert sum(row.samples for row in open_work()) == 5


def test_a_delivery_that_comes_while_nothing_is_open_is_seen_at_once(lab: Laboratory) -> None:
    # given a page that finds nothing open, and a delivery that is logged before that page has its answer
    came: list[Submission] = []
    asked: list[str] = []

    def meanwhile(execute: Callable[..., object], sql: str, *rest: object) -> object:
        answer = execute(sql, *rest)
        if "labresults_request" in sql and not asked:
            asked.append(sql)  # once: the delivery asks for requests too
            came.append(a_submission(lab, 2))
        return answer

    with connection.execute_wrapper(meanwhile):
        assert open_work() == ()
    # then whoever asks next sees it
    assert [row.submission for row in open_work()] == [came[0].number]
