"""Coming in: name and password, six digits where a second factor is on, and no more than ten wrong tries."""

from datetime import datetime, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from labresults.models import SecondFactor
from tests.builders import PASSWORD, Laboratory, a_code, a_second_factor


def tried(browser: Client, name: str, password: str) -> str:
    given = {"username": name, "password": password, "next": ""}
    return browser.post(reverse("sign-in"), given, follow=True).content.decode()


def is_in(browser: Client) -> bool:
    return "_auth_user_id" in browser.session


def test_without_a_second_factor_the_password_is_enough(lab: Laboratory) -> None:
    browser = Client()
    tried(browser, "reviewer", PASSWORD)
    assert is_in(browser)


def test_with_one_the_six_digits_are_asked_for_and_each_code_is_taken_once(lab: Laboratory, clock: datetime) -> None:
    a_second_factor(lab, "reviewer")
    browser, other = Client(), Client()
    assert "And the six digits" in tried(browser, "reviewer", PASSWORD)
    assert not is_in(browser)
    wrong = browser.post(reverse("sign-in-code"), {"code": "000 000"}).content.decode()
    assert "The six digits are not right" in wrong
    assert not is_in(browser)
    browser.post(reverse("sign-in-code"), {"code": f"{a_code(clock)[:3]} {a_code(clock)[3:]}"})
    assert is_in(browser)
    # the same code by somebody who looked over the shoulder
    tried(other, "reviewer", PASSWORD)
    assert "used already" in other.post(reverse("sign-in-code"), {"code": a_code(clock)}).content.decode()
    assert not is_in(other)


def test_the_code_page_needs_the_first_step_and_waits_five_minutes(
    lab: Laboratory, clock: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    a_second_factor(lab, "reviewer")
    assert Client().get(reverse("sign-in-code")).url == reverse("sign-in")  # type: ignore[attr-defined]
    browser = Client()
    tried(browser, "reviewer", PASSWORD)
    late = clock + timedelta(minutes=6)
    monkeypatch.setattr("django.utils.timezone.now", lambda: late)
    answer = browser.post(reverse("sign-in-code"), {"code": a_code(late)})
    assert answer.url == reverse("sign-in")  # type: ignore[attr-defined]
    assert not is_in(browser)


@pytest.mark.parametrize("name", ["reviewer", "nobody-of-here"])
def test_ten_failures_stop_a_name_for_fifteen_minutes_known_or_not(
    name: str, lab: Laboratory, clock: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    browser = Client()
    for _ in range(10):
        assert "Too many attempts" not in tried(browser, name, "guess")
    assert "Too many attempts with this name. Wait 15 minutes" in tried(browser, name.upper(), PASSWORD)
    assert not is_in(browser)
    monkeypatch.setattr("django.utils.timezone.now", lambda: clock + timedelta(minutes=14, seconds=59))
    assert "Too many attempts" in tried(browser, name, PASSWORD)
    monkeypatch.setattr("django.utils.timezone.now", lambda: clock + timedelta(minutes=15))
    assert "Too many attempts" not in tried(browser, name, PASSWORD)
    assert is_in(browser) is (name == "reviewer")


def test_somebody_turns_their_second_factor_on_and_off(lab: Laboratory, clock: datetime) -> None:
    browser = Client()
    browser.force_login(lab.people["reviewer"])
    page = browser.get(reverse("second-factor"))
    assert "no-store" in page["Cache-Control"]
    assert 'class="qr"' in page.content.decode()
    secret = browser.session["second-factor-offered"]
    assert "not right" in browser.post(reverse("second-factor"), {"code": "123"}, follow=True).content.decode()
    browser.post(reverse("second-factor"), {"code": a_code(clock, secret)})
    assert SecondFactor.objects.get().secret == secret
    assert secret not in browser.get(reverse("second-factor")).content.decode().replace(" ", "")
    given = {"reason": "a new telephone", "password": PASSWORD}
    assert "It is off" in browser.post(reverse("turn-off-second-factor"), given, follow=True).content.decode()
