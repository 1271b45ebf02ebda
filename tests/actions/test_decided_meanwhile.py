"""Two people at one submission: nobody decides over what they have not seen, nor behind what a client holds."""

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from labresults.actions.evaluation import accept_control, evaluate_run, select_result
from labresults.actions.plausibility import register_plausibility
from labresults.actions.review import TurnedDown, approve_results, refuse_results, send_back_results, sign_review
from labresults.acts import WrongState
from labresults.models import Evaluation, Result, Review, Submission
from labresults.queries.results import newest_decisions, waiting_for_review
from labresults.queries.review_facts import Facts, facts_of
from labresults.queries.review_pages import review_page
from labresults.queries.signed import shown_digest, values_digest
from labresults.terms import Decision, PlausibilityKind, Verdict
from reports.actions.certificates import withdraw_certificate
from tests.builders import PASSWORD, Laboratory, a_certificate, a_submission, an_evaluated_run, approved

TURNING_DOWN = [refuse_results, send_back_results]
LEAKED = "the bottle leaked"


@pytest.fixture
def measured(lab: Laboratory) -> Submission:
    submission = a_submission(lab, 2)
    an_evaluated_run(lab, submission)
    return submission


def decide(act: Callable[..., Any], lab: Laboratory, results: list[int], reason: str = LEAKED, **more: object) -> Any:
    return act(by=lab.people["reviewer"], at=lab.later(), reason=reason, results=results, password=PASSWORD, **more)


def decision_of(result: int) -> str:
    return newest_decisions([result])[result].review.decision


@pytest.mark.parametrize("act", TURNING_DOWN)
@pytest.mark.parametrize("approve", [approve_results, sign_review])
def test_what_somebody_turned_down_is_not_approved_from_an_older_page(
    act: Callable[..., Any], approve: Callable[..., Any], lab: Laboratory, measured: Submission
) -> None:
    # given one who looked at four results, and another who then turned one of them down
    waiting = waiting_for_review(measured)
    shown = shown_digest(Result.objects.filter(pk__in=waiting), {})
    decide(act, lab, waiting[:1])
    # when the first signs what they saw, then it is refused, says who said what, and nothing is signed
    with pytest.raises(WrongState, match=f"was (refused|sent back) by Reviewer Person already: {LEAKED}. Look again"):
        decide(approve, lab, waiting, reason="", seen_sha256=shown)
    assert Review.objects.count() == 1
    # and the others can be approved
    decide(approve, lab, waiting[1:], reason="")
    assert decision_of(waiting[1]) == Decision.APPROVE


@pytest.mark.parametrize("act", TURNING_DOWN)
def test_what_was_approved_is_turned_down_only_by_who_saw_that_it_was(
    act: Callable[..., Any], lab: Laboratory, measured: Submission
) -> None:
    result = waiting_for_review(measured)[0]
    approved(lab, measured)
    with pytest.raises(WrongState, match=r"was approved by Reviewer Person already\. Look again"):
        decide(act, lab, [result])
    seen = newest_decisions([result])[result].review_id
    decide(act, lab, [result], over=[seen])
    assert decision_of(result) != Decision.APPROVE


def test_the_same_holds_for_what_is_turned_down_with_a_signature_for_all(lab: Laboratory, measured: Submission) -> None:
    first, *rest = waiting_for_review(measured)
    decide(approve_results, lab, [first], reason="")
    unseen = TurnedDown([first], Decision.REFUSE, LEAKED)
    seen = TurnedDown([first], Decision.REFUSE, LEAKED, over=[newest_decisions([first])[first].review_id])
    with pytest.raises(WrongState, match="was approved by Reviewer Person already"):
        decide(sign_review, lab, rest, reason="", turned_down=[unseen])
    assert Review.objects.count() == 1
    decide(sign_review, lab, rest, reason="", turned_down=[seen])
    assert decision_of(first) == Decision.REFUSE


