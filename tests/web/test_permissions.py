"""Who may open which page: role × page × allowed."""

from collections.abc import Callable, Iterator

import pytest
from django.contrib.auth.views import LogoutView
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from labresults.actions.samples import register_client
from labresults.models import Person
from labresults.roles import ROLES, STAFF
from labresults.web.views.account import SignIn
from reports.actions.certificates import publish_certificate
from tests.builders import NOW, Laboratory, a_certificate, a_submission, an_evaluated_run, approved
from tests.web.pages import a_busy_laboratory, addresses

AsRole = Callable[[str], Client]

FOR_ANYBODY = {"verify": 200}
"""Whether a certificate is genuine may be asked by strangers; their answers are walled in test_portal_walls.py."""

FOR_CLIENTS = {"today": 302, "my-submissions": 200, "second-factor": 200, "password": 200}
"""What a client's people may open: Today sends them on to their own submissions; each keeps an own account."""


def every_pattern(resolver: URLResolver | None = None) -> Iterator[URLPattern]:
    for pattern in (resolver or get_resolver()).url_patterns:
        if isinstance(pattern, URLResolver):
            yield from every_pattern(pattern)
        else:
            yield pattern


def test_every_page_is_guarded_but_signing_in_and_out() -> None:
    open_to_all = {pattern.name for pattern in every_pattern() if not getattr(pattern.callback, "guarded", False)}
    assert open_to_all <= {"sign-in", "sign-in-code", "sign-out", *FOR_ANYBODY, "verify-code", "public-keys"}
    classes = {getattr(pattern.callback, "view_class", None) for pattern in every_pattern()}
    assert {SignIn, LogoutView} <= classes


@pytest.mark.parametrize("role", sorted(STAFF))
def test_people_of_the_laboratory_may_look_at_everything(role: str, lab: Laboratory, as_role: AsRole) -> None:
    a_busy_laboratory(lab)
    browser = as_role(role)
    answers = {page: browser.get(address).status_code for page, address in addresses().items()}
    assert answers == dict.fromkeys(answers, 200)


def test_a_clients_people_may_open_their_own_page_only(lab: Laboratory, as_role: AsRole) -> None:
    a_busy_laboratory(lab)
    browser = as_role("client")
    pages = addresses() | {"my-submissions": reverse("my-submissions")}
    answers = {page: browser.get(address).status_code for page, address in pages.items()}
    assert answers == {page: (FOR_CLIENTS | FOR_ANYBODY).get(page, 403) for page in pages}


def test_somebody_without_a_role_may_open_nothing(lab: Laboratory) -> None:
    a_busy_laboratory(lab)
    browser = Client()
    browser.force_login(Person.objects.create_user("nobody"))
    answers = {page: browser.get(address).status_code for page, address in addresses().items()}
    assert answers == dict.fromkeys(answers, 403) | FOR_ANYBODY


def test_a_stranger_is_asked_to_sign_in(lab: Laboratory) -> None:
    a_busy_laboratory(lab)
    for page, address in addresses().items():
        if page in FOR_ANYBODY:
            continue
        answer = Client().get(address)
        assert (answer.status_code, answer.headers["Location"].partition("?")[0]) == (302, "/sign-in"), page


def test_a_client_sees_its_own_submissions_and_nobody_elses(lab: Laboratory, as_role: AsRole) -> None:
    mine = a_submission(lab, 1, names=["mine"])
    other = register_client(by=lab.people["reception"], at=NOW, code="other", name="Tern Hollow Grain Co-operative")
    theirs = a_submission(lab, 1, names=["theirs"], client=other)
    words = as_role("client").get(reverse("my-submissions")).content.decode()
    assert mine.number in words
    assert theirs.number not in words
    assert other.name not in words


@pytest.mark.parametrize("role", sorted(role for role in STAFF if "receive_samples" not in ROLES[role]))
def test_only_reception_may_log_a_delivery(role: str, lab: Laboratory, as_role: AsRole) -> None:
    form = {
        "client": lab.client.pk, "methods": [lab.method.pk], "basis": "as received", "log": "",
        "client_identification": ["a"], "matrix": ["soil"], "delivered_g": [""], "delivered_mL": [""], "note": [""],
    }  # fmt: skip
    answer = as_role(role).post(reverse("reception"), form)
    assert answer.status_code == 403
    assert "may not receive samples" in answer.content.decode()
    assert not lab.client.submissions.exists()


def test_a_client_opens_a_certificate_only_when_it_is_published(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab, 1)
    an_evaluated_run(lab, submission)
    approved(lab, submission)
    certificate = a_certificate(lab, submission, draw=False)
    browser = as_role("client")
    page = reverse("my-certificate", args=[certificate.number, 1])
    assert page not in browser.get(reverse("my-submissions")).content.decode()
    publish_certificate(by=lab.people["issuer"], at=lab.later(), certificate=certificate)
    assert page in browser.get(reverse("my-submissions")).content.decode()
