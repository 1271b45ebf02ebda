"""Who gets which answer at every address: anybody, another client's people, the client's own, the laboratory's.

A new address needs a row here, or `test_every_address_has_a_row` fails: its name, its arguments (see `things`), and
what the laboratory's people get. Everything that is asked for belongs to the laboratory's first client.
"""

from dataclasses import dataclass

import pytest
from django.test import Client
from django.urls import URLResolver, get_resolver, reverse

from labresults.actions.attachments import attach_file
from labresults.actions.people import enrol_person
from labresults.actions.samples import register_client
from labresults.models import Person, PreparationBatch, Result, Run, Sample
from reports.actions.certificates import amend_certificate, publish_certificate
from reports.models import Certificate
from tests.builders import (
    NOW,
    PASSWORD,
    PHOTOGRAPH,
    Laboratory,
    a_certificate,
    a_derived,
    a_submission,
    a_token,
    an_evaluated_run,
    approved,
)
from tests.web.conftest import a_client_person

ANYBODY, OTHER, OWN, STAFF = "anybody", "another client's", "the client's own", "the laboratory's"

STAFF_ONLY: dict[str, tuple[tuple[str, ...], int]] = {
    # address: (its arguments, what the laboratory's people get; 405: only posted to)
    "find": ((), 200),
    "find-as-typed": ((), 200),
    "scan": ((), 302),
    "submissions": ((), 200),
    "submission": (("submission",), 200),
    "change-request": (("submission",), 200),
    "sample-sets": (("submission",), 200),
    "add-sample": (("submission",), 200),
    "attach": (("submission",), 405),
    "samples": ((), 200),
    "sample": (("sample",), 200),
    "derived-of-sample": (("sample",), 200),
    "correct-sample": (("sample",), 200),
    "attach-to-sample": (("sample",), 405),
    "attachment": (("attachment",), 200),
    "custody": ((), 200),
    "reception": ((), 200),
    "reception-asked": ((), 200),
    "reception-logged": (("nothing",), 200),
    "preparation": ((), 200),
    "begin-batch": (("method",), 200),
    "begin-batch-scan": (("method",), 200),
    "begin-batch-order": (("method",), 200),
    "override": ((), 200),
    "mass-losses": ((), 200),
    "fire": (("batch",), 200),
    "batch": (("batch",), 200),
    "discard-portion": (("batch",), 405),
    "add-reagents": (("batch",), 405),
    "methods": ((), 200),
    "holding-times": ((), 200),
    "limit-sets": ((), 200),
    "limit-set": (("nothing number",), 404),
    "scope": (("method",), 200),
    "sampling": (("submission",), 200),
    "opinion": (("submission",), 200),
    "rule-sets": ((), 200),
    "choose-rule-set": ((), 405),
    "rule-set": (("rules",), 200),
    "rule-strings": (("rules",), 405),
    "printing": (("submission",), 200),
    "method": (("method",), 200),
    "method-limits": (("method",), 200),
    "take-up-limits": (("method",), 405),
    "method-interferences": (("method",), 200),
    "determine-interferences": (("method",), 405),
    "take-up-interferences": (("method",), 405),
    "method-precision": (("method",), 200),
    "take-up-precision": (("method",), 405),
    "derived-results": ((), 200),
    "derived-result": (("nothing",), 404),
    "layouts": ((), 200),
    "new-layout": ((), 200),
    "layout": (("layout",), 200),
    "lots": ((), 200),
    "lot": (("lot",), 200),
    "equipment": ((), 200),
    "equipment-item": (("equipment",), 200),
    "clients": ((), 200),
    "client": (("client",), 200),
    "save-delivery-layout": (("client",), 405),
    "look-at-layout": (("client",), 405),
    "save-recipient": (("client",), 405),
    "people": ((), 200),
    "new-password": ((), 200),
    "calendar": ((), 200),
    "mark-calendar-day": ((), 405),
    "working-week": ((), 405),
    "forward": ((), 200),
    "forward-file": ((), 200),
    "nonconforming": ((), 200),
    "open-nonconforming": ((), 405),
    "nonconforming-case": (("nothing",), 404),
    "nonconforming-step": (("nothing",), 405),
    "nonconforming-tell": (("nothing",), 404),
    "audit": ((), 200),
    "audit-event": (("event",), 200),
    "runs": ((), 200),
    "plan-run": ((), 200),
    "repeats": ((), 200),
    "run": (("run",), 200),
    "run-list": (("run",), 200),
    "import-readings": (("run",), 200),
    "evaluate-run": (("run",), 405),
    "accept-control": (("run",), 405),
    "compare-evaluations": (("run",), 404),
    "let-stand": (("run",), 405),
    "access": ((), 200),
    "end-access": (("token",), 405),
    "reviews": ((), 200),
    "review": (("submission",), 200),
    "approve": (("submission",), 405),
    "turn-down": (("submission",), 405),
    "comment-result": (("submission",), 405),
    "choose-result": (("submission",), 405),
    "trace": (("result",), 200),
    "trace-file": (("result", "json"), 200),
    "printed-trace": (("certificate", "issue"), 404),  # without a place on the certificate
    "derived-trace": (("computed",), 200),
    "derived-file": (("computed", "json"), 200),
    "derived-printed": (("certificate", "issue"), 404),
    "plausibility": ((), 200),
    "exceptions": ((), 200),
    "certificates": ((), 200),
    "certify": (("submission",), 200),
    "certificate-preview": (("submission",), 302),
    "certificate": (("certificate", "issue"), 200),
    "certificate-progress": (("certificate", "issue"), 200),
    "amend-certificates": ((), 200),
    "draw-certificate": (("certificate", "issue"), 405),
    "amend-certificate": (("certificate", "issue"), 200),
    "amendment-changes": (("certificate", "issue"), 200),
    "withdraw-certificate": (("certificate", "issue"), 405),
    "notify-client": (("certificate", "issue"), 405),
    "receipt": (("submission",), 200),
    "labels": (("submission",), 200),
    "labels-file": (("submission",), 200),
    "run-report": (("run",), 200),
    "bench-sheet": (("batch",), 200),
    "batch-labels": (("batch",), 200),
    "batch-labels-file": (("batch",), 200),
}

