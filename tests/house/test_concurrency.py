"""Two people at once: one writer at a time, nothing given twice, nothing half-done."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

import pytest
from django.db import connection

from labresults.actions.delivery import receive_samples
from labresults.actions.readings import import_readings
from labresults.acts import Refusal, WrongState
from labresults.models import AuditEvent, ReadingFile, Sample, Submission
from labresults.queries.history import broken_link
from labresults.readers.delivery import DeliveredSample
from reports.actions.certificates import issue_certificate
from reports.models import Certificate
from tests.builders import (
    NOW,
    Laboratory,
    a_reading_file,
    a_run,
    a_submission,
    a_weighed_batch,
    an_evaluated_run,
    approved,
)

pytestmark = pytest.mark.django_db(transaction=True)


def at_once(*acts: Callable[[], Any]) -> list[Any]:
    """Do acts in threads of their own, all begun together; a refusal is returned as what came of it."""
    start = Barrier(len(acts))

    def done(act: Callable[[], Any]) -> Any:
        try:
            start.wait()
            return act()
        except Refusal as refusal:
            return refusal
        finally:
            connection.close()

    with ThreadPoolExecutor(len(acts)) as threads:
        return list(threads.map(done, acts))


def test_deliveries_at_once_get_numbers_without_gap_or_repeat(lab: Laboratory) -> None:
    def delivery(name: str) -> Callable[[], Any]:
        rows = [DeliveredSample(row, f"{name} {row}", "soil") for row in range(1, 6)]
        return lambda: receive_samples(
            by=lab.people["reception"], at=NOW, client=lab.client, rows=rows, methods=[lab.method]
        )

    at_once(*(delivery(name) for name in "abcdef"))

    assert Submission.objects.count() == 6
    numbers = sorted(Sample.objects.values_list("number", flat=True))
    assert numbers == [f"KF26-{n:05d}" for n in range(1, 31)]
    for submission in Submission.objects.all():
        own = sorted(int(number[-5:]) for number in submission.samples.values_list("number", flat=True))
        assert own == list(range(own[0], own[0] + 5)), "numbers of one delivery stand together"
    assert broken_link() is None
    assert AuditEvent.objects.filter(act="receive_samples").count() == 6


def test_one_form_sent_twice_at_once_is_logged_once(lab: Laboratory) -> None:
    def sent() -> Submission:
        rows = [DeliveredSample(row, f"a {row}", "soil") for row in range(1, 6)]
        return receive_samples(
            by=lab.people["reception"], at=NOW, client=lab.client, rows=rows, methods=[lab.method], form_key="one form"
        )

    came = at_once(sent, sent, sent)

    assert [type(one) for one in came].count(WrongState) == 2
    assert (Submission.objects.count(), Sample.objects.count()) == (1, 5)


def test_two_people_cannot_issue_the_same_certificate(lab: Laboratory) -> None:
    submission = a_submission(lab)
    an_evaluated_run(lab, submission)
    approved(lab, submission)

    def issue() -> Any:
        return issue_certificate(by=lab.people["issuer"], at=NOW, submission=submission, rule_set=lab.rule_set)

    came = at_once(issue, issue)
    assert sorted(type(one) is WrongState for one in came) == [False, True]
    assert Certificate.objects.count() == 1


def test_the_same_file_is_taken_once(lab: Laboratory) -> None:
    run = a_run(lab, a_weighed_batch(lab, a_submission(lab)))
    content = a_reading_file(run)

    def take() -> Any:
        return import_readings(
            by=lab.people["analyst"], at=NOW, run=run, content=content, filename="n.csv", layout=lab.layout
        )

    came = at_once(take, take, take)
    assert sum(isinstance(one, ReadingFile) for one in came) == 1
    assert sum(isinstance(one, WrongState) for one in came) == 2
    assert run.readings.count() == run.positions.count() * 2
