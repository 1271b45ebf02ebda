"""More results than one query takes keys of: a submission evaluated again and again is reviewed all the same."""

import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import connection

from labresults.actions.evaluation import evaluate_run
from labresults.actions.nonconforming import open_nonconforming_work
from labresults.actions.review import approve_results, refuse_results
from labresults.models import Result, Submission
from labresults.queries import shared_rows
from labresults.queries.forward import Doubt
from labresults.queries.nonconforming import held
from labresults.queries.readiness import readiness
from labresults.queries.results import newest_decisions, turned_down_among, waiting_for_review
from labresults.queries.review_facts import facts_of, samples_of
from labresults.queries.review_pages import review_page
from labresults.terms import Decision, DoubtKind
from tests.builders import PASSWORD, Laboratory, a_certificate, a_submission, an_evaluated_run

AT_ONCE, MOST = 25, 75
SAMPLES = 20


@pytest.fixture
def many(lab: Laboratory, monkeypatch: pytest.MonkeyPatch) -> Submission:
    """20 samples by 2 elements, evaluated three times: 120 results, where 25 keys are asked for at once."""
    submission = a_submission(lab, SAMPLES)
    evaluation = an_evaluated_run(lab, submission)
    for _ in range(2):
        evaluate_run(by=lab.people["analyst"], at=lab.later(), reason="again", run=evaluation.run)
    assert Result.objects.filter(sample__submission=submission).count() >= 120
    monkeypatch.setattr(shared_rows, "AT_ONCE", AT_ONCE)
    return submission


@contextmanager
def at_most(most: int) -> Iterator[None]:
    """No question with a longer list of keys than is asked for at once, nor with more parameters than so many."""

    def counted(execute: Callable[..., Any], sql: str, params: Sequence[object], *more: Any) -> Any:
        if sql.startswith("SELECT"):
            assert len(params or ()) <= most, sql
            assert all(keys.count("%s") <= AT_ONCE for keys in re.findall(r"IN \(([%s, ]+)\)", sql)), sql
        return execute(sql, params, *more)

    with connection.execute_wrapper(counted):
        yield


def test_it_is_read_decided_and_certified(lab: Laboratory, many: Submission) -> None:
    signing: dict[str, Any] = {"by": lab.people["reviewer"], "password": PASSWORD}
    with at_most(MOST):
        waiting = waiting_for_review(many)
        assert len(review_page(many.number).waiting) == len(waiting) == 2 * SAMPLES
        refuse_results(at=lab.later(), reason="spilled", results=waiting[:30], **signing)
        evaluate_run(
            by=lab.people["analyst"], at=lab.later(), reason="again", run=Result.objects.all()[0].evaluation.run
        )
        again = waiting_for_review(many)
        approve_results(at=lab.later(), results=again, **signing)
        assert not readiness([many]).missing
        a_certificate(lab, many, draw=False)
    every = list(Result.objects.filter(sample__submission=many).values_list("pk", flat=True))
    with at_most(MOST):
        decided = newest_decisions(every)
        assert {decided[key].review.decision for key in again} == {Decision.APPROVE}
        assert turned_down_among(every) == dict.fromkeys(waiting[:30], Decision.REFUSE)


def test_what_is_held_is_found_among_all_of_them(lab: Laboratory, many: Submission) -> None:
    run = Result.objects.filter(sample__submission=many)[0].evaluation.run
    case = open_nonconforming_work(
        by=lab.people["quality manager"], at=lab.later(), reason="the pump", doubt=Doubt(DoubtKind.RUN, run.number),
        what="The pump stood still.", effect="Too low.",
    )  # fmt: skip
    every = list(Result.objects.filter(sample__submission=many, is_candidate=True).values_list("pk", flat=True))
    with at_most(AT_ONCE + 10):  # with what else it asks for
        assert held(every) == {key: [case.number] for key in every}
    with at_most(MOST):
        assert facts_of(samples_of(every)).held == {key: [case.number] for key in every}


def test_the_samples_beside_are_those_of_the_page(lab: Laboratory, many: Submission) -> None:
    first = waiting_for_review(many)[:1]
    assert len(samples_of(first)) == 1
    assert samples_of(first, whole=True) == {sample.pk for sample in review_page(many.number).samples}
