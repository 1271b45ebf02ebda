"""A client's page: who gets certificates, layouts of files with a look at them, and results laid out."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from labresults.acts import BadInput
from reports.actions.certificates import publish_certificate
from reports.actions.delivery import register_recipient, save_delivery_layout
from reports.delivery import BelowAs, DeliveryLayout
from reports.models import Certificate, Recipient
from reports.queries.delivery import layouts_of, recipients_of
from tests.builders import Laboratory, a_certificate, a_submission, an_evaluated_run, approved
from tests.web.conftest import a_client_person

AsRole = Callable[[str], Client]
TYPED = {
    "name": "their system", "shape": "wide", "columns": "sample", "heads": "name, unit", "analytes": "Cu = Copper",
    "delimiter": "semicolon", "decimal": "comma", "encoding": "utf-8", "below": "<x", "above": ">x",
}  # fmt: skip


@pytest.fixture
def certificate(lab: Laboratory) -> Certificate:
    submission = a_submission(lab, 2)
    an_evaluated_run(lab, submission)
    return a_certificate(lab, approved(lab, submission))


def posted(browser: Client, page: str, lab: Laboratory, given: object) -> str:
    return browser.post(reverse(page, args=[lab.client.code]), given, follow=True).content.decode()


def test_what_is_issued_and_not_drawn_yet_is_being_made(lab: Laboratory) -> None:
    # given a certificate that is frozen, while its files are still to be drawn
    submission = a_submission(lab, 2)
    an_evaluated_run(lab, submission)
    certificate = a_certificate(lab, approved(lab, submission), draw=False)
    theirs = Client()
    theirs.force_login(a_client_person(lab))
    # when its client looks, then it stands there by its number, and as no certificate that could be opened
    for address in (reverse("my-submissions"), reverse("my-submission", args=[submission.number])):
        page = theirs.get(address).content.decode()
        assert certificate.number in page
        assert "being made" in page
        assert reverse("my-certificate", args=[certificate.number, 1]) not in page
    assert theirs.get(reverse("my-certificate", args=[certificate.number, 1])).status_code == 404
    # and once it is drawn, it is one like the others
    publish_certificate(by=lab.people["issuer"], at=lab.later(), certificate=certificate)
    page = theirs.get(reverse("my-submissions")).content.decode()
    assert "being made" not in page
    assert reverse("my-certificate", args=[certificate.number, 1]) in page


def test_the_list_of_clients_leads_to_each(lab: Laboratory, as_role: AsRole) -> None:
    page = as_role("issuer").get(reverse("clients")).content.decode()
    assert reverse("client", args=[lab.client.code]) in page


def test_a_layout_is_looked_at_saved_and_fetched(lab: Laboratory, certificate: Certificate, as_role: AsRole) -> None:
    issuer = as_role("issuer")
    look = issuer.post(reverse("look-at-layout", args=[lab.client.code]), TYPED).content.decode()
    assert "sample;Copper" in look
    assert not lab.client.delivery_layouts.exists()  # type: ignore[attr-defined]

    assert "their system" in posted(issuer, "save-delivery-layout", lab, TYPED)
    address = reverse("laid-out", args=[certificate.number, 1, "their system"])
    assert issuer.get(address).content.decode().startswith("sample;Copper\r\n;mg/kg\r\n")
    assert address in issuer.get(reverse("certificate", args=[certificate.number, 1])).content.decode()


def test_the_client_fetches_its_own_and_that_is_on_record(
    lab: Laboratory, certificate: Certificate, as_role: AsRole
) -> None:
    posted(as_role("issuer"), "save-delivery-layout", lab, TYPED)
    person = a_client_person(lab)
    theirs = Client()
    theirs.force_login(person)
    address = reverse("laid-out", args=[certificate.number, 1, "their system"])
    assert address in theirs.get(reverse("my-certificate", args=[certificate.number, 1])).content.decode()
    assert theirs.get(address).status_code == 200
    assert [fetch.made_by for fetch in certificate.fetches.all()] == [person]


MISTAKES = [
    ({"below": "x/2"}, "Only by written request"),
    ({"analytes": "Xx"}, "Xx is not on the certificate"),
    ({"heads": "unit"}, "names of the analytes"),
    ({"decimal": "comma", "delimiter": "comma"}, "A comma cannot part"),
]


@pytest.mark.parametrize(("typed", "words"), MISTAKES, ids=[row[1] for row in MISTAKES])
def test_the_look_says_what_is_wrong(
    typed: dict[str, str], words: str, lab: Laboratory, certificate: Certificate, as_role: AsRole
) -> None:
    look = as_role("issuer").post(reverse("look-at-layout", args=[lab.client.code]), {**TYPED, **typed})
    assert words in look.content.decode()


def test_what_hides_something_is_saved_by_written_request_only(lab: Laboratory) -> None:
    hiding = DeliveryLayout("theirs", below=BelowAs.NEGATIVE)
    who = {"by": lab.people["issuer"], "client": lab.client, "layout": hiding}
    with pytest.raises(BadInput, match="written as -x"):
        save_delivery_layout(at=lab.later(), **who)  # type: ignore[arg-type]
    save_delivery_layout(at=lab.later(), agreed="Letter of 2 November 2026", **who)  # type: ignore[arg-type]
    assert [row.agreed for row in layouts_of(lab.client)] == ["Letter of 2 November 2026"]
    save_delivery_layout(at=lab.later(), is_active=False, **who)  # type: ignore[arg-type]
    assert layouts_of(lab.client) == []


def test_recipients_come_and_go(lab: Laboratory, as_role: AsRole) -> None:
    issuer = as_role("issuer")
    page = posted(issuer, "save-recipient", lab, {
        "name": "Ada Pell", "email": "pell@ridge.example", "documents": ["pdf", "csv"], "is_active": "on",
    })  # fmt: skip
    assert "pell@ridge.example" in page
    assert [row.documents for row in recipients_of(lab.client)] == [["pdf", "csv"]]
    posted(issuer, "save-recipient", lab, {"name": "Ada Pell", "email": "Pell@ridge.example"})
    assert recipients_of(lab.client) == []
    assert Recipient.objects.count() == 2


@pytest.mark.parametrize(("given", "words"), [({"name": " "}, "who it is"), ({"documents": ["fax"]}, "fax")])
def test_a_recipient_of_nothing_known_is_refused(given: dict[str, object], words: str, lab: Laboratory) -> None:
    usual: dict[str, object] = {"name": "Ada Pell", "email": "pell@ridge.example"}
    with pytest.raises(BadInput, match=words):
        register_recipient(by=lab.people["issuer"], at=lab.later(), client=lab.client, **usual | given)  # type: ignore[arg-type]
