"""A signature is limited: five wrong passwords or codes of a person, then nothing for 15 minutes; each is on record."""

import json
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest

from labresults.actions.given_passwords import give_new_password
from labresults.actions.people import change_password
from labresults.actions.review import approve_results, refuse_results, send_back_results, sign_review
from labresults.actions.second_factor import make_recovery_codes, turn_off_second_factor
from labresults.acts import BadInput, NotAuthorised, WrongState
from labresults.models import Attempt, AuditEvent, Review, Submission
from labresults.queries.history import broken_link
from labresults.queries.results import waiting_for_review
from tests.builders import PASSWORD, Laboratory, a_code, a_second_factor, a_submission, an_evaluated_run


@pytest.fixture
def measured(lab: Laboratory) -> Submission:
    submission = a_submission(lab, 1)
    an_evaluated_run(lab, submission)
    return submission


Signing = Callable[..., Any]


def signing(lab: Laboratory, measured: Submission) -> dict[str, Signing]:
    """Everything that asks for the password again, by the reviewer."""
    waiting = waiting_for_review(measured)
    by: dict[str, Any] = {"by": lab.people["reviewer"], "reason": "wet"}
    some: dict[str, Any] = by | {"results": waiting}
    return {
        "approve_results": lambda **now: approve_results(looked_at=waiting, **some, **now),
        "refuse_results": lambda **now: refuse_results(**some, **now),
        "send_back_results": lambda **now: send_back_results(**some, **now),
        "sign_review": lambda **now: sign_review(looked_at=waiting, **some, **now),
        "turn_off_second_factor": lambda **now: turn_off_second_factor(**by, **now),
        "make_recovery_codes": lambda **now: make_recovery_codes(**by, **now),
        "change_password": lambda **now: change_password(new_password="another road 1912", **by, **now),
        "give_new_password": lambda **now: give_new_password(
            person=lab.people["reviewer"], by=lab.people["laboratory manager"], reason="forgot it", **now
        ),
    }


ASKING = ["approve_results", "refuse_results", "send_back_results", "sign_review", "turn_off_second_factor",
          "make_recovery_codes", "change_password", "give_new_password"]  # fmt: skip
IN_REVIEW = ASKING[:4]


@pytest.mark.parametrize("name", ASKING)
def test_five_wrong_passwords_then_the_right_one_waits(name: str, lab: Laboratory, measured: Submission) -> None:
    if name in ("turn_off_second_factor", "make_recovery_codes"):
        a_second_factor(lab, "reviewer")
    sign, at = signing(lab, measured)[name], lab.later()
    for left in ("4 more tries", "3 more tries", "2 more tries", "1 more try", "That was the last try"):
        with pytest.raises(NotAuthorised, match=rf"The password is not right; nothing was \w+\. {left}"):
            sign(at=at, password="guess")
    for soon in (at, at + timedelta(minutes=14, seconds=59)):
        with pytest.raises(NotAuthorised, match="Too many wrong passwords or codes: nothing is taken in your name"):
            sign(at=soon, password=PASSWORD)
    assert not Review.objects.exists()
    sign(at=at + timedelta(minutes=15), password=PASSWORD)
    assert not Attempt.objects.exists()


def test_it_says_until_when(lab: Laboratory, measured: Submission) -> None:
    sign, at = signing(lab, measured)["sign_review"], lab.later()
    until = f"{at + timedelta(minutes=15):%H:%M}, in 15 minutes"
    for _ in range(4):
        with pytest.raises(NotAuthorised):
            sign(at=at, password="guess")
    with pytest.raises(NotAuthorised, match=until):
        sign(at=at, password="guess")
    with pytest.raises(NotAuthorised, match=until):
        sign(at=at, password="guess")


