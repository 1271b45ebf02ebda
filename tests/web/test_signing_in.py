"""Coming in: name and password, six digits where a second factor is on, and no more than ten wrong tries."""

import re
from datetime import datetime, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from labresults.models import Attempt, AuditEvent, SecondFactor
from labresults.web.attempts import address_of
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
    words = tried(browser, name.upper(), PASSWORD)
    assert "Too many attempts with this name" in words
    assert f"Try again at {clock + timedelta(minutes=15):%H:%M}, in 15 minutes." in words
    assert "do not belong together" not in words
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
    for wrong in ("123", "１２３４５６", "é"):  # full-width digits, and a letter that no code has
        assert "not right" in browser.post(reverse("second-factor"), {"code": wrong}, follow=True).content.decode()
    browser.post(reverse("second-factor"), {"code": a_code(clock, secret)})
    assert SecondFactor.objects.get().secret == secret
    assert secret not in browser.get(reverse("second-factor")).content.decode().replace(" ", "")
    given = {"reason": "a new telephone", "password": PASSWORD}
    assert "It is off" in browser.post(reverse("turn-off-second-factor"), given, follow=True).content.decode()


# ---- whose failures count where


def stranger(address: str) -> Client:
    return Client(REMOTE_ADDR=address)


def test_failures_are_counted_in_the_database_as_digests(lab: Laboratory, clock: datetime) -> None:
    tried(stranger("198.51.100.7"), "reviewer", "guess")
    rows = list(Attempt.objects.values_list("key", "failures", "since"))
    assert sorted((key.rpartition(" ")[0], failures, since) for key, failures, since in rows) == [
        ("address", 1, clock), ("name", 1, clock), ("name from address", 1, clock)
    ]  # fmt: skip
    assert not any("reviewer" in key or "198" in key for key, _, _ in rows)


def test_a_stranger_elsewhere_keeps_nobody_out(lab: Laboratory) -> None:
    for _ in range(11):
        words = tried(stranger("198.51.100.7"), "reviewer", "guess")
    assert "Too many attempts" in words
    browser = stranger("203.0.113.4")
    tried(browser, "reviewer", PASSWORD)
    assert is_in(browser)


def test_many_strangers_stop_a_name_but_not_in_a_browser_in_which_it_signed_in_before(
    lab: Laboratory, clock: datetime
) -> None:
    # given somebody who signed in here once, and 50 failures from seven places
    own = stranger("203.0.113.4")
    tried(own, "reviewer", PASSWORD)
    own.post(reverse("sign-out"))
    for place in range(7):
        for _ in range(8):
            tried(stranger(f"198.51.100.{place}"), "reviewer", "guess")
    # then a browser that is new waits, right or wrong, and theirs does not
    new = stranger("203.0.113.9")
    assert "Too many attempts" in tried(new, "reviewer", PASSWORD)
    tried(own, "reviewer", PASSWORD)
    assert is_in(own)
    # in it too ten failures are the end, and those of another name count as a stranger's
    own.post(reverse("sign-out"))
    for _ in range(10):
        tried(own, "reviewer", "guess")
    assert "Too many attempts" in tried(own, "reviewer", PASSWORD)
    tried(own, "analyst", PASSWORD)
    assert is_in(own)


def test_a_mark_that_was_forged_is_none(lab: Laboratory) -> None:
    browser = Client()
    browser.cookies["known-browser"] = "WyJhIiwgWyJiIl1d:1vO:forged"
    for _ in range(10):
        tried(browser, "reviewer", "guess")
    assert "Too many attempts" in tried(browser, "reviewer", PASSWORD)


def test_one_address_that_tries_many_names_is_stopped(lab: Laboratory) -> None:
    place = "198.51.100.7"
    for number in range(50):
        tried(stranger(place), f"name-{number}", "guess")
    assert "Too many attempts" in tried(stranger(place), "reviewer", PASSWORD)
    assert "Too many attempts" not in tried(stranger("2001:db8:1:2::7"), "reviewer", "guess")


def test_an_own_name_that_signs_in_between_does_not_wash_an_address_clean(lab: Laboratory) -> None:
    place = "198.51.100.7"
    for number in range(50):
        tried(stranger(place), f"name-{number}", "guess")
        if number % 9 == 0:
            tried(stranger(place), "analyst", PASSWORD)
    assert "Too many attempts" in tried(stranger(place), "reviewer", "guess")


