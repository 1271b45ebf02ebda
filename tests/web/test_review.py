"""Review pages: what waits, the evidence beside each result, and a signature that the server judges."""

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from labresults import models
from labresults.actions.evaluation import accept_control, evaluate_run
from labresults.actions.materials import record_equipment_check
from labresults.actions.overrides import allow_override
from labresults.models import (
    AuditEvent,
    ControlOutcome,
    Evaluation,
    Lot,
    PreparationBatch,
    Result,
    Review,
    Submission,
)
from labresults.queries.results import newest_selections, waiting_for_review
from labresults.terms import Decision, OverrideKind, Verdict
from tests.builders import (
    NOW,
    PASSWORD,
    Laboratory,
    a_reading_file,
    a_run,
    a_submission,
    a_weighed_batch,
    an_evaluated_run,
    an_imported_file,
    approved,
)

AsRole = Callable[[str], Client]


@pytest.fixture
def measured(lab: Laboratory) -> Submission:
    submission = a_submission(lab)
    an_evaluated_run(lab, submission)
    return submission


@pytest.fixture
def failed(lab: Laboratory) -> Submission:
    """Copper found in the method blank: it stands against copper in three samples."""
    submission = a_submission(lab)
    batch = a_weighed_batch(lab, submission)
    blank = batch.portions.get(role="method blank").label
    run = a_run(lab, batch)
    an_imported_file(lab, run, a_reading_file(run, contents={blank: {"Cu": 60.0}}))
    evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    return submission


def shown(browser: Client, submission: Submission, **query: object) -> str:
    alone = {"alone": 1} if "cell" in query else {}
    return browser.get(reverse("review", args=[submission.number]), query | alone).content.decode()


def sent(browser: Client, page: str, submission: Submission, **given: object) -> str:
    """What the reviewer reads after an act; what was shown is signed unless `seen` says otherwise."""
    if page == "approve":
        given.setdefault("meaning", "Reviewed and approved")
        given.setdefault("seen", re.findall(r'name="seen" value="(\w+)"', shown(browser, submission))[0])
    return browser.post(reverse(page, args=[submission.number]), given, follow=True).content.decode()


def result_of(submission: Submission, element: str, ordinal: int = 1) -> Result:
    """The result that stands for an element in one sample."""
    sample = submission.samples.get(ordinal=ordinal)
    return next(s.result for k, s in newest_selections(sample_ids=[sample.pk]).items() if k[2] == element)


def test_the_list_shows_what_waits_and_finds_what_does_not(lab: Laboratory, as_role: AsRole) -> None:
    done, waits = a_submission(lab, names=["done a"]), a_submission(lab, names=["open a"])
    for submission in (done, waits):
        an_evaluated_run(lab, submission)
    approved(lab, done)
    a_submission(lab, names=["not measured"])
    browser = as_role("reviewer")

    def listed(**query: str) -> list[str]:
        return re.findall(r'href="/review/(S\S+?)"', browser.get(reverse("reviews"), query).content.decode())

    assert listed() == [waits.number]
    assert listed(state="all", q="done a") == [done.number]
    assert "2\N{NO-BREAK SPACE}results" in browser.get(reverse("reviews")).content.decode()


def test_every_result_stands_in_the_matrix_with_its_limit(
    lab: Laboratory, measured: Submission, as_role: AsRole
) -> None:
    page = shown(as_role("reviewer"), measured)
    keys = {int(key) for key in re.findall(r'hx-get="\?cell=(\d+)"', page)}
    assert keys == set(waiting_for_review(measured))
    assert page.count("NRD014") >= 3
    assert "Detection limit" in page
    assert "6\N{NO-BREAK SPACE}results wait. Nothing stands against them." in page


def test_what_fails_is_marked_ordered_first_and_named(lab: Laboratory, failed: Submission, as_role: AsRole) -> None:
    page = shown(as_role("reviewer"), failed)
    assert page.count('class="num bad') == 3
    assert "3 of them cannot be approved as they are" in page
    assert "Cu in 3\N{NO-BREAK SPACE}samples" in page
    outcome = ControlOutcome.objects.filter(verdict=Verdict.OUTSIDE).first()
    assert outcome is not None
    assert outcome.why in page


