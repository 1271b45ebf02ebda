"""What is to be measured again: proposed with its cause, planned, let stand by name, and gone from the list then."""

from collections.abc import Callable
from dataclasses import replace

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

from labresults.actions.batches import begin_batch
from labresults.actions.evaluation import accept_control, evaluate_run, let_stand
from labresults.actions.runs import plan_run
from labresults.actions.weighings import Weighed, record_weighings
from labresults.models import ControlOutcome, Evaluation, LetStand, Position, Run
from labresults.queries.repeats import open_repeats
from labresults.queries.run_planning import wanted_again
from labresults.terms import Repeat, RepeatCause, Role, Verdict
from tests.builders import Laboratory, a_method, a_run, a_submission, an_evaluated_run
from tests.journeys.faults.night import NO_FAULT, a_night
from tests.journeys.faults.planting import times

AsRole = Callable[[str], Client]
OVER = {"KF26-00002": {"Cu": 4500.0, "Pb": 35.0}}


@pytest.fixture
def over_range(lab: Laboratory) -> Evaluation:
    """A run of three samples, of which the second has too much copper."""
    return an_evaluated_run(lab, a_submission(lab, 3), contents=OVER)


@pytest.fixture
def failed(lab: Laboratory) -> Evaluation:
    """A run of eight samples, in which the first check of lead failed."""
    return an_evaluated_run(lab, a_submission(lab, 8), factors={("CCV 1", "Pb"): 1.2})


def read_again(lab: Laboratory, position: Position) -> None:
    plan_run(
        by=lab.people["analyst"], at=lab.later(), reason="Cu over range", method_version=lab.version,
        portions=[position.portion], dilutions={position.portion_id: 10.0}, instrument=lab.spectrometer,
    )  # fmt: skip


def words(browser: Client, page: str, *args: object, **query: object) -> str:
    answer = browser.get(reverse(page, args=args), query)
    assert answer.status_code == 200
    return answer.content.decode()


def test_an_over_range_solution_waits_with_its_factor_and_cause(over_range: Evaluation) -> None:
    (repeat,) = open_repeats()
    assert (repeat.position.label, repeat.run) == ("KF26-00002", over_range.run)
    assert (repeat.cause, repeat.kind, repeat.factor) == (RepeatCause.OVER_RANGE, Repeat.RE_DILUTE, 10.0)
    assert wanted_again("AR-7")[repeat.portion.pk][:2] == (10.0, Repeat.RE_DILUTE)
    assert f"R26-0001, position {repeat.position.number}: " in wanted_again("AR-7")[repeat.portion.pk][2]


def test_the_list_of_another_method_is_empty(lab: Laboratory, over_range: Evaluation, as_role: AsRole) -> None:
    a_method(lab.people["quality manager"], code="ME-1")
    assert open_repeats("ME-1") == []
    assert "Nothing waits to be measured again by ME-1" in words(as_role("analyst"), "repeats", method="ME-1")


def test_the_page_lists_what_waits_by_method_and_leads_to_its_plan(over_range: Evaluation, as_role: AsRole) -> None:
    page = words(as_role("analyst"), "repeats")
    assert "KF26-00002" in page
    assert "re-dilute, <b" in page
    assert reverse("plan-run") + "?method=AR-7" in page


def test_a_repeat_that_a_later_run_holds_waits_no_longer(
    lab: Laboratory, over_range: Evaluation, as_role: AsRole
) -> None:
    read_again(lab, over_range.run.positions.get(label="KF26-00002"))
    assert open_repeats() == []
    page = words(as_role("analyst"), "run", over_range.run.number)
    assert 'in <a class="id" href="/runs/R26-0002">R26-0002</a>' in page


def test_a_failed_check_asks_for_what_it_touches_until_it_is_accepted(lab: Laboratory, failed: Evaluation) -> None:
    waiting = open_repeats()
    touched = failed.outcomes.get(verdict=Verdict.OUTSIDE).touches
    assert {repeat.position.number for repeat in waiting} >= set(touched)
    assert {repeat.kind for repeat in waiting} == {Repeat.RE_READ}
    assert {repeat.cause for repeat in waiting} == {RepeatCause.FAILED_CHECK}

    accept_control(
        by=lab.people["analyst"], at=lab.later(), reason="the pump",
        outcomes=list(ControlOutcome.objects.filter(verdict=Verdict.OUTSIDE)),
    )  # fmt: skip
    assert open_repeats() == []


def test_a_second_reading_keeps_the_dilution_that_was_made(lab: Laboratory, failed: Evaluation) -> None:
    assert {asked.factor for asked in wanted_again("AR-7").values()} == {1.0}


def test_what_is_marked_is_let_stand_by_name_with_the_reason(over_range: Evaluation, as_role: AsRole) -> None:
    (repeat,) = open_repeats()
    browser = as_role("analyst")
    address = reverse("let-stand", args=[over_range.run.number])
    browser.post(address, {"repeats": [repeat.key], "reason": ""})
    assert not LetStand.objects.exists()

    page = browser.post(address, {"repeats": [repeat.key], "reason": "The client needs no copper."}, follow=True)
    assert "Let stand, with your name" in page.content.decode()
    assert "let stand by Analyst Person: The client needs no copper." in page.content.decode()
    assert open_repeats() == []


