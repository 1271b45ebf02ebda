"""Sessions: new at each sign-in, over after a while or a day, and over everywhere when what is asked for changes."""

import os
import subprocess
import sys
from collections.abc import Callable
from datetime import datetime, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from labresults.actions.people import change_password
from labresults.actions.second_factor import turn_off_second_factor
from labresults.acts import BadInput, NotAuthorised
from labresults.models import AuditEvent
from tests.builders import NOW, PASSWORD, Laboratory, a_code, a_second_factor

AsRole = Callable[[str], Client]
NEW = "another road 1912"


def is_in(browser: Client) -> bool:
    return browser.get(reverse("second-factor")).status_code == 200


@pytest.fixture
def turn(monkeypatch: pytest.MonkeyPatch, clock: datetime) -> Callable[[timedelta], None]:
    """Let the clock of pages stand so much later than it did at first."""
    return lambda later: monkeypatch.setattr("django.utils.timezone.now", lambda: clock + later)


def test_signing_in_begins_a_session_of_its_own(lab: Laboratory, clock: datetime) -> None:
    """Whoever knows the key of the session before knows nothing of the one after (session fixation)."""
    a_second_factor(lab, "reviewer")
    for name in ("analyst", "reviewer"):
        browser = Client()
        session = browser.session
        session["x"] = 1
        session.save()
        keys = [browser.cookies["sessionid"].value]
        browser.post(reverse("sign-in"), {"username": name, "password": PASSWORD})
        keys.append(browser.cookies["sessionid"].value)
        if name == "reviewer":
            browser.post(reverse("sign-in-code"), {"code": a_code(clock)})
            keys.append(browser.cookies["sessionid"].value)
        assert is_in(browser)
        assert len(set(keys)) == len(keys)


IDLE = [
    ([timedelta(minutes=30)], True),
    ([timedelta(minutes=30, seconds=1)], False),
    ([timedelta(minutes=25), timedelta(minutes=50)], True),  # seen in between
    ([timedelta(minutes=2), timedelta(minutes=31)], False),  # seen too, but that is written every three minutes only
    ([timedelta(minutes=25 * step) for step in range(1, 29)], True),
    ([timedelta(minutes=25 * step) for step in range(1, 30)], False),  # 12 hours are over, although never idle
]


@pytest.mark.parametrize(("requests", "stays"), IDLE)
def test_a_session_ends_when_nothing_is_asked_for(
    requests: list[timedelta], stays: bool, as_role: AsRole, turn: Callable[[timedelta], None]
) -> None:
    browser = as_role("analyst")
    for later in requests[:-1]:
        turn(later)
        assert is_in(browser)
    turn(requests[-1])
    assert is_in(browser) is stays


def test_it_is_said_why_and_the_page_comes_back(as_role: AsRole, turn: Callable[[timedelta], None]) -> None:
    browser = as_role("analyst")
    turn(timedelta(hours=1))
    answer = browser.get(reverse("lots"), follow=True)
    assert answer.redirect_chain == [(f"{reverse('sign-in')}?next={reverse('lots')}", 302)]
    assert "signed out, since nothing was asked for 30 minutes" in answer.content.decode()


def test_what_was_sent_too_late_does_nothing_and_goes_back_to_its_page(
    as_role: AsRole, turn: Callable[[timedelta], None]
) -> None:
    browser, events = as_role("analyst"), AuditEvent.objects.count()
    turn(timedelta(hours=1))
    given = {"name": "P1", "expires_on": "2026-12-31"}
    page = reverse("access")
    answer = browser.post(page, given, HTTP_REFERER=f"http://testserver{page}?x=1", follow=True)
    assert answer.redirect_chain == [(f"{reverse('sign-in')}?next={page}%3Fx%3D1", 302)]
    assert "was not kept" in answer.content.decode()
    assert AuditEvent.objects.count() == events


@pytest.mark.parametrize(
    ("referer", "to"),
    [("http://testserver/lots", "/lots"), ("https://elsewhere.example/lots", "/"), ("", "/"), ("//x", "/")],
)
def test_nobody_is_led_to_another_site(
    referer: str, to: str, as_role: AsRole, turn: Callable[[timedelta], None]
) -> None:
    browser = as_role("analyst")
    turn(timedelta(hours=1))
    answer = browser.post(reverse("access"), {}, HTTP_REFERER=referer)
    assert answer["Location"] == f"/sign-in?next={to}"


def test_a_part_of_a_page_does_not_become_the_page_to_sign_in(
    as_role: AsRole, turn: Callable[[timedelta], None]
) -> None:
    browser = as_role("analyst")
    turn(timedelta(hours=1))
    part = {"HX-Request": "true", "HX-Current-URL": "http://testserver/lots"}
    answer = browser.get(reverse("find-as-typed"), headers=part)
    assert (answer.status_code, answer.content, answer["HX-Redirect"]) == (204, b"", "/sign-in?next=/lots")


