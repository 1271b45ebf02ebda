"""Pages of corrections: what is typed is kept on a refusal, buttons are there for whoever may, two people at once."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from labresults.actions.delivery import receive_samples
from labresults.models import Sample, Submission
from labresults.readers.delivery import DeliveredSample
from tests.builders import (
    Laboratory,
    a_certificate,
    a_method,
    a_submission,
    a_weighed_batch,
    an_evaluated_run,
    approved,
)

AsRole = Callable[[str], Client]


def shown(browser: Client, page: str, number: str) -> str:
    answer = browser.get(reverse(page, args=[number]))
    assert answer.status_code == 200
    return answer.content.decode()


def corrected(browser: Client, sample: Sample, act: str, **given: str) -> str:
    seen = {"identification": sample.client_identification, "move": sample.submission.number}.get(act, "")
    form = {"act": act, "seen": seen} | given
    answer = browser.post(reverse("correct-sample", args=[sample.number]), form, follow=True)
    assert answer.status_code == 200
    return answer.content.decode()


def added(browser: Client, submission: Submission, **given: object) -> str:
    form = {"client_identification": "late one", "matrix": "soil", "place": "reception", "reason": "came later"} | given
    answer = browser.post(reverse("add-sample", args=[submission.number]), form, follow=True)
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_corrected_identification_stands_on_both_pages_with_what_stood_before(
    lab: Laboratory, as_role: AsRole
) -> None:
    sample = a_submission(lab, names=["NRD014 112.0 m"]).samples.get()
    browser = as_role("reception")

    words = corrected(browser, sample, "identification", to="NRD014 121.0 m", reason="misread")

    assert "identification is corrected. Print its label again." in words
    for words in (shown(browser, "sample", sample.number), shown(browser, "submission", sample.submission.number)):
        for expected in ("NRD014 121.0 m", "NRD014 112.0 m", "misread", "Reception Person"):
            assert expected in words, expected


def test_a_refusal_keeps_what_was_typed(lab: Laboratory, as_role: AsRole) -> None:
    sample = a_submission(lab, names=["a", "b"]).samples.get(ordinal=1)
    words = corrected(as_role("reception"), sample, "identification", to="b", reason="misread by hand")
    assert "KF26-00002 of S26-0001 is “b” already" in words
    assert 'name="to" value="b"' in words
    assert 'value="misread by hand"' in words
    assert Sample.objects.get(pk=sample.pk).client_identification == "a"


def test_two_browsers_that_correct_the_same_sample(lab: Laboratory, as_role: AsRole) -> None:
    sample = a_submission(lab, names=["a"]).samples.get()
    one, two = as_role("reception"), as_role("reception")
    for browser in (one, two):
        assert 'name="seen" value="a"' in shown(browser, "correct-sample", sample.number)
    corrected(one, sample, "identification", to="first", reason="misread")
    words = corrected(two, sample, "identification", to="second", reason="misread")
    assert "Somebody has corrected KF26-00001 in between: it is “first” now. Look again." in words
    assert 'name="to" value="second"' in words
    assert Sample.objects.get().client_identification == "first"


def test_a_struck_sample_is_listed_apart_with_the_reason(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab, 2)
    a_weighed_batch(lab, submission)
    sample, browser = submission.samples.get(ordinal=1), as_role("reception")
    assert "in batch B26-0001 by AR-7 v1: weighed" in shown(browser, "correct-sample", sample.number)

    assert "KF26-00001 is struck" in corrected(browser, sample, "strike", reason="logged twice")

    words = shown(browser, "submission", submission.number)
    listed, _, struck = words.partition('id="struck"')
    assert f'id="s{sample.number}"' not in listed
    assert f'id="s{sample.number}"' in struck
    assert "logged twice" in struck
    assert "1\N{NO-BREAK SPACE}sample of soil" in words
    assert "nothing more is corrected" in shown(browser, "correct-sample", sample.number)
    assert "<b>Struck</b>" in shown(browser, "sample", sample.number)


def test_pages_hold_when_every_sample_was_struck(lab: Laboratory, as_role: AsRole) -> None:
    sample, browser = a_submission(lab, 1).samples.get(), as_role("reception")
    corrected(browser, sample, "strike", reason="logged twice")
    assert "Every sample was struck or moved" in shown(browser, "submission", sample.submission.number)
    for page in ("review", "certify"):
        shown(browser, page, sample.submission.number)


def test_a_moved_sample_leaves_a_line_on_the_page_that_it_left(lab: Laboratory, as_role: AsRole) -> None:
    source, to = a_submission(lab, names=["a", "b"]), a_submission(lab, names=["c"])
    browser, sample = as_role("reception"), source.samples.get(ordinal=1)

    assert "is moved" in corrected(browser, sample, "move", to=to.number.lower(), reason="came in the other box")

    for number in (source.number, to.number):
        words = shown(browser, "submission", number)
        assert "moved to another submission" in words
        assert "came in the other box" in words
    assert f'id="s{sample.number}"' not in shown(browser, "submission", source.number)
    assert f'id="s{sample.number}"' in shown(browser, "submission", to.number)


def test_a_submission_that_is_not_there_is_named(lab: Laboratory, as_role: AsRole) -> None:
    sample = a_submission(lab, 1).samples.get()
    words = corrected(as_role("reception"), sample, "move", to="S26-9999", reason="other box")
    assert "There is no submission “S26-9999”" in words


def test_a_sample_on_a_certificate_says_to_amend_instead(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab, 1)
    an_evaluated_run(lab, submission)
    a_certificate(lab, approved(lab, submission), draw=False)
    sample, browser = submission.samples.get(), as_role("reception")
    words = shown(browser, "correct-sample", sample.number)
    assert "It is on certificate C26-0001, issue 1." in words
    assert 'name="to"' not in words
    browser.post(
        reverse("correct-sample", args=[sample.number]),
        {"act": "identification", "to": "b", "seen": sample.client_identification, "reason": "misread"},
    )
    assert Sample.objects.get().client_identification == sample.client_identification


# ---- a sample added later


def test_a_sample_is_added_with_its_facts(lab: Laboratory, as_role: AsRole) -> None:
    submission, browser = a_submission(lab, 2), as_role("reception")
    words = added(
        browser, submission, delivered_g="12.5", sampled="2026-11-14", hazards=["toxic"], note="bag damp",
        field_filtered="no", preservation="cooled",
    )  # fmt: skip
    assert "KF26-00003 is added to S26-0001" in words
    assert "added later" in words
    sample = Sample.objects.get(number="KF26-00003")
    assert (sample.delivered_g, sample.hazards, sample.field_filtered) == (12.5, ["toxic"], False)
    words = shown(browser, "sample", sample.number)
    for expected in ("12.5 g delivered", "toxic", "bag damp", "not filtered", "cooled", "14 Nov 2026"):
        assert expected in words, expected


def test_what_the_review_finds_is_shown_before_it_is_accepted(lab: Laboratory, as_role: AsRole) -> None:
    submission, browser = a_submission(lab, 1), as_role("reception")
    words = added(browser, submission, delivered_g="0.1")
    assert "0.1 g is too little for the test portions" in words
    assert 'name="accept"' in words
    assert 'value="late one"' in words
    assert submission.samples.count() == 1

    words = added(browser, submission, delivered_g="0.1", accept="the client has no more", tell_client="on")

    assert "is added" in words
    for expected in ("Accepted at the review of the request", "the client has no more", "on the certificate"):
        assert expected in words, expected


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"delivered_g": "much"}, "“much” is not a quantity."),
        ({"client_identification": "NRD014 112.0 m"}, "It must be alone in one submission"),
        ({"reason": ""}, "Give the reason why it is added later"),
        ({"matrix": ""}, "This field is required"),
    ],
)
def test_a_bad_sample_is_said_and_kept(given: dict[str, str], says: str, lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab, 1)
    words = added(as_role("reception"), submission, note="bag damp", **given)
    assert says in words
    assert 'value="bag damp"' in words
    assert submission.samples.count() == 1


def test_what_single_samples_ask_for_stands_beside_them(lab: Laboratory, as_role: AsRole) -> None:
    a_method(lab.people["quality manager"], "AR-8")
    submission = receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, methods=[lab.method],
        rows=[DeliveredSample(1, "a", "soil"), DeliveredSample(2, "b", "soil", methods=("AR-8",), basis="dry basis")],
    )  # fmt: skip
    words = shown(as_role("analyst"), "submission", submission.number)
    assert "others of 1\N{NO-BREAK SPACE}sample" in words
    assert "AR-8, dry basis, no limits" in words


@pytest.mark.parametrize(("role", "offered"), [("reception", True), ("analyst", False), ("auditor", False)])
def test_buttons_are_there_for_whoever_may(role: str, offered: bool, lab: Laboratory, as_role: AsRole) -> None:
    sample, browser = a_submission(lab, 1).samples.get(), as_role(role)
    assert ("Add a sample" in shown(browser, "submission", sample.submission.number)) is offered
    assert ("Correct or strike" in shown(browser, "sample", sample.number)) is offered
    assert ("Strike KF26-00001" in shown(browser, "correct-sample", sample.number)) is offered


def test_somebody_without_the_role_corrects_nothing(lab: Laboratory, as_role: AsRole) -> None:
    sample = a_submission(lab, 1).samples.get()
    answer = as_role("analyst").post(
        reverse("correct-sample", args=[sample.number]), {"act": "strike", "reason": "I say so"}
    )
    assert answer.status_code == 403
    assert "may not strike sample" in answer.content.decode()
    assert Sample.objects.get().struck_at is None
