"""Nonconforming work: opened from what a doubtful thing touched; held results go nowhere; closed is for good."""

import pytest

from labresults.actions.evaluation import evaluate_run, select_result
from labresults.actions.nonconforming import open_nonconforming_work, record_nonconforming_step
from labresults.actions.review import approve_results
from labresults.acts import BadInput, NotAuthorised, WrongState
from labresults.models import NonconformingStep, NonconformingWork, PreparationBatch, Result, Submission
from labresults.queries.forward import Doubt
from labresults.queries.nonconforming import case, cases_of, held
from labresults.queries.results import waiting_for_review
from labresults.terms import DoubtKind, NonconformingAct
from tests.builders import (
    PASSWORD,
    Laboratory,
    a_certificate,
    a_reading_file,
    a_run,
    a_submission,
    an_evaluated_run,
    an_imported_file,
    approved,
)

Step = NonconformingAct


def opened(lab: Laboratory, submission: Submission, **more: object) -> NonconformingWork:
    """A case over the run that measured a submission, on hold unless said."""
    run = Result.objects.filter(sample__submission=submission).latest("pk").evaluation.run
    given = {"what": "The pump slipped.", "effect": "Results may be low."} | more
    doubt = given.pop("doubt", Doubt(DoubtKind.RUN, run.number))
    return open_nonconforming_work(by=lab.people["quality manager"], at=lab.later(), doubt=doubt, **given)


def stepped(lab: Laboratory, work: NonconformingWork, *steps: NonconformingAct) -> NonconformingStep | None:
    row = None
    for step in steps:
        row = record_nonconforming_step(
            by=lab.people["quality manager"], at=lab.later(), work=work, step=step, text=f"{step}, with its reason"
        )
    return row


@pytest.fixture
def measured(lab: Laboratory) -> Submission:
    submission = a_submission(lab, 2)
    an_evaluated_run(lab, submission)
    return submission


def test_it_names_every_result_that_was_touched(lab: Laboratory, measured: Submission) -> None:
    other = a_submission(lab, 1, names=["other"])
    an_evaluated_run(lab, other)
    work = opened(lab, measured)
    assert work.number == "N26-0001"
    samples = set(work.touched.values_list("result__sample__submission__number", flat=True))
    assert samples == {measured.number}
    assert case(work.number).touched == 4  # two samples, copper and lead


def test_only_one_element_where_that_is_said(lab: Laboratory, measured: Submission) -> None:
    work = opened(lab, measured, doubt=Doubt(DoubtKind.LOT, "L-2200", element="Pb"))
    assert set(work.touched.values_list("result__element", flat=True)) == {"Pb"}


def test_held_results_cannot_be_approved_and_released_ones_can(lab: Laboratory, measured: Submission) -> None:
    work = opened(lab, measured)
    waiting = waiting_for_review(measured)
    with pytest.raises(WrongState, match="N26-0001 holds it"):
        approve_results(by=lab.people["reviewer"], at=lab.later(), results=waiting, password=PASSWORD)
    stepped(lab, work, Step.RELEASE)
    assert approved(lab, measured)


def test_held_results_are_not_certified(lab: Laboratory, measured: Submission) -> None:
    approved(lab, measured)
    work = opened(lab, measured)
    with pytest.raises(WrongState, match="is on hold: N26-0001"):
        a_certificate(lab, measured, draw=False)
    stepped(lab, work, Step.RELEASE)
    assert a_certificate(lab, measured, draw=False)


def test_evaluating_the_same_readings_again_takes_nothing_off_hold(lab: Laboratory, measured: Submission) -> None:
    opened(lab, measured)
    run = Result.objects.filter(sample__submission=measured).latest("pk").evaluation.run
    again = evaluate_run(by=lab.people["analyst"], at=lab.later(), reason="again", run=run)
    mine = [row.pk for row in again.results.filter(is_candidate=True)]
    assert held(mine) == {key: ["N26-0001"] for key in mine}
    assert [work.number for work in cases_of(mine)] == ["N26-0001"]


def test_another_run_of_the_same_samples_is_not_on_hold(lab: Laboratory, measured: Submission) -> None:
    opened(lab, measured)
    run = a_run(lab, PreparationBatch.objects.get())
    an_imported_file(lab, run, a_reading_file(run, factors={("KF26-00001", "Cu"): 1.01}))
    again = evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    assert held(again.results.values_list("pk", flat=True)) == {}


