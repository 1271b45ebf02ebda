"""Several certificates amended for one reason, by a person: each is done, or refused in words, by itself."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from reports.actions.certificates import withdraw_certificate
from reports.models import Certificate
from tests.builders import Laboratory, a_certificate, a_submission, an_evaluated_run, approved

AsRole = Callable[[str], Client]
ADDRESS = "/certificates/amend"
REASON = "The balance read 2 % too low."


@pytest.fixture
def two(lab: Laboratory) -> list[Certificate]:
    """Certificates of two submissions of one client."""
    issued = []
    for name in ("a", "b"):
        submission = a_submission(lab, 1, names=[name])
        an_evaluated_run(lab, submission)
        issued.append(a_certificate(lab, approved(lab, submission), draw=False))
    return issued


def named(*certificates: Certificate) -> list[str]:
    return [f"{one.number}/{one.issue}" for one in certificates]


def answered(browser: Client, certificates: list[str], reason: str) -> str:
    answer = browser.post(ADDRESS, {"certificate": certificates, "reason": reason})
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def test_both_are_amended_with_one_reason_and_each_is_named(
    lab: Laboratory, two: list[Certificate], as_role: AsRole
) -> None:
    # given a person who chose two of them, and sees both before the reason is given
    browser = as_role("issuer")
    page = browser.get(ADDRESS, {"certificate": named(*two)}).content.decode()
    assert reverse("amend-certificates") == ADDRESS
    assert all(one.number in page for one in two)
    # when the reason is sent
    page = answered(browser, named(*two), REASON)
    # then each has its next issue, for that reason, drawn, and the page leads to it
    assert page.count(">amended<") == 2
    for one in two:
        new = Certificate.objects.get(replaces=one)
        assert (new.issue, new.reason) == (2, REASON)
        assert new.files.exists()  # type: ignore[attr-defined]
        assert reverse("certificate", args=[new.number, 2]) in page


@pytest.mark.parametrize("reason", ["", "   "])
def test_without_a_reason_nothing_is_amended_and_what_was_chosen_stays_chosen(
    reason: str, two: list[Certificate], as_role: AsRole
) -> None:
    page = answered(as_role("issuer"), named(*two), reason)
    assert "This field is required." in page
    assert all(f'name="certificate" value="{name}"' in page for name in named(*two))
    assert Certificate.objects.count() == 2


@pytest.mark.parametrize(
    "chosen",
    [[], ["C26-0099/1"], ["C26-0001"], ["C26-0001/one"], ["C26-0001/²"], ["C26-0001/99999999999999999999"]],
    ids=str,
)
def test_what_is_not_there_is_not_amended(chosen: list[str], two: list[Certificate], as_role: AsRole) -> None:
    page = answered(as_role("issuer"), chosen, REASON)
    assert "No certificate is named." in page
    assert Certificate.objects.count() == 2


def test_one_that_was_withdrawn_meanwhile_is_told_and_keeps_the_other_not_back(
    lab: Laboratory, two: list[Certificate], as_role: AsRole
) -> None:
    # given a page that was opened before one of the two was withdrawn
    browser, chosen = as_role("issuer"), named(*two)
    withdraw_certificate(by=lab.people["issuer"], at=lab.later(), certificate=two[0], reason="Samples were mixed up.")
    # then a look at it says so
    assert "withdrawn</span>" in browser.get(ADDRESS, {"certificate": chosen}).content.decode()
    # and a correction of a withdrawn certificate is a new issue like any other, beside that of the one in force
    page = answered(browser, chosen, REASON)
    assert page.count(">amended<") == 2
    assert {one.replaces_id for one in Certificate.objects.filter(issue=2)} == {one.pk for one in two}


def test_the_same_form_twice_amends_once(two: list[Certificate], as_role: AsRole) -> None:
    browser, chosen = as_role("issuer"), named(*two)
    answered(browser, chosen, REASON)
    page = answered(browser, chosen, REASON)
    assert page.count(">refused<") == 2
    assert "amended" not in page.partition("<table")[2].partition("</table>")[0]
    assert Certificate.objects.count() == 4


def test_somebody_who_may_not_amend_is_refused_for_each(two: list[Certificate], as_role: AsRole) -> None:
    page = answered(as_role("auditor"), named(*two), REASON)
    assert page.count(">refused<") == 2
    assert Certificate.objects.count() == 2