def test_an_accepted_failure_asks_for_a_look_and_blocks_no_more(
    lab: Laboratory, failed: Submission, as_role: AsRole
) -> None:
    outcomes = list(ControlOutcome.objects.filter(verdict=Verdict.OUTSIDE))
    accept_control(by=lab.people["analyst"], at=lab.later(), reason="the tube was dirty", outcomes=outcomes)
    browser = as_role("reviewer")
    page = shown(browser, failed)
    assert "the tube was dirty" in page
    assert 'class="num bad' not in page
    assert "asks for it" not in page
    # what nothing stands against is approved; each that asks waits on, until it is accepted by itself
    sent(browser, "approve", failed, password=PASSWORD)
    assert len(waiting_for_review(failed)) == 3
    nothing = sent(browser, "approve", failed, password=PASSWORD)
    assert "Nothing is decided yet: accept each that asks for a look" in nothing
    first, *others = waiting_for_review(failed)
    sent(browser, "approve", failed, password=PASSWORD, **{f"d-{first}": "accept"})
    assert waiting_for_review(failed) == others


def test_evidence_comes_with_the_page_and_alone(lab: Laboratory, measured: Submission, as_role: AsRole) -> None:
    browser, result = as_role("reviewer"), result_of(measured, "Pb", 2)
    page = shown(browser, measured, cell=result.pk)
    address = reverse("review", args=[measured.number])
    alone = browser.get(address, {"cell": result.pk}, headers={"HX-Request": "true"})
    assert alone["Vary"].count("HX-Request") == 1
    words = alone.content.decode()
    assert words.lstrip().startswith("<section")
    for text in (page, words):
        assert f'Pb in <a class="id" href="{reverse("sample", args=[result.sample.number])}"' in text
        for word in ("verification before", "verification after", "method blank", "GC-17", "0.5 g to 50 mL", "within"):
            assert word in text
        assert reverse("trace", args=[result.pk]) in text


def test_going_back_in_the_browser_brings_the_whole_page(
    lab: Laboratory, measured: Submission, as_role: AsRole
) -> None:
    headers = {"HX-Request": "true", "HX-History-Restore-Request": "true"}
    address = reverse("review", args=[measured.number])
    page = as_role("reviewer").get(address, {"cell": result_of(measured, "Cu").pk}, headers=headers)
    assert "<html" in page.content.decode()


@pytest.mark.parametrize(
    ("cell", "alone", "answer"),
    [
        ("0", False, 200),
        ("0", True, 404),
        ("9" * 18, True, 404),
        ("9" * 40, True, 200),
        ("-1", True, 200),
        ("x", False, 200),
        ("²", True, 200),
    ],
    ids=["page without it", "no such result", "large", "too large", "minus", "letter", "no ASCII figure"],
)
def test_a_cell_that_is_not_there_is_no_fault(
    cell: str, alone: bool, answer: int, lab: Laboratory, measured: Submission, as_role: AsRole
) -> None:
    headers = {"HX-Request": "true"} if alone else {}
    found = as_role("reviewer").get(reverse("review", args=[measured.number]), {"cell": cell}, headers=headers)
    assert found.status_code == answer


def test_evidence_of_another_submission_is_not_shown(lab: Laboratory, measured: Submission, as_role: AsRole) -> None:
    other = a_submission(lab, names=["another"])
    an_evaluated_run(lab, other)
    address = reverse("review", args=[measured.number])
    foreign = {"cell": result_of(other, "Cu").pk}
    browser = as_role("reviewer")
    assert browser.get(address, foreign, headers={"HX-Request": "true"}).status_code == 404
    assert browser.get(address, foreign | {"alone": 1}).status_code == 404
    assert other.samples.get().number not in browser.get(address, foreign).content.decode()


def test_a_submission_without_results_says_so(lab: Laboratory, as_role: AsRole) -> None:
    page = shown(as_role("reviewer"), a_submission(lab))
    assert "There is no result yet to look at" in page
    assert "data-sign" not in page


def test_the_reviewer_signs_and_goes_on_to_the_certificate(
    lab: Laboratory, measured: Submission, as_role: AsRole
) -> None:
    page = sent(as_role("reviewer"), "approve", measured, password=PASSWORD)
    assert "Signed with your name." in page
    assert waiting_for_review(measured) == []
    review = Review.objects.get()
    assert (review.meaning, review.items.count()) == ("Reviewed and approved", 6)
    assert reverse("certify", args=[measured.number]) in page