ADDRESSES = [
    (0, "198.51.100.7", "", "198.51.100.7"),
    (0, "198.51.100.7", "203.0.113.9", "198.51.100.7"),  # anybody can write that header
    (1, "127.0.0.1", "203.0.113.9", "203.0.113.9"),
    (1, "127.0.0.1", "192.0.2.1, 203.0.113.9", "203.0.113.9"),  # the left one is what the stranger wrote
    (2, "127.0.0.1", "192.0.2.1, 203.0.113.9, 10.0.0.1", "203.0.113.9"),
    (1, "127.0.0.1", "", "127.0.0.1"),
    (0, "2001:db8:1:2:3:4:5:6", "", "2001:0db8:0001:0002::/64"),
    (0, "::ffff:198.51.100.7", "", "198.51.100.7"),
    (0, "unix:", "", "unix:"),
]


@pytest.mark.parametrize(("proxies", "remote", "passed_on", "found"), ADDRESSES)
def test_where_somebody_comes_from(
    proxies: int, remote: str, passed_on: str, found: str, settings: object, rf: object
) -> None:
    """Addresses of documentation: RFC 5737 and RFC 3849."""
    settings.PROXIES = proxies  # type: ignore[attr-defined]
    request = rf.get("/", REMOTE_ADDR=remote, **({"HTTP_X_FORWARDED_FOR": passed_on} if passed_on else {}))  # type: ignore[attr-defined]
    assert address_of(request) == found


def test_rows_go_away_by_themselves_after_a_day(
    lab: Laboratory, clock: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    tried(Client(), "nobody-of-here", "guess")
    monkeypatch.setattr("django.utils.timezone.now", lambda: clock + timedelta(hours=25))
    tried(Client(), "somebody-else", "guess")
    assert {row.since for row in Attempt.objects.all()} == {clock + timedelta(hours=25)}


# ---- the six digits are limited too, and a recovery code stands for a lost device


def test_five_wrong_codes_stop_the_second_step_and_are_on_record(
    lab: Laboratory, clock: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    a_second_factor(lab, "reviewer")
    browser = Client()
    tried(browser, "reviewer", PASSWORD)
    code = reverse("sign-in-code")
    for _ in range(5):
        words = browser.post(code, {"code": "000000"}).content.decode()
    assert "That was the last try" in words
    assert AuditEvent.objects.filter(act="note_failed_signature", subject="reviewer").count() == 5
    # a new beginning is no way round it, nor is the right code
    tried(browser, "reviewer", PASSWORD)
    assert "nothing is taken in your name before" in browser.post(code, {"code": a_code(clock)}).content.decode()
    later = clock + timedelta(minutes=15)
    monkeypatch.setattr("django.utils.timezone.now", lambda: later)
    tried(browser, "reviewer", PASSWORD)
    browser.post(code, {"code": a_code(later)})
    assert is_in(browser)


def test_a_recovery_code_lets_in_once(lab: Laboratory, clock: datetime) -> None:
    # given somebody who turned it on, and wrote the codes down
    own = Client()
    own.force_login(lab.people["reviewer"])
    own.get(reverse("second-factor"))
    shown = own.post(reverse("second-factor"), {"code": a_code(clock, own.session["second-factor-offered"])})
    codes = re.findall(r'<li class="id">([A-Z2-9-]{19})</li>', shown.content.decode())
    assert (len(codes), "no-store" in shown["Cache-Control"]) == (8, True)
    assert not any(code in own.get(reverse("second-factor")).content.decode() for code in codes)
    # when the device is lost, each of them lets in once, however it is typed
    typed = codes[0].lower().replace("-", " ")
    for written, goes in ((typed, True), (codes[0], False), ("AAAA-BBBB-CCCC-DDDD", False)):
        browser = Client()
        tried(browser, "reviewer", PASSWORD)
        browser.post(reverse("sign-in-code"), {"recovery": written})
        assert is_in(browser) is goes, written
    assert "7 of them are left" in own.get(reverse("second-factor")).content.decode()
    # and new ones, with the password, take the place of all
    wrong = own.post(reverse("recovery-codes"), {"password": "guess"}, follow=True).content.decode()
    assert "The password is not right" in wrong
    made = own.post(reverse("recovery-codes"), {"password": PASSWORD}).content.decode()
    assert made.count('<li class="id">') == 8
    tried(browser, "reviewer", PASSWORD)
    browser.post(reverse("sign-in-code"), {"recovery": codes[1]})
    assert not is_in(browser)


def test_nothing_given_is_said_and_counts_as_no_try(lab: Laboratory) -> None:
    a_second_factor(lab, "reviewer")
    browser = Client()
    tried(browser, "reviewer", PASSWORD)
    for _ in range(6):
        words = browser.post(reverse("sign-in-code"), {"code": ""}).content.decode()
    assert "Give the six digits" in words