@pytest.mark.parametrize("act", TURNING_DOWN)
def test_what_does_not_stand_any_more_is_not_turned_down(
    act: Callable[..., Any], lab: Laboratory, measured: Submission
) -> None:
    old = waiting_for_review(measured)
    evaluate_run(by=lab.people["analyst"], at=lab.later(), reason="again", run=Evaluation.objects.get().run)
    with pytest.raises(WrongState, match="not the one that stands"):
        decide(act, lab, old)
    assert not Review.objects.exists()


@pytest.mark.parametrize("act", TURNING_DOWN)
def test_what_a_client_holds_is_turned_down_after_it_was_withdrawn(
    act: Callable[..., Any], lab: Laboratory, measured: Submission
) -> None:
    result = waiting_for_review(measured)[0]
    certificate = a_certificate(lab, approved(lab, measured), draw=False)
    seen = {"over": [newest_decisions([result])[result].review_id]}
    with pytest.raises(WrongState, match=r"is printed on C26-0001, issue 1\. Withdraw that first"):
        decide(act, lab, [result], **seen)
    assert decision_of(result) == Decision.APPROVE
    withdraw_certificate(by=lab.people["issuer"], at=lab.later(), reason=LEAKED, certificate=certificate)
    decide(act, lab, [result], **seen)
    assert decision_of(result) != Decision.APPROVE


@pytest.mark.parametrize("act", TURNING_DOWN)
def test_a_measurement_that_was_turned_down_is_not_chosen_again_but_its_next_evaluation_may_be(
    act: Callable[..., Any], lab: Laboratory, measured: Submission
) -> None:
    # given a result that was turned down: chosen by name it would stand and wait for nobody
    result = Result.objects.get(pk=waiting_for_review(measured)[0])
    decide(act, lab, [result.pk])
    given: dict[str, Any] = {"by": lab.people["analyst"], "reason": "it was right"}
    with pytest.raises(WrongState, match=rf"was (refused|sent back) by Reviewer Person: {LEAKED}\. Measure again, or"):
        select_result(at=lab.later(), result=result, **given)
    # when the run is evaluated again, then what that gives waits for review like any other
    evaluate_run(by=lab.people["analyst"], at=lab.later(), reason="again", run=result.evaluation.run)
    waiting = Result.objects.filter(pk__in=waiting_for_review(measured))
    assert waiting.filter(sample=result.sample_id, element=result.element_id).exists()


# ---- a doubt that comes in meanwhile


def copper_is_doubted(lab: Laboratory) -> None:
    """A rule by which copper above 1 % of lead asks for a look, in every sample."""
    register_plausibility(
        by=lab.people["quality manager"], at=lab.later(), name="copper beside lead", kind=PlausibilityKind.RATIO,
        source="invented", elements=["Cu", "Pb"], high=0.01,
    )  # fmt: skip


@pytest.fixture
def accepted(lab: Laboratory) -> tuple[Submission, list[int]]:
    """A submission whose lead failed a check that somebody accepted by name; keys of what asks for a look so."""
    submission = a_submission(lab, 1)
    evaluation = an_evaluated_run(lab, submission, factors={("CCV 1", "Pb"): 1.2})
    accept_control(
        by=lab.people["analyst"], at=lab.later(), reason="the pump",
        outcomes=list(evaluation.outcomes.filter(verdict=Verdict.OUTSIDE)),
    )  # fmt: skip
    return submission, [look.result.pk for look in review_page(submission.number).looks]


@pytest.mark.parametrize("approve", [approve_results, sign_review])
def test_a_doubt_is_not_accepted_with_an_older_one(
    approve: Callable[..., Any], lab: Laboratory, accepted: tuple[Submission, list[int]]
) -> None:
    # given lead that was looked at and accepted on a page
    submission, lead = accepted
    assert lead
    given = {"reason": "", "looked_at": lead}
    shown = review_page(submission.number).shown_digest(lead)
    # when a further doubt of it comes in before the signature, then it is not signed with what was accepted before
    copper_is_doubted(lab)
    with pytest.raises(WrongState, match=r"something speaks against them since\. Look again, then"):
        decide(approve, lab, lead, seen_sha256=shown, **given)
    assert not Review.objects.exists()
    # and what is shown now can be signed
    decide(approve, lab, lead, seen_sha256=review_page(submission.number).shown_digest(lead), **given)
    assert decision_of(lead[0]) == Decision.APPROVE