def test_whatever_asks_counts_together_and_wrong_codes_too(lab: Laboratory, measured: Submission) -> None:
    a_second_factor(lab, "reviewer")
    signs, at = signing(lab, measured), lab.later()
    for name in IN_REVIEW:
        with pytest.raises(NotAuthorised, match="six digits are not right"):
            signs[name](at=at, password=PASSWORD, code="000000")
    with pytest.raises(NotAuthorised, match="That was the last try"):
        signs["change_password"](at=at, password="guess")
    with pytest.raises(NotAuthorised, match="Too many"):
        signs["sign_review"](at=at, password=PASSWORD, code=a_code(at))


def test_each_failure_is_on_record_although_nothing_was_signed(lab: Laboratory, measured: Submission) -> None:
    a_second_factor(lab, "reviewer")
    signs, at, events = signing(lab, measured), lab.later(), AuditEvent.objects.count()
    given = [{"password": "guess"}, {"password": PASSWORD, "code": "000000"}] * 2 + [{"password": "guess"}]
    for one in [*given, {"password": PASSWORD, "code": a_code(at)}]:
        with pytest.raises(NotAuthorised):
            signs["sign_review"](at=at, **one)
    noted = list(AuditEvent.objects.order_by("seq")[events:])
    assert {(event.act, event.person.username, event.subject) for event in noted} == {
        ("note_failed_signature", "reviewer", "reviewer")
    }
    said = [json.loads(event.content)["after"] for event in noted]
    assert [one["wrong"] for one in said] == ["password", "code", "password", "code", "password"]
    assert {one["asked for"] for one in said} == {"sign review"}
    assert [one.get("waits until") for one in said] == [None] * 4 + [(at + timedelta(minutes=15)).isoformat()]
    assert "guess" not in "".join(event.content for event in noted)
    assert broken_link() is None


NO_FAILURES: list[tuple[str, dict[str, Any], type[Exception]]] = [
    ("refuse_results", {"password": PASSWORD, "reason": ""}, BadInput),
    ("approve_results", {"password": PASSWORD, "seen_sha256": "x"}, WrongState),
    ("approve_results", {"password": ""}, NotAuthorised),  # a slip of the hand, and no guess
]


@pytest.mark.parametrize(("name", "given", "refusal"), NO_FAILURES)
def test_what_is_refused_for_another_reason_counts_as_no_failure(
    name: str, given: dict[str, Any], refusal: type[Exception], lab: Laboratory, measured: Submission
) -> None:
    acts = {"refuse_results": refuse_results, "approve_results": approve_results}
    waiting, events = waiting_for_review(measured), AuditEvent.objects.count()
    for _ in range(6):
        with pytest.raises(refusal):
            acts[name](by=lab.people["reviewer"], at=lab.later(), results=waiting, **given)
    assert AuditEvent.objects.count() == events
    signing(lab, measured)["sign_review"](at=lab.later(), password=PASSWORD)


def test_a_right_one_forgets_those_before_and_so_do_15_minutes(lab: Laboratory, measured: Submission) -> None:
    signs, at = signing(lab, measured), lab.later()
    wrong = {"password": "guess"}

    def fail(times: int, at: datetime) -> None:
        for _ in range(times):
            with pytest.raises(NotAuthorised, match="not right"):
                signs["sign_review"](at=at, **wrong)

    fail(4, at)
    fail(4, at + timedelta(minutes=15))
    signs["send_back_results"](at=at + timedelta(minutes=16), password=PASSWORD)
    fail(4, at + timedelta(minutes=17))


def test_one_persons_failures_are_nobody_elses(lab: Laboratory, measured: Submission) -> None:
    at = lab.later()
    for _ in range(5):
        with pytest.raises(NotAuthorised):
            change_password(by=lab.people["analyst"], at=at, password="guess", new_password="another road 1912")
    signing(lab, measured)["sign_review"](at=at, password=PASSWORD)


def test_who_may_not_is_refused_before_and_counts_nothing(lab: Laboratory, measured: Submission) -> None:
    with pytest.raises(NotAuthorised, match="may not"):
        sign_review(by=lab.people["preparer"], at=lab.later(), results=waiting_for_review(measured), password="guess")
    assert not Attempt.objects.exists()
