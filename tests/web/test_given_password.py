"""Somebody forgot their password: the laboratory manager gives another one, which is changed before anything else."""

import json
import re
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse

from labresults.actions.access import issue_access_token
from labresults.actions.given_passwords import give_new_password
from labresults.acts import BadInput, NotAuthorised, WrongState
from labresults.models import AuditEvent, Person
from labresults.queries.history import broken_link
from labresults.queries.second_factor import has_second_factor
from tests.builders import PASSWORD, Laboratory, a_code, a_second_factor
from tests.web.conftest import a_client_person

AsRole = Callable[[str], Client]
OWN = "another road 1912"


def posted(browser: Client, of: Person, **given: object) -> str:
    """What the page says when a new password is asked for."""
    form = {"person": of.pk, "reason": "came to the counter", "password": PASSWORD} | given
    return browser.post(reverse("new-password"), form, follow=True).content.decode()


def shown(page: str) -> str:
    """The password that a page shows; "" where it shows none."""
    found = re.search(r'id="word"[^>]*value="([^"]+)"', page)
    return found.group(1) if found else ""


def sign_in(person: Person, password: str) -> Client:
    browser = Client()
    browser.post(reverse("sign-in"), {"username": person.username, "password": password})
    return browser


def is_in(browser: Client) -> bool:
    return "_auth_user_id" in browser.session


def test_the_story_of_a_forgotten_password(lab: Laboratory, as_role: AsRole) -> None:
    # given an analyst who is signed in somewhere, and forgot the password
    analyst = lab.people["analyst"]
    elsewhere = sign_in(analyst, PASSWORD)
    assert elsewhere.get(reverse("today")).status_code == 200
    # when the laboratory manager gives another one
    manager = as_role("laboratory manager")
    assert reverse("new-password") in manager.get(reverse("people")).content.decode()
    page = posted(manager, analyst)
    given = shown(page)
    # then it is shown once, and the old one and whoever was signed in are out
    assert re.fullmatch(r"(?:[A-Z2-9]{4}-){3}[A-Z2-9]{4}", given)
    assert given not in manager.get(reverse("new-password")).content.decode()
    assert elsewhere.get(reverse("today")).status_code == 302
    assert not is_in(sign_in(analyst, PASSWORD))
    # and whoever signs in with it gets to one page only, and out
    browser = sign_in(analyst, given)
    for address in ("today", "lots", "second-factor", "verify", "people"):
        assert browser.get(reverse(address))["Location"] == reverse("password"), address
    sent = browser.post(reverse("access"), {"name": "P1"}, follow=True)
    assert sent.redirect_chain == [(reverse("password"), 302)]
    assert "What you sent just now was not kept" in sent.content.decode()
    assert "Choose your own first" in sent.content.decode()
    part = browser.get(reverse("find-as-typed"), headers={"HX-Request": "true"})
    assert (part.status_code, part["HX-Redirect"]) == (204, reverse("password"))
    assert sign_in(analyst, given).post(reverse("sign-out")).status_code == 302
    # until it is changed, to another one than was given
    form = {"password": given, "new_password": given, "again": given}
    assert "Choose another one" in browser.post(reverse("password"), form).content.decode()
    form |= {"new_password": OWN, "again": OWN}
    assert browser.post(reverse("password"), form)["Location"] == reverse("today")
    assert browser.get(reverse("lots")).status_code == 200
    assert not is_in(sign_in(analyst, given))
    assert sign_in(analyst, OWN).get(reverse("lots")).status_code == 200
    assert "Choose your own first" not in browser.get(reverse("password")).content.decode()


def test_somebody_of_a_client_likewise(lab: Laboratory, as_role: AsRole) -> None:
    person = a_client_person(lab)
    browser = sign_in(person, shown(posted(as_role("laboratory manager"), person)))
    assert browser.get(reverse("today"))["Location"] == reverse("password")
    given = {"password": "x", "new_password": OWN, "again": OWN}
    assert "The password is not right" in browser.post(reverse("password"), given).content.decode()
    assert browser.get(reverse("my-certificates"))["Location"] == reverse("password")


def test_a_second_one_takes_the_place_of_the_first(lab: Laboratory, as_role: AsRole) -> None:
    manager, analyst = as_role("laboratory manager"), lab.people["analyst"]
    first, second = (shown(posted(manager, analyst)) for _ in range(2))
    assert first != second
    assert (is_in(sign_in(analyst, first)), is_in(sign_in(analyst, second))) == (False, True)


def test_it_is_on_record_without_the_password(lab: Laboratory, as_role: AsRole) -> None:
    given = shown(posted(as_role("laboratory manager"), lab.people["analyst"]))
    event = AuditEvent.objects.latest("seq")
    assert (event.act, event.subject) == ("give_new_password", "analyst")
    said = json.loads(event.content)
    assert said["after"] == {"password": "given anew, to be changed at the first sign-in"}
    assert said["why"] == "came to the counter"
    assert not [one for one in AuditEvent.objects.all() if given in one.content]
    assert given not in Person.objects.get(username="analyst").password
    assert broken_link() is None