OTHERS: dict[str, tuple[tuple[str, ...], dict[str, int]]] = {
    # For clients too: strangers sign in, and what is not theirs cannot be told from what is not there.
    "today": ((), {ANYBODY: 302, OTHER: 302, OWN: 302, STAFF: 200}),
    "my-submissions": ((), {ANYBODY: 302, OTHER: 200, OWN: 200, STAFF: 404}),
    "my-certificates": ((), {ANYBODY: 302, OTHER: 200, OWN: 200, STAFF: 200}),
    "my-submission": (("submission",), {ANYBODY: 302, OTHER: 404, OWN: 200, STAFF: 404}),
    "my-certificate": (("certificate", "issue"), {ANYBODY: 302, OTHER: 404, OWN: 200, STAFF: 404}),
    "certificate-file": (("certificate", "issue", "kind"), {ANYBODY: 302, OTHER: 404, OWN: 200, STAFF: 200}),
    "laid-out": (("certificate", "issue", "nothing"), {ANYBODY: 302, OTHER: 404, OWN: 404, STAFF: 404}),
    # For everybody: one's own account, and whether a certificate is genuine.
    "sign-in": ((), {ANYBODY: 200, OTHER: 302, OWN: 302, STAFF: 302}),
    "sign-in-code": ((), {ANYBODY: 302, OTHER: 302, OWN: 302, STAFF: 302}),
    "sign-out": ((), {ANYBODY: 405, OTHER: 405, OWN: 405, STAFF: 405}),
    "second-factor": ((), {ANYBODY: 302, OTHER: 200, OWN: 200, STAFF: 200}),
    "turn-off-second-factor": ((), {ANYBODY: 302, OTHER: 405, OWN: 405, STAFF: 405}),
    "recovery-codes": ((), {ANYBODY: 302, OTHER: 405, OWN: 405, STAFF: 405}),
    "password": ((), {ANYBODY: 302, OTHER: 200, OWN: 200, STAFF: 200}),
    "verify": ((), {ANYBODY: 200, OTHER: 200, OWN: 200, STAFF: 200}),
    "public-keys": ((), {ANYBODY: 200, OTHER: 200, OWN: 200, STAFF: 200}),
    "verify-code": (("code",), {ANYBODY: 200, OTHER: 200, OWN: 200, STAFF: 200}),
    # For programs: by a token and nothing else.
    "program-run": (("run",), {ANYBODY: 401, OTHER: 401, OWN: 401, STAFF: 401}),
    "program-readings": (("run",), {ANYBODY: 401, OTHER: 401, OWN: 401, STAFF: 401}),
}


@dataclass
class World:
    """A browser for each kind of person, and something of the first client for every argument of an address."""

    browsers: dict[str, Client]
    things: dict[str, object]

    def address(self, name: str) -> str:
        arguments = (STAFF_ONLY.get(name) or OTHERS[name])[0]
        return reverse(name, args=[self.things[argument] for argument in arguments])


def signed_in(person: Person) -> Client:
    browser = Client()
    browser.force_login(person)
    return browser


