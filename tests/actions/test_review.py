"""Review: a second person signs with the password; never own work; never over an open failure."""

import pytest

from labresults.actions.delivery import receive_samples
from labresults.actions.evaluation import accept_control, evaluate_run
from labresults.actions.review import approve_results, refuse_results, send_back_results
from labresults.acts import BadInput, NotAuthorised, WrongState
from labresults.models import AuditEvent, Person, Review, Submission
from labresults.models import Laboratory as LaboratoryRow
from labresults.queries.results import newest_decisions, waiting_for_review
from labresults.readers.delivery import DeliveredSample
from labresults.terms import Basis
from tests.builders import PASSWORD, Laboratory, a_submission, an_evaluated_run, approved


@pytest.fixture
def measured(lab: Laboratory) -> Submission:
    submission = a_submission(lab)
    an_evaluated_run(lab, submission)
    return submission


def signed(lab: Laboratory, by: Person, submission: Submission, **more: object) -> Review:
    named: dict[str, object] = {"password": PASSWORD, "reason": ""} | more
    return approve_results(by=by, at=lab.later(), results=waiting_for_review(submission), **named)


def test_a_reviewer_approves_and_nothing_waits_any_more(lab: Laboratory, measured: Submission) -> None:
    waiting = waiting_for_review(measured)
    assert len(waiting) == 6
    review = signed(lab, lab.people["reviewer"], measured)
    assert review.items.count() == 6
    assert waiting_for_review(measured) == []
    assert {item.review.decision for item in newest_decisions(waiting).values()} == {"approved"}


def test_a_wrong_password_signs_nothing(lab: Laboratory, measured: Submission) -> None:
    events = AuditEvent.objects.count()
    with pytest.raises(NotAuthorised, match="password is not right"):
        signed(lab, lab.people["reviewer"], measured, password="guess")
    assert not Review.objects.exists()
    assert AuditEvent.objects.count() == events + 1  # the try


@pytest.mark.parametrize(("role", "says"), [("analyst", "planning R26-0001"), ("preparer", "batch B26-0001")])
def test_nobody_approves_their_own_work(lab: Laboratory, measured: Submission, role: str, says: str) -> None:
    person = lab.people[role]
    person.groups.set(lab.people["reviewer"].groups.all())
    person = Person.objects.get(pk=person.pk)
    with pytest.raises(NotAuthorised, match=says):
        signed(lab, person, measured)


def test_a_named_exception_policy_lets_a_small_laboratory_go_on_and_stays_on_record(
    lab: Laboratory, measured: Submission
) -> None:
    LaboratoryRow.objects.update(separation_exception="Three people only, policy Q-7")
    for task in lab.people["reviewer"].authorisations.all():
        task.pk, task.person = None, lab.people["analyst"]
        task.save()
    lab.people["analyst"].groups.set(lab.people["reviewer"].groups.all())
    analyst = Person.objects.get(pk=lab.people["analyst"].pk)
    for blank in ("", "  "):
        with pytest.raises(NotAuthorised, match="asks for a reason"):
            signed(lab, analyst, measured, reason=blank)
    assert signed(lab, analyst, measured, reason="nobody else on site").exception == "Three people only, policy Q-7"


def test_an_open_failure_stops_approval_until_it_is_accepted_by_name(lab: Laboratory) -> None:
    submission = a_submission(lab)
    evaluation = an_evaluated_run(lab, submission, factors={("CCV 1", "Pb"): 1.2})
    with pytest.raises(WrongState, match="Measure again, or accept it by name first"):
        signed(lab, lab.people["reviewer"], submission)
    accept_control(
        by=lab.people["analyst"],
        at=lab.later(),
        reason="pump",
        outcomes=list(evaluation.outcomes.filter(verdict="outside")),
    )
    with pytest.raises(WrongState, match="3 results ask for a look: accept each of them by itself"):
        signed(lab, lab.people["reviewer"], submission)
    waiting = waiting_for_review(submission)
    assert signed(lab, lab.people["reviewer"], submission, looked_at=waiting).items.count() == 6


def test_what_was_approved_cannot_be_approved_again(lab: Laboratory, measured: Submission) -> None:
    waiting = waiting_for_review(measured)
    approved(lab, measured)
    with pytest.raises(WrongState, match="was approved by"):
        approve_results(by=lab.people["reviewer"], at=lab.later(), results=waiting, password=PASSWORD)


def test_results_of_an_older_evaluation_are_not_those_that_stand(lab: Laboratory) -> None:
    submission = a_submission(lab)
    first = an_evaluated_run(lab, submission)
    old = waiting_for_review(submission)
    evaluate_run(by=lab.people["analyst"], at=lab.later(), reason="again", run=first.run)
    with pytest.raises(WrongState, match="not the one that stands"):
        approve_results(by=lab.people["reviewer"], at=lab.later(), results=old, password=PASSWORD)


@pytest.mark.parametrize("turn_down", [refuse_results, send_back_results])
def test_a_refusal_needs_a_reason(lab: Laboratory, measured: Submission, turn_down: object) -> None:
    waiting = waiting_for_review(measured)
    given = {"by": lab.people["reviewer"], "results": waiting, "password": PASSWORD}
    with pytest.raises(BadInput, match="needs a reason"):
        turn_down(at=lab.later(), **given)  # type: ignore[operator]
    review = turn_down(at=lab.later(), reason="the duplicate looks odd", **given)  # type: ignore[operator]
    assert review.reason == "the duplicate looks odd"


def test_a_control_samples_result_is_not_approved(lab: Laboratory) -> None:
    evaluation = an_evaluated_run(lab, a_submission(lab))
    control = evaluation.results.filter(is_candidate=False).first()
    with pytest.raises(BadInput, match="judged, not approved"):
        approve_results(by=lab.people["reviewer"], at=lab.later(), results=[control.pk], password=PASSWORD)


def test_a_result_without_a_value_is_not_approved(lab: Laboratory) -> None:
    submission = receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, rows=[DeliveredSample(1, "a", "soil")],
        methods=[lab.method], basis=Basis.DRY,
    )  # fmt: skip
    an_evaluated_run(lab, submission)
    with pytest.raises(WrongState, match=r"has no value: .* loss on drying"):
        signed(lab, lab.people["reviewer"], submission)


def test_one_signature_is_of_one_submission(lab: Laboratory, measured: Submission) -> None:
    other = a_submission(lab, names=["another"])
    an_evaluated_run(lab, other)
    both = [*waiting_for_review(measured), *waiting_for_review(other)]
    with pytest.raises(BadInput, match="S26-0001 and S26-0002: sign one submission at a time"):
        approve_results(by=lab.people["reviewer"], at=lab.later(), results=both, password=PASSWORD)
    assert not Review.objects.exists()