@pytest.mark.parametrize(
    ("before", "step", "words"),
    [
        ([], Step.HOLD, "is on hold already"),
        ([Step.RELEASE], Step.RELEASE, "is not on hold"),
        ([], Step.CLOSE, "still holds 4 results. Release them first"),
        ([Step.RELEASE], Step.CLOSE, "Nobody has judged"),
        ([Step.JUDGE, Step.RELEASE, Step.CLOSE], Step.HOLD, "was closed by Quality Manager Person, for good"),
        ([Step.JUDGE, Step.RELEASE, Step.CLOSE], Step.CORRECT, "was closed by Quality Manager Person, for good"),
        ([Step.RELEASE, Step.HOLD, Step.JUDGE], Step.CLOSE, "still holds 4 results"),
    ],
)
def test_steps_that_are_refused(
    before: list[NonconformingAct], step: NonconformingAct, words: str, lab: Laboratory, measured: Submission
) -> None:
    work = opened(lab, measured)
    stepped(lab, work, *before)
    count = work.steps.count()
    with pytest.raises(WrongState, match=words):
        stepped(lab, work, step)
    assert work.steps.count() == count


def test_it_is_closed_with_a_name(lab: Laboratory, measured: Submission) -> None:
    work = opened(lab, measured)
    stepped(lab, work, Step.JUDGE, Step.RELEASE, Step.CORRECT, Step.CLOSE)
    closed = case(work.number).closed
    assert closed is not None
    assert str(closed.made_by) == "Quality Manager Person"


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"what": " "}, "Say what was wrong"),
        ({"effect": ""}, "Say what was wrong"),
        ({"doubt": Doubt(DoubtKind.LOT, "L-0000")}, "There is no lot L-0000"),
        ({"doubt": Doubt(DoubtKind.METHOD, "AR-7 v9")}, "There is no version 9 of method AR-7"),
        ({"doubt": Doubt(DoubtKind.PERIOD)}, "Say from when or until when"),
        ({"doubt": Doubt(DoubtKind.LOT, "L-2200", element="Au")}, "It touched no result"),
    ],
)
def test_what_cannot_be_opened(given: dict[str, object], words: str, lab: Laboratory, measured: Submission) -> None:
    with pytest.raises(BadInput, match=words):
        opened(lab, measured, **given)
    assert not NonconformingWork.objects.exists()


def test_it_is_refused_when_more_results_came_than_were_seen(lab: Laboratory, measured: Submission) -> None:
    with pytest.raises(WrongState, match="touched 3 results when you looked, and 4 now"):
        opened(lab, measured, seen=3)


def test_only_the_quality_manager_opens_one(lab: Laboratory, measured: Submission) -> None:
    with pytest.raises(NotAuthorised):
        open_nonconforming_work(
            by=lab.people["analyst"], at=lab.later(), doubt=Doubt(DoubtKind.LOT, "L-2200"), what="x", effect="y"
        )


def measured_again(lab: Laboratory, submission: Submission, batch: PreparationBatch) -> None:
    """The same solutions read in another run, and those results chosen by name."""
    run = a_run(lab, batch)
    an_imported_file(lab, run, a_reading_file(run, factors={("KF26-00001", "Cu"): 1.01}))
    evaluation = evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    for result in evaluation.results.filter(is_candidate=True, sample__submission=submission):
        select_result(by=lab.people["analyst"], at=lab.later(), reason="read again", result=result)


@pytest.mark.parametrize(
    ("kind", "name", "holds"),
    [
        (DoubtKind.BATCH, "B26-0001", True),
        (DoubtKind.LOT, "L-2400", True),  # the reference material in the batch
        (DoubtKind.MATERIAL, "GC-17", True),
        (DoubtKind.EQUIPMENT, "B2", True),  # the balance
        (DoubtKind.PERSON, "preparer", True),
        (DoubtKind.RUN, "R26-0001", False),
        (DoubtKind.METHOD, "AR-7", False),
    ],
)
def test_reading_again_mends_a_run_and_not_what_came_before_it(
    kind: DoubtKind, name: str, holds: bool, lab: Laboratory, measured: Submission
) -> None:
    # given a case, on hold, and its samples' solutions read again in another run
    opened(lab, measured, doubt=Doubt(kind, name))
    measured_again(lab, measured, PreparationBatch.objects.get())
    # then what was doubtful before the reading is held still, and says by which case
    waiting = waiting_for_review(measured)
    assert set(held(waiting)) == (set(waiting) if holds else set())
    if holds:
        with pytest.raises(WrongState, match=r"N26-0001 holds it\. Release that first, or prepare and measure it anew"):
            approved(lab, measured)
        assert [work.number for work in cases_of(waiting)] == ["N26-0001"]
    else:
        approved(lab, measured)


def test_it_holds_the_element_that_is_doubtful_and_no_other(lab: Laboratory, measured: Submission) -> None:
    opened(lab, measured, doubt=Doubt(DoubtKind.BATCH, "B26-0001", element="Pb"))
    measured_again(lab, measured, PreparationBatch.objects.get())
    waiting = waiting_for_review(measured)
    assert {Result.objects.get(pk=key).element_id for key in held(waiting)} == {"Pb"}