def test_a_page_that_is_asked_for_again_soon_writes_nothing(as_role: AsRole) -> None:
    browser = as_role("analyst")
    with CaptureQueriesContext(connection) as asked:
        browser.get(reverse("password"))
    assert [query["sql"] for query in asked.captured_queries if not query["sql"].upper().startswith("SELECT")] == []


# ---- over everywhere


def test_a_new_password_ends_every_other_session(lab: Laboratory, as_role: AsRole) -> None:
    here, there = as_role("reviewer"), as_role("reviewer")
    given = {"password": PASSWORD, "new_password": NEW, "again": NEW}
    assert "Your password is changed" in here.post(reverse("password"), given, follow=True).content.decode()
    assert (is_in(here), is_in(there)) == (True, False)
    browser = Client()
    browser.post(reverse("sign-in"), {"username": "reviewer", "password": NEW})
    assert is_in(browser)


def test_the_second_factor_ends_every_other_session_on_and_off(
    lab: Laboratory, as_role: AsRole, clock: datetime
) -> None:
    here, there = as_role("reviewer"), as_role("reviewer")
    here.get(reverse("second-factor"))
    here.post(reverse("second-factor"), {"code": a_code(clock, here.session["second-factor-offered"])})
    assert (is_in(here), is_in(there)) == (True, False)
    lab.people["reviewer"].refresh_from_db()
    there = as_role("reviewer")
    here.post(reverse("turn-off-second-factor"), {"reason": "a new telephone", "password": PASSWORD})
    assert (is_in(here), is_in(there)) == (True, False)


def test_a_manager_who_turns_it_off_ends_the_sessions_of_the_lost_device(lab: Laboratory, as_role: AsRole) -> None:
    a_second_factor(lab, "reviewer")
    lost = as_role("reviewer")
    turn_off_second_factor(
        by=lab.people["laboratory manager"], at=lab.later(), reason="stolen", password=PASSWORD,
        person=lab.people["reviewer"],
    )  # fmt: skip
    assert not is_in(lost)


def test_between_password_and_code_a_new_password_ends_it_too(lab: Laboratory, clock: datetime) -> None:
    a_second_factor(lab, "reviewer")
    browser = Client()
    browser.post(reverse("sign-in"), {"username": "reviewer", "password": PASSWORD})
    change_password(by=lab.people["reviewer"], at=NOW, password=PASSWORD, new_password=NEW)
    browser.post(reverse("sign-in-code"), {"code": a_code(clock)})
    assert not is_in(browser)


WRONG = [
    ({"password": "guess", "new_password": NEW}, NotAuthorised, "The password is not right; nothing was changed."),
    ({"password": "", "new_password": NEW}, NotAuthorised, "Give your password again"),
    ({"password": PASSWORD, "new_password": "short"}, BadInput, "at least 10 characters"),
    ({"password": PASSWORD, "new_password": PASSWORD}, BadInput, "the password that you have"),
]


@pytest.mark.parametrize(("given", "refusal", "words"), WRONG)
def test_a_password_that_is_not_changed(
    given: dict[str, str], refusal: type[Exception], words: str, lab: Laboratory
) -> None:
    before = lab.people["reviewer"].password
    with pytest.raises(refusal, match=words):
        change_password(by=lab.people["reviewer"], at=NOW, **given)  # type: ignore[arg-type]
    lab.people["reviewer"].refresh_from_db()
    assert lab.people["reviewer"].password == before


def test_two_new_ones_that_differ_are_told(as_role: AsRole) -> None:
    given = {"password": PASSWORD, "new_password": NEW, "again": "other"}
    assert "not the same as above" in as_role("reviewer").post(reverse("password"), given).content.decode()


# ---- cookies


def test_cookies_are_closed_to_scripts_and_to_other_sites(lab: Laboratory, settings: object) -> None:
    settings.SESSION_COOKIE_SECURE = settings.CSRF_COOKIE_SECURE = True  # type: ignore[attr-defined]
    browser = Client()
    browser.get(reverse("sign-in"), secure=True)
    browser.post(reverse("sign-in"), {"username": "reviewer", "password": PASSWORD}, secure=True)
    for name in ("sessionid", "csrftoken", "known-browser"):
        assert (browser.cookies[name]["secure"], browser.cookies[name]["samesite"]) == (True, "Lax"), name
    assert browser.cookies["sessionid"]["httponly"]
    known = browser.cookies["known-browser"]
    assert (known["httponly"], known["path"]) == (True, "/sign-in")


def test_https_makes_cookies_secure() -> None:
    code = (
        "from labresults.config import settings as s;"
        "print(s.SESSION_COOKIE_SECURE, s.CSRF_COOKIE_SECURE, s.SECURE_SSL_REDIRECT, s.SECURE_HSTS_SECONDS > 0)"
    )
    settings = os.environ | {"LABRESULTS_HTTPS": "1"}
    said = subprocess.check_output([sys.executable, "-c", code], env=settings, text=True)
    assert said.split() == ["True"] * 4