def test_what_does_not_wait_cannot_be_let_stand(lab: Laboratory, over_range: Evaluation, as_role: AsRole) -> None:
    position = over_range.run.positions.get(label="KF26-00001")
    answer = as_role("analyst").post(
        reverse("let-stand", args=[over_range.run.number]), {"repeats": [str(position.pk)], "reason": "x"}, follow=True
    )
    assert "is not one of the available choices" in answer.content.decode()
    assert not LetStand.objects.exists()


def test_a_reader_without_the_role_is_offered_nothing(over_range: Evaluation, as_role: AsRole) -> None:
    page = words(as_role("auditor"), "run", over_range.run.number)
    assert "KF26-00002" in page
    assert 'name="repeats"' not in page
    assert reverse("let-stand", args=[over_range.run.number]) not in page


def test_an_older_run_of_the_same_sample_asks_for_nothing_once_it_was_prepared_anew(
    lab: Laboratory, over_range: Evaluation
) -> None:
    """Given a new portion of the same sample in a later run; then the old solution waits no longer."""
    sample = over_range.run.positions.get(label="KF26-00002").portion.subsample.sample
    batch = begin_batch(
        by=lab.people["preparer"], at=lab.later(), method_version=lab.version, samples=[sample], caution_read=True,
        repeat=Repeat.RE_DIGEST, reason="to be sure",
    )  # fmt: skip
    record_weighings(
        by=lab.people["preparer"], at=lab.later(), batch=batch, balance=lab.balance,
        rows=[
            Weighed(p.label, mass_g=None if p.role == Role.METHOD_BLANK else 0.5, volume_mL=50.0)
            for p in batch.portions.all()
        ],
    )  # fmt: skip
    a_run(lab, batch)
    assert open_repeats() == []


def test_what_was_let_stand_stays_so_when_the_run_is_evaluated_anew(lab: Laboratory, over_range: Evaluation) -> None:
    (repeat,) = open_repeats()
    let_stand(by=lab.people["analyst"], at=lab.later(), reason="not needed", places=repeat.places)
    evaluate_run(by=lab.people["analyst"], at=lab.later(), run=over_range.run, reason="looked at again")
    assert open_repeats() == []


def test_it_makes_few_queries_whatever_waits(
    lab: Laboratory, as_role: AsRole, django_assert_max_num_queries: Callable[[int], object]
) -> None:
    for number in range(3):
        an_evaluated_run(
            lab, a_submission(lab, 8, names=[f"r{number} {n}" for n in range(8)]), factors={("CCV 1", "Pb"): 1.2}
        )
    with django_assert_max_num_queries(6):  # type: ignore[attr-defined]
        assert len({repeat.run for repeat in open_repeats("AR-7")}) == 3


# ---------------------------------------------------------------- what a repeat is compared with


def a_rich_duplicate(lab: Laboratory) -> Evaluation:
    """A run of which one laboratory duplicate, by itself, reads over range. Only the duplicate is asked for again."""
    return an_evaluated_run(lab, a_submission(lab, 3), factors={("KF26-00003 D", "Cu"): 30.0})


def test_a_duplicate_that_is_diluted_again_brings_its_sample_at_the_same_dilution(
    lab: Laboratory, as_role: AsRole
) -> None:
    evaluation = a_rich_duplicate(lab)
    duplicate = evaluation.run.positions.get(role=Role.DUPLICATE)
    sample = duplicate.portion.parent
    assert {repeat.portion for repeat in open_repeats()} == {duplicate.portion}

    asked = wanted_again("AR-7")

    assert {key: (each.factor, each.kind) for key, each in asked.items()} == {
        duplicate.portion_id: (5.0, Repeat.RE_DILUTE), sample.pk: (5.0, Repeat.RE_DILUTE),
    }  # fmt: skip
    said = f"Its laboratory duplicate {duplicate.label} is measured again, and compared with it. R26-0001, position "
    assert asked[sample.pk].cause.startswith(said)
    page = words(as_role("analyst"), "plan-run", again=evaluation.run.number)
    assert page.count(" checked") == 2
    assert "stands without the sample" not in page
    assert said in page


def test_a_sample_that_is_asked_for_itself_comes_once_and_as_it_was_asked_for(lab: Laboratory) -> None:
    """Given a failed check that touches a sample and its duplicate."""
    an_evaluated_run(lab, a_submission(lab, 3), factors={("CCV 1", "Pb"): 1.2})
    asked = wanted_again("AR-7")
    assert {each.factor for each in asked.values()} == {1.0}
    assert not any("compared with it" in each.cause for each in asked.values())


def test_a_serial_dilution_that_failed_is_made_again_beside_its_sample(lab: Laboratory) -> None:
    # given a serial dilution, five times, that does not agree with its sample
    night = a_night(lab, replace(NO_FAULT, tubes=times(1.5, "KF26-00006 SD")))
    assert night.evaluation is not None
    sample = night.evaluation.run.positions.get(label="KF26-00006").portion
    # then the sample is read again as it was, not diluted five times, with the dilution behind it
    asked = wanted_again("NT-1")
    assert (asked[sample.pk].factor, asked[sample.pk].kind) == (1.0, Repeat.RE_READ)
    assert asked[sample.pk].beside == {Role.SERIAL_DILUTION}
    call_command("plan_run", again="NT-1", instrument=lab.spectrometer.code, by="analyst", reason="as proposed")
    again = Run.objects.latest("pk").positions
    places = {label: (number, dilution) for label, number, dilution in again.values_list("label", "number", "dilution")}
    assert places["KF26-00006"][1] == 1.0
    assert places["KF26-00006 SD"] == (places["KF26-00006"][0] + 1, 5.0)
