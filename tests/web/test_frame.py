"""The frame of every page: signing in, the ribbon, what the policy forbids, and what a refusal looks like."""

import re
from collections.abc import Callable
from datetime import date

import pytest
from django.core.cache import cache
from django.test import Client
from django.urls import path, reverse

from labresults.acts import BadInput, NotAuthorised, WrongState
from labresults.config import urls as site
from labresults.models import Laboratory as LaboratoryRow
from labresults.readers.problem import Problem
from labresults.web.shared import guarded
from tests.builders import PASSWORD, Laboratory, a_submission, a_weighed_batch
from tests.web.pages import a_busy_laboratory, addresses

AsRole = Callable[[str], Client]

INLINE = re.compile(r"\sstyle=|<style|<script(?![^>]*\ssrc=)|\son[a-z]+=|javascript:", re.IGNORECASE)


def test_signing_in_leads_to_today(lab: Laboratory) -> None:
    browser = Client()
    answer = browser.post(reverse("sign-in"), {"username": "analyst", "password": PASSWORD})
    assert (answer.status_code, answer.headers["Location"]) == (302, "/")


def test_a_failed_sign_in_says_so_and_keeps_the_name(lab: Laboratory) -> None:
    answer = Client().post(reverse("sign-in"), {"username": "analyst", "password": "wrong"})
    words = answer.content.decode()
    assert answer.status_code == 200
    assert "The name and the password do not belong together." in words
    assert 'value="analyst"' in words


def test_signing_out_needs_a_form(lab: Laboratory, as_role: AsRole) -> None:
    browser = as_role("analyst")
    assert browser.get(reverse("sign-out")).status_code == 405
    assert browser.post(reverse("sign-out")).status_code == 302
    assert browser.get(reverse("today")).headers["Location"].startswith("/sign-in")


def test_a_person_signed_in_is_not_asked_again(lab: Laboratory, as_role: AsRole) -> None:
    assert as_role("analyst").get(reverse("sign-in")).status_code == 302


@pytest.mark.parametrize("invented", [True, False], ids=["demonstration", "in service"])
def test_invented_data_says_so(invented: bool, lab: Laboratory, as_role: AsRole) -> None:
    LaboratoryRow.objects.update(invented=invented)
    cache.clear()
    for answer in (as_role("analyst").get(reverse("today")), Client().get(reverse("sign-in"))):
        assert ("Invented demonstration data" in answer.content.decode()) is invented


def test_nothing_is_inline_and_the_policy_is_sent(lab: Laboratory, as_role: AsRole) -> None:
    a_busy_laboratory(lab)
    browser = as_role("quality manager")
    for page, address in [*addresses().items(), ("not there", "/nothing")]:
        answer = browser.get(address)
        assert not INLINE.search(answer.content.decode()), page
        assert "script-src 'self'" in answer.headers["Content-Security-Policy"], page


def test_the_ribbon_counts_what_waits_and_what_is_late(lab: Laboratory, as_role: AsRole) -> None:
    browser = as_role("analyst")
    a_weighed_batch(lab, a_submission(lab, 3))
    a_submission(lab, 2)
    a_submission(lab, 1, names=["late"], due_on=date(2026, 11, 1))
    counted = {stop.station: (stop.waiting, stop.late) for stop in browser.get(reverse("today")).context["ribbon"]}
    assert counted == {
        "reception": (0, 0),
        "preparation": (3, 1),
        "runs": (3, 0),
        "review": (0, 0),
        "certificates": (0, 0),
    }


def test_a_number_that_is_not_there_is_a_page_in_words(lab: Laboratory, as_role: AsRole) -> None:
    browser = as_role("analyst")
    for page, number in [("submission", "S26-9999"), ("sample", "KF26-99999"), ("lot", "L-0"), ("batch", "B26-9999")]:
        answer = browser.get(reverse(page, args=[number]))
        assert answer.status_code == 404, page
        assert "Nothing is here under that name" in answer.content.decode(), page


def refuse(refusal: Exception) -> Callable[..., object]:
    def page(request: object) -> None:
        raise refusal

    return page


urlpatterns = guarded(
    [
        path("authorised", refuse(NotAuthorised("Ines Marlow may not approve results."))),
        path("state", refuse(WrongState("It was issued already."))),
        path("input", refuse(BadInput("1 to correct.", (Problem(7, "matrix", "It is blank.", "Choose one."),)))),
    ]
)


@pytest.mark.parametrize(
    ("address", "status", "words"),
    [
        ("authorised", 403, "Ines Marlow may not approve results."),
        ("state", 409, "It was issued already."),
        ("input", 409, "row 7, column matrix: It is blank. Choose one."),
    ],
)
def test_a_refusal_is_a_page_in_words(
    address: str, status: int, words: str, lab: Laboratory, as_role: AsRole, settings: object
) -> None:
    class Both:
        urlpatterns = [*site.urlpatterns, *globals()["urlpatterns"]]

    browser = as_role("reception")
    settings.ROOT_URLCONF = Both  # type: ignore[attr-defined]
    answer = browser.get(f"/{address}")
    assert answer.status_code == status
    assert words in answer.content.decode()
