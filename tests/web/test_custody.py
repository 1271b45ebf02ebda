"""The custody page: labels scanned into a box, one act for all of them; what may be disposed of today."""

from collections.abc import Callable
from datetime import date

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from labresults.models import CustodyEntry
from tests.builders import Laboratory, a_submission
from tests.web.conftest import TODAY

AsRole = Callable[[str], Client]


def recorded(browser: Client, lab: Laboratory, numbers: str, **given: object) -> str:
    form = {
        "numbers": numbers, "what": "moved", "place": "store 2", "held_by": lab.people["preparer"].pk,
    } | given  # fmt: skip
    answer = browser.post(reverse("custody"), form, follow=True)
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_box_of_labels_is_recorded_at_once(lab: Laboratory, as_role: AsRole) -> None:
    submission, browser = a_submission(lab, 3), as_role("preparer")

    words = recorded(browser, lab, "KF26-00001\nKF26-00003\nKF26-00001\n")

    assert "2 samples are recorded: moved, store 2, with Preparer Person." in words
    assert CustodyEntry.objects.filter(place="store 2", since=TODAY).count() == 2
    page = browser.get(reverse("submission", args=[submission.number])).content.decode()
    assert "store 2" in page
    page = browser.get(reverse("sample", args=["KF26-00001"])).content.decode()
    assert "16 Nov 2026 09:00 to 17 Nov 2026 08:00" in page
    assert "17 Nov 2026 08:00, and has it now" in page


def test_the_number_of_a_submission_stands_for_all_its_samples(lab: Laboratory, as_role: AsRole) -> None:
    a_submission(lab, 3)
    assert "3 samples are recorded" in recorded(as_role("reception"), lab, "S26-0001")


@pytest.mark.parametrize(
    ("numbers", "given", "says"),
    [
        pytest.param("KF26-00001 KF26-09999", {}, "“KF26-09999” is neither a sample nor a submission", id="unknown"),
        pytest.param("", {}, "Scan or type at least one laboratory number.", id="nothing"),
        pytest.param("KF26-00001", {"place": ""}, "Say where the samples are now.", id="no place"),
        pytest.param("KF26-00001", {"what": "received"}, "Select a valid choice", id="received"),
        pytest.param("KF26-00001", {"what": "returned to the client"}, "who of the client took", id="returned"),
        pytest.param("KF26-00001", {"what": "disposed of"}, "is kept until 2027-02-23", id="too early"),
        pytest.param("KF26-00001", {"since": "2026-11-16T08:00"}, "that is later", id="before the last entry"),
        pytest.param("KF26-00001", {"since": "2026-11-18T08:00"}, "has not come yet", id="still to come"),
    ],
)
def test_a_refusal_names_the_label_and_keeps_the_box(
    numbers: str, given: dict[str, str], says: str, lab: Laboratory, as_role: AsRole
) -> None:
    a_submission(lab, 1, due_on=date(2026, 11, 25))
    words = recorded(as_role("reception"), lab, numbers, taken_by="", **given)
    assert says in words
    assert numbers in words
    assert CustodyEntry.objects.count() == 1


def test_the_same_box_sent_twice_is_recorded_once(lab: Laboratory, as_role: AsRole) -> None:
    a_submission(lab, 1)
    browser = as_role("reception")
    recorded(browser, lab, "KF26-00001")
    assert "store 2, already" in recorded(browser, lab, "KF26-00001")
    assert CustodyEntry.objects.count() == 2


def test_what_may_be_disposed_of_is_put_into_the_box(
    lab: Laboratory, as_role: AsRole, monkeypatch: pytest.MonkeyPatch
) -> None:
    a_submission(lab, 2, due_on=date(2026, 11, 25))
    browser = as_role("reception")
    assert "Nothing may be disposed of today" in browser.get(reverse("custody")).content.decode()

    monkeypatch.setattr("django.utils.timezone.now", lambda: TODAY.replace(year=2027, month=2, day=24))
    browser.force_login(lab.people["reception"])  # the session of November is over
    words = browser.get(reverse("custody")).content.decode()
    assert "May be disposed of today" in words
    assert "samples=S26-0001&amp;what=disposed+of" in words
    words = browser.get(reverse("custody") + "?samples=S26-0001&what=disposed+of").content.decode()
    assert ">\nS26-0001</textarea>" in words
    assert '<option value="disposed of" selected>' in words
    recorded(browser, lab, "S26-0001", what="disposed of", place="waste drum 4")
    assert "Nothing may be disposed of today" in browser.get(reverse("custody")).content.decode()
    words = browser.get(reverse("sample", args=["KF26-00001"])).content.decode()
    assert "disposed of" in words
    assert "has it now" not in words


def test_whoever_may_not_record_sees_no_box(lab: Laboratory, as_role: AsRole) -> None:
    a_submission(lab, 1)
    assert 'name="numbers"' not in as_role("auditor").get(reverse("custody")).content.decode()
    answer = as_role("auditor").post(
        reverse("custody"),
        {"numbers": "KF26-00001", "what": "moved", "place": "x", "held_by": lab.people["preparer"].pk},
    )
    assert answer.status_code == 403


def test_two_hundred_labels_ask_the_database_seldom(
    lab: Laboratory, as_role: AsRole, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    a_submission(lab, 200)
    browser = as_role("preparer")
    form = {"numbers": "S26-0001", "what": "moved", "place": "store 2", "held_by": lab.people["preparer"].pk}
    with django_assert_max_num_queries(25):
        browser.post(reverse("custody"), form)
    assert CustodyEntry.objects.filter(place="store 2").count() == 200