@pytest.mark.parametrize(
    ("role", "given", "says"),
    [
        ("reviewer", {"password": "guess"}, "The password is not right; nothing was signed."),
        ("reviewer", {"password": ""}, "Give your password again; nothing was signed."),
        ("analyst", {"password": PASSWORD}, "may not sign review"),
        ("reviewer", {"password": PASSWORD, "seen": "0" * 64}, "What waits has changed since this page was shown."),
        ("reviewer", {"password": PASSWORD, "meaning": "Seen"}, "Meaning:"),
        ("reviewer", {"password": PASSWORD, "method": "XX-1"}, "What:"),
    ],
    ids=["wrong password", "no password", "no right", "other than shown", "no such meaning", "no such method"],
)
def test_a_refused_signature_signs_nothing(
    role: str, given: dict[str, str], says: str, lab: Laboratory, measured: Submission, as_role: AsRole
) -> None:
    events = AuditEvent.objects.count()
    assert says in sent(as_role(role), "approve", measured, **given)
    noted = ["note_failed_signature"] if given.get("password") == "guess" else []
    assert [event.act for event in AuditEvent.objects.order_by("seq")[events:]] == noted
    assert Review.objects.count() == 0


def test_nobody_signs_their_own_work_unless_a_named_policy_says_so(
    lab: Laboratory, measured: Submission, as_role: AsRole
) -> None:
    lab.people["analyst"].groups.set(lab.people["reviewer"].groups.all())
    for task in lab.people["reviewer"].authorisations.all():
        task.pk, task.person = None, lab.people["analyst"]
        task.save()
    browser = as_role("analyst")
    assert "somebody else must approve" in sent(browser, "approve", measured, password=PASSWORD)
    assert not Review.objects.exists()
    models.Laboratory.objects.update(separation_exception="Night shift policy 3")
    sent(browser, "approve", measured, password=PASSWORD, reason="alone tonight")
    assert Review.objects.get().exception == "Night shift policy 3"


def test_an_open_failure_stops_the_signature_until_those_are_sent_back(
    lab: Laboratory, failed: Submission, as_role: AsRole
) -> None:
    browser = as_role("reviewer")
    marked = re.findall(r'data-row="(\d+)" data-asks [^>]*data-blocks', shown(browser, failed))
    assert len(marked) == 3
    accepted = {f"d-{key}": "accept" for key in marked}
    assert "accept it by name first." in sent(browser, "approve", failed, password=PASSWORD, **accepted)
    assert not Review.objects.exists()

    page = sent(
        browser, "approve", failed, password=PASSWORD, meaning="Approved except those sent back or refused",
        **{"g-0": "preparation", "gr-0": "digest again"},
    )  # fmt: skip
    assert "3\N{NO-BREAK SPACE}results were refused or sent back." in page
    assert page.count(">sent back</a>") == 3
    bench = browser.get(reverse("preparation")).content.decode()
    assert "Sent back by a reviewer, to be prepared anew" in bench
    assert "digest again" in bench
    assert sorted(Review.objects.values_list("decision", flat=True)) == [Decision.APPROVE, Decision.SEND_BACK]
    assert waiting_for_review(failed) == []


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"reason": ""}, "A refusal needs a reason that the analyst can read."),
        ({"password": "guess"}, "The password is not right; nothing was signed."),
        ({"results": ["999999"]}, "Results:"),
        ({"results": []}, "Results:"),
        ({"decision": "approved"}, "Decision:"),
    ],
    ids=["no reason", "wrong password", "another submission's", "nothing marked", "no such decision"],
)
def test_what_cannot_be_turned_down_is_said(
    given: dict[str, object], says: str, lab: Laboratory, measured: Submission, as_role: AsRole
) -> None:
    named = {"results": [result_of(measured, "Cu").pk], "decision": "refuse", "reason": "odd", "password": PASSWORD}
    assert says in sent(as_role("reviewer"), "turn-down", measured, **(named | given))
    assert not Review.objects.exists()


def test_a_refused_result_keeps_its_reason_beside_it(lab: Laboratory, measured: Submission, as_role: AsRole) -> None:
    browser, result = as_role("reviewer"), result_of(measured, "Cu")
    given = {"results": [result.pk], "decision": "refuse", "reason": "the pulp was wet", "password": PASSWORD}
    sent(browser, "turn-down", measured, **given)
    assert "the pulp was wet" in shown(browser, measured, cell=result.pk)


def a_second_measurement(lab: Laboratory, submission: Submission) -> Evaluation:
    """The same solutions read again, copper in the first sample half as high again."""
    run = a_run(lab, PreparationBatch.objects.get(portions__subsample__sample=submission.samples.first()))
    label = submission.samples.get(ordinal=1).number
    an_imported_file(lab, run, a_reading_file(run, factors={(label, "Cu"): 1.5, (f"{label} D", "Cu"): 1.5}))
    return evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)