def test_whose_account_it_is_hears_of_it_without_the_password(
    lab: Laboratory, as_role: AsRole, monkeypatch: pytest.MonkeyPatch
) -> None:
    analyst, manager = lab.people["analyst"], as_role("laboratory manager")
    assert "nobody but you tells them" in posted(manager, analyst)
    assert not mail.outbox
    Person.objects.filter(pk=analyst.pk).update(email="analyst@lab.example")
    page = posted(manager, analyst)
    assert "goes to analyst@lab.example" in page
    (letter,) = mail.outbox
    assert letter.to == ["analyst@lab.example"]
    assert "Laboratory Manager Person gave your account analyst a new password" in letter.body
    assert shown(page) not in letter.body + letter.subject
    # nothing is told where nothing was done, and a mail server that fails takes nothing back
    posted(manager, analyst, password="guess")
    assert len(mail.outbox) == 1
    monkeypatch.setattr("django.core.mail.EmailMessage.send", lambda self: 1 / 0)
    assert shown(posted(manager, analyst))


def test_the_second_factor_stays_unless_it_is_lost_too(lab: Laboratory, as_role: AsRole, clock: datetime) -> None:
    a_second_factor(lab, "analyst")
    analyst, manager = lab.people["analyst"], as_role("laboratory manager")
    page = posted(manager, analyst)
    assert "Their second factor is on" in page
    browser = sign_in(analyst, shown(page))
    assert not is_in(browser)
    browser.post(reverse("sign-in-code"), {"code": a_code(clock)})
    assert browser.get(reverse("today"))["Location"] == reverse("password")
    page = posted(manager, analyst, without_second_factor="on", reason="the telephone is lost")
    assert "They have no second factor" in page
    assert not has_second_factor(analyst)
    assert is_in(sign_in(analyst, shown(page)))
    assert (
        json.loads(AuditEvent.objects.filter(act="give_new_password").latest("seq").content)["after"]["second factor"]
        == "off"
    )


WRONG: list[tuple[dict[str, Any], type[Exception], str]] = [
    ({"reason": "  "}, BadInput, "Say why, and how you know that it is they who ask"),
    ({"password": ""}, NotAuthorised, "Give your password again; nothing was changed"),
    ({"password": "guess"}, NotAuthorised, "The password is not right; nothing was changed"),
    ({"person": "laboratory manager"}, NotAuthorised, "Your own password you change on the page Your account"),
    ({"person": "left"}, WrongState, "may not sign in any more"),
    ({"without_second_factor": True}, WrongState, "has no second factor that is on"),
    ({"by": "quality manager"}, NotAuthorised, "may not give new password"),
    ({"by": "analyst"}, NotAuthorised, "may not give new password"),
]


@pytest.mark.parametrize(("given", "refusal", "said"), WRONG)
def test_what_is_refused_changes_nothing(
    given: dict[str, Any], refusal: type[Exception], said: str, lab: Laboratory
) -> None:
    preparer = lab.people["preparer"]
    Person.objects.filter(pk=preparer.pk).update(is_active=False)
    before = list(Person.objects.order_by("pk").values_list("password", "password_is_given", "session_round"))
    people = {**lab.people, "left": preparer}
    asked = {"by": "laboratory manager", "person": "analyst", "password": PASSWORD, "reason": "forgot it"} | given
    asked |= {name: people[str(asked[name])] for name in ("by", "person")}
    with pytest.raises(refusal, match=said):
        give_new_password(at=lab.later(), **asked)
    assert list(Person.objects.order_by("pk").values_list("password", "password_is_given", "session_round")) == before
    assert not AuditEvent.objects.filter(act="give_new_password").exists()


@pytest.mark.parametrize(
    ("given", "said"),
    [({"person": ""}, "This field is required"), ({"person": "999"}, "Select a valid choice"),
     ({"reason": ""}, "This field is required"), ({"password": "guess"}, "The password is not right")],
)  # fmt: skip
def test_the_page_says_what_is_wrong(given: dict[str, str], said: str, lab: Laboratory, as_role: AsRole) -> None:
    page = posted(as_role("laboratory manager"), lab.people["analyst"], **given)
    assert said in page
    assert shown(page) == ""


def test_who_may_not_give_one_is_offered_none(lab: Laboratory, as_role: AsRole) -> None:
    for role in ("analyst", "auditor", "quality manager"):
        browser = as_role(role)
        assert reverse("new-password") not in browser.get(reverse("people")).content.decode()
        page = browser.get(reverse("new-password")).content.decode()
        assert "The laboratory manager gives a new password" in page
        assert '<button class="btn main"' not in page
        assert "may not give new password" in posted(browser, lab.people["reviewer"])


def test_words_for_programs_stand_on_no_password_and_stay(lab: Laboratory, as_role: AsRole) -> None:
    analyst, until = lab.people["analyst"], (lab.clock + timedelta(days=30)).date()
    issued = issue_access_token(by=analyst, at=lab.later(), name="night", expires_on=until)
    posted(as_role("laboratory manager"), analyst)
    answer = Client().get(reverse("program-run", args=["R1"]), headers={"Authorization": f"Bearer {issued.word}"})
    assert answer.status_code == 404  # there is no such run; without the word it were 401