def test_the_doubts_that_were_shown_are_no_part_of_the_values_that_are_signed(
    lab: Laboratory, accepted: tuple[Submission, list[int]]
) -> None:
    submission, lead = accepted
    shown = review_page(submission.number).shown_digest(lead)
    review = decide(approve_results, lab, lead, reason="", looked_at=lead, seen_sha256=shown)
    assert review.values_sha256 == values_digest(Result.objects.filter(pk__in=lead)) != shown


# ---- between the look before the lock and the lock itself


@pytest.fixture
def meanwhile(monkeypatch: pytest.MonkeyPatch) -> Callable[[Callable[[], object]], None]:
    """Let somebody else do something when an act at review has looked at everything, and has no lock yet."""

    def let(do: Callable[[], object]) -> None:
        waiting = [do]

        def looked(*asked: Any) -> Facts:
            found = facts_of(*asked)
            if waiting:
                waiting.pop()()
            return found

        monkeypatch.setattr("labresults.actions.review.facts_of", looked)

    return let


@pytest.mark.parametrize("approve", [approve_results, sign_review])
def test_a_doubt_that_comes_in_before_the_lock_is_seen_under_it(
    approve: Callable[..., Any], lab: Laboratory, measured: Submission, meanwhile: Callable[..., None]
) -> None:
    waiting = waiting_for_review(measured)
    meanwhile(lambda: copper_is_doubted(lab))
    with pytest.raises(WrongState, match="4 results ask for a look"):
        decide(approve, lab, waiting, reason="")
    assert not Review.objects.exists()


@pytest.mark.parametrize("act", [approve_results, sign_review, *TURNING_DOWN])
def test_a_decision_that_comes_in_before_the_lock_is_seen_under_it(
    act: Callable[..., Any], lab: Laboratory, measured: Submission, meanwhile: Callable[..., None]
) -> None:
    waiting = waiting_for_review(measured)
    meanwhile(lambda: decide(refuse_results, lab, waiting[:1]))
    with pytest.raises(WrongState, match="was refused by Reviewer Person already"):
        decide(act, lab, waiting)
    assert Review.objects.count() == 1


# ---- on the page


def test_the_page_says_which_review_it_goes_against(lab: Laboratory, measured: Submission, client: Client) -> None:
    # given two browsers at one approved result
    result = waiting_for_review(measured)[0]
    approved(lab, measured)
    client.force_login(lab.people["reviewer"])
    address = f"{reverse('review', args=[measured.number])}?cell={result}&alone=1"
    over = newest_decisions([result])[result].review_id
    assert f'<input type="hidden" name="over" value="{over}">' in client.get(address).content.decode()
    form = {"results": result, "decision": "refuse", "reason": LEAKED, "password": PASSWORD, "over": over}
    turn_down = reverse("turn-down", args=[measured.number])
    # when the first refuses it, then the second, who saw it approved, is told
    client.post(turn_down, form)
    assert decision_of(result) == Decision.REFUSE
    answer = client.post(turn_down, form | {"decision": "runs"}, follow=True).content.decode()
    assert "was refused by Reviewer Person already" in answer
    assert decision_of(result) == Decision.REFUSE


def test_a_page_that_was_shown_before_somebody_decided_is_another_one(lab: Laboratory, measured: Submission) -> None:
    first, second, *_ = waiting_for_review(measured)
    decide(approve_results, lab, [first, second], reason="")
    shown = review_page(measured.number).seen
    over = [newest_decisions([first])[first].review_id]
    decide(refuse_results, lab, [first], over=over)
    assert review_page(measured.number).seen != shown