def test_another_measurement_that_disagrees_asks_and_can_be_chosen_with_a_reason(
    lab: Laboratory, measured: Submission, as_role: AsRole
) -> None:
    first = result_of(measured, "Cu")
    a_second_measurement(lab, measured)
    standing = result_of(measured, "Cu")
    cell = Result.objects.filter(sample=first.sample, element="Cu", is_candidate=True)
    other = cell.exclude(pk=standing.pk).get()
    lab.people["analyst"].groups.add(*lab.people["reviewer"].groups.all())
    browser = as_role("analyst")
    page = shown(browser, measured, cell=standing.pk)
    assert "farther apart than both uncertainties allow" in page
    assert "2 measurements" in page
    assert "measured more than once: " in shown(browser, measured)

    assert "Say why this result" in sent(browser, "choose-result", measured, result=other.pk, reason="")
    assert result_of(measured, "Cu").pk == standing.pk
    page = sent(browser, "choose-result", measured, result=other.pk, reason="the first tube leaked")
    assert "This measurement stands now." in page
    assert result_of(measured, "Cu").pk == other.pk
    assert "the first tube leaked" in shown(browser, measured, cell=other.pk)


def test_a_comment_stands_beside_the_result(lab: Laboratory, measured: Submission, as_role: AsRole) -> None:
    browser, result = as_role("reviewer"), result_of(measured, "Cu")
    assert "Write what is to be remarked" in sent(browser, "comment-result", measured, result=result.pk, text=" ")
    sent(browser, "comment-result", measured, result=result.pk, text="the pulp looked wet")
    assert "the pulp looked wet" in shown(browser, measured, cell=result.pk)


def test_earlier_samples_and_the_curve_stand_beside_it(lab: Laboratory, as_role: AsRole) -> None:
    an_evaluated_run(lab, a_submission(lab, names=["earlier"]))
    submission = a_submission(lab, names=["now"])
    an_evaluated_run(lab, submission, factors={("KF26-00002", "Cu"): 1.2})
    words = shown(as_role("reviewer"), submission, cell=result_of(submission, "Cu").pk)
    assert "Earlier, same client and matrix." in words
    assert 'class="history"' in words
    assert "Calibration" in words
    assert "after 1 earlier" in words


@pytest.mark.parametrize("page", ["approve", "turn-down", "choose-result", "comment-result"])
def test_acts_are_not_done_by_looking(page: str, lab: Laboratory, measured: Submission, as_role: AsRole) -> None:
    assert as_role("reviewer").get(reverse(page, args=[measured.number])).status_code == 405


def test_a_client_sees_no_review(lab: Laboratory, measured: Submission, as_role: AsRole) -> None:
    browser = as_role("client")
    for address in (reverse("reviews"), reverse("review", args=[measured.number])):
        assert browser.get(address).status_code == 403


def test_what_was_allowed_by_name_stands_before_the_signature(lab: Laboratory, as_role: AsRole) -> None:
    # given a balance that failed its check, allowed for the day by somebody with the authority
    record_equipment_check(
        by=lab.people["quality manager"], at=lab.later(), equipment=lab.balance, done_on=NOW.date(),
        due_on=NOW.date(), what="weight W4", passed=False,
    )  # fmt: skip
    allow_override(
        by=lab.people["quality manager"], at=lab.later(), reason="off by 0.2 mg, which is 0.04 % of a portion",
        kind=OverrideKind.OVERDUE_EQUIPMENT, equipment=lab.balance,
    )  # fmt: skip
    submission = a_submission(lab, 1)
    an_evaluated_run(lab, submission)
    # when its reviewer opens the results
    words = shown(as_role("reviewer"), submission)
    # then it says what was allowed, why and by whom
    assert "Allowed although it had expired or was overdue" in words
    assert "off by 0.2 mg" in words
    assert "Quality Manager Person" in words


def test_an_override_that_nothing_stands_on_is_not_shown(
    lab: Laboratory, measured: Submission, as_role: AsRole
) -> None:
    lot = Lot.objects.get(number="L-2300")
    Lot.objects.filter(pk=lot.pk).update(expires_on=NOW.date() - timedelta(days=1))
    allow_override(
        by=lab.people["quality manager"], at=lab.later(), reason="for another batch", kind=OverrideKind.EXPIRED_LOT,
        lot=Lot.objects.get(pk=lot.pk),
    )  # fmt: skip
    assert "Allowed although" not in shown(as_role("reviewer"), measured)