@pytest.fixture
def world(lab: Laboratory) -> World:
    own, other = a_client_person(lab), another_clients_person(lab)
    submission = a_submission(lab, 2, names=["ours a", "ours b"], derived=[a_derived(lab)])
    an_evaluated_run(lab, submission)
    approved(lab, submission)
    certificate = a_certificate(lab, submission)
    attachment = attach_file(
        by=lab.people["reception"], at=lab.later(), submission=submission, content=PHOTOGRAPH, name="bag.png"
    )
    browsers = {ANYBODY: Client(), OTHER: signed_in(other), OWN: signed_in(own)}
    things = {
        "submission": submission.number,
        "sample": Sample.objects.earliest("pk").number,
        "attachment": attachment.pk,
        "nothing": "no-such-thing",
        "nothing number": 999,
        "rules": "R2",
        "method": lab.method.code,
        "client": lab.client.code,
        "batch": PreparationBatch.objects.get().number,
        "layout": "long",
        "lot": "L-2200",
        "equipment": "B2",
        "event": 1,
        "run": Run.objects.get().number,
        "token": a_token(lab).pk,
        "result": Result.objects.filter(is_candidate=True).earliest("pk").pk,
        "computed": certificate.lines.filter(derived__isnull=False).earliest("pk").pk,
        "certificate": certificate.number,
        "issue": certificate.issue,
        "kind": "pdf",
        "code": certificate.check_code,
        "json": "json",
    }
    return World(browsers | {STAFF: signed_in(lab.people["auditor"])}, things)


def another_clients_person(lab: Laboratory) -> Person:
    client = register_client(by=lab.people["reception"], at=NOW, code="hollow", name="Tern Hollow Grain Co-operative")
    return enrol_person(
        by=lab.people["laboratory manager"], at=NOW, sign_in="sedge", full_name="Piet Sedge", password=PASSWORD,
        roles=["client"], client=client,
    )  # fmt: skip


def names_of_addresses(resolver: URLResolver | None = None) -> set[str]:
    found: set[str] = set()
    for pattern in (resolver or get_resolver()).url_patterns:
        found |= names_of_addresses(pattern) if isinstance(pattern, URLResolver) else {str(pattern.name)}
    return found


def test_every_address_has_a_row() -> None:
    every = names_of_addresses()
    assert sorted(every - set(STAFF_ONLY) - set(OTHERS)) == [], "say here who may open these"
    assert sorted((set(STAFF_ONLY) | set(OTHERS)) - every) == [], "these are no more"
    assert not set(STAFF_ONLY) & set(OTHERS)


def test_what_is_the_laboratorys_is_closed_to_all_others(world: World) -> None:
    for who in (ANYBODY, OTHER, OWN):
        for ask in (world.browsers[who].get, world.browsers[who].post):
            answers = {name: ask(world.address(name)).status_code for name in STAFF_ONLY}
            assert answers == dict.fromkeys(STAFF_ONLY, 302 if who == ANYBODY else 403), who
    answers = {name: world.browsers[STAFF].get(world.address(name)).status_code for name in STAFF_ONLY}
    assert answers == {name: expected for name, (_, expected) in STAFF_ONLY.items()}


def test_what_others_may_open(world: World) -> None:
    for who in (ANYBODY, OTHER, OWN, STAFF):
        answers = {name: world.browsers[who].get(world.address(name)).status_code for name in OTHERS}
        assert answers == {name: expected[who] for name, (_, expected) in OTHERS.items()}, who


def test_a_clients_people_can_sign_out(world: World) -> None:
    browser = world.browsers[OWN]
    assert browser.post(reverse("sign-out")).status_code == 302
    assert browser.get(reverse("my-submissions")).status_code == 302


def test_strangers_are_sent_to_sign_in(world: World) -> None:
    for name in STAFF_ONLY:
        to = world.browsers[ANYBODY].get(world.address(name)).headers["Location"]
        assert to.partition("?")[0] == reverse("sign-in"), name


def test_what_others_get_does_not_tell_whether_there_is_such_a_file(world: World) -> None:
    for number in (world.things["certificate"], "C26-9999"):
        for kind in ("pdf", "xlsx", "csv", "long", "json", "exe"):
            address = reverse("certificate-file", args=[number, 1, kind])
            assert world.browsers[OTHER].get(address).status_code == 404, address


def test_pages_of_a_client_name_nobody_else(lab: Laboratory, world: World) -> None:
    """Nothing of the first client stands on any page that the other one may open."""
    words = [str(world.things[name]) for name in ("submission", "sample", "certificate")] + [str(lab.client), "ours a"]
    for name in ("my-submissions", "my-certificates"):
        page = world.browsers[OTHER].get(world.address(name)).content.decode()
        assert not [word for word in words if word in page], name


def test_a_replaced_issue_leads_through_the_page_that_says_so(lab: Laboratory, world: World) -> None:
    first = Certificate.objects.get()
    new = amend_certificate(
        by=lab.people["issuer"], at=lab.later(), reason="The reference was wrong.", certificate=first,
        rule_set=lab.rule_set,
    )  # fmt: skip
    publish_certificate(by=lab.people["issuer"], at=lab.later(), certificate=new)
    browser, address = world.browsers[OWN], reverse("certificate-file", args=[first.number, 1, "pdf"])

    answer = browser.get(address)
    assert (answer.status_code, answer.headers["Location"]) == (302, "/my-certificates/C26-0001/1#files")
    assert "Issue 2 stands instead" in browser.get(answer.headers["Location"]).content.decode()
    assert bytes(first.files.get(kind="pdf").content) == browser.get(f"{address}?known=1").content
