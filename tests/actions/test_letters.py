"""Letters to clients, and what they fetch: who is told of what, once, and of nothing else."""

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse

from labresults.actions.nonconforming import open_nonconforming_work, record_nonconforming_step
from labresults.actions.requests import change_request
from labresults.actions.samples import register_client
from labresults.acts import BadInput, WrongState
from labresults.models import NonconformingWork, Result
from labresults.queries.forward import Doubt
from labresults.terms import Basis, DoubtKind, NonconformingAct, NoticeKind
from reports.actions import certificates as acts
from reports.actions.delivery import register_recipient
from reports.actions.fetches import record_fetch
from reports.actions.notices import notify_client
from reports.issuing import draw, tell, tell_again
from reports.models import Certificate, CertificateFetch, Notice
from reports.queries.recipients import Addressee, addressees, not_told
from reports.web.telling import tell_of_work
from tests.actions.frozen import document_of, measured, now_of
from tests.builders import NOW, Laboratory, a_certificate, a_method, a_reader, an_evaluated_run, approved


@pytest.fixture
def issued(lab: Laboratory, quick_drawing: None) -> Certificate:
    lab.client.email = "office@ridge.example"
    lab.client.save()
    certificate = a_certificate(lab, measured(lab, ["a 1"]))
    mail.outbox.clear()
    return certificate


def a_case(lab: Laboratory, certificate: Certificate) -> NonconformingWork:
    run = Result.objects.filter(sample__submission=certificate.submission).latest("pk").evaluation.run
    return open_nonconforming_work(
        by=lab.people["quality manager"], at=lab.later(), doubt=Doubt(DoubtKind.RUN, run.number),
        what="The pump slipped.", effect="Copper may be too low.", hold=False,
    )  # fmt: skip


def test_a_letter_has_links_and_no_contents(lab: Laboratory, issued: Certificate) -> None:
    assert tell(issued, lab.people["issuer"], now_of(lab)) == ""
    (letter,) = mail.outbox
    assert (letter.to, letter.subject) == (["office@ridge.example"], "Certificate C26-0001, issue 1: issued")
    assert "/my-certificates/C26-0001/1" in letter.body
    document = document_of(issued)
    printed = {cell.printed for row in document.rows for cell in row.cells}
    secrets = printed | {document.reference, document.rows[0].client_identification, document.rows[0].number}
    assert not [word for word in secrets if word in letter.body]
    row = Notice.objects.get()
    assert (row.kind, row.email, row.trouble) == (NoticeKind.ISSUED, "office@ridge.example", "")


def test_whoever_fetched_an_issue_is_told_of_its_amendment_and_withdrawal(lab: Laboratory, issued: Certificate) -> None:
    reader = a_reader(lab)
    assert [one.email for one in addressees(issued, NoticeKind.AMENDED)] == ["office@ridge.example"]
    record_fetch(by=reader, at=lab.later(), certificate=issued, kind="pdf")
    new = acts.amend_certificate(
        by=lab.people["issuer"], at=lab.later(), reason="A word.", certificate=issued, rule_set=lab.rule_set
    )
    assert draw(new.pk, lab.people["issuer"], now_of(lab)) == ""
    assert [letter.to for letter in mail.outbox] == [["office@ridge.example"], ["brennan@ridge.example"]]
    acts.withdraw_certificate(by=lab.people["issuer"], at=lab.later(), reason="Mixed up.", certificate=new)
    tell(new, lab.people["issuer"], now_of(lab), NoticeKind.WITHDRAWN)
    assert [letter.subject for letter in mail.outbox[2:]] == ["Certificate C26-0001, issue 2: withdrawn"] * 2


def test_a_letter_that_does_not_go_is_kept_and_sent_again(
    lab: Laboratory, issued: Certificate, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuses(self: object, **_: object) -> int:
        raise ConnectionRefusedError(111, "Connection refused")

    with monkeypatch.context() as broken:
        broken.setattr("django.core.mail.EmailMessage.send", refuses)
        tell(issued, lab.people["issuer"], now_of(lab))
    assert "Connection refused" in Notice.objects.get().trouble
    assert [letter.to.email for letter in not_told(issued)] == ["office@ridge.example"]

    assert tell_again(issued, lab.people["issuer"], now_of(lab)) == []
    assert (len(mail.outbox), not_told(issued), Notice.objects.count()) == (1, [], 2)


def test_without_any_address_the_client_is_told_on_the_portal(lab: Laboratory, quick_drawing: None) -> None:
    certificate = a_certificate(lab, measured(lab, ["a 1"]))
    tell(certificate, lab.people["issuer"], now_of(lab))
    assert (Notice.objects.get().email, mail.outbox) == ("", [])


@pytest.mark.parametrize(
    ("kind", "to", "words"),
    [
        (NoticeKind.ISSUED, [], "Nobody is named"),
        (NoticeKind.NONCONFORMING, [Addressee("Oda Brennan")], "Which nonconforming work"),
    ],
)
def test_a_notice_says_who_and_of_what(
    kind: NoticeKind, to: list[Addressee], words: str, lab: Laboratory, issued: Certificate
) -> None:
    with pytest.raises(BadInput, match=words):
        notify_client(by=lab.people["issuer"], at=lab.later(), certificate=issued, kind=kind, to=to)


def test_nobody_is_told_of_what_is_not_drawn(lab: Laboratory) -> None:
    certificate = a_certificate(lab, measured(lab, ["a 1"]), draw=False)
    with pytest.raises(WrongState, match="not drawn yet"):
        notify_client(
            by=lab.people["issuer"], at=lab.later(), certificate=certificate, kind=NoticeKind.ISSUED,
            to=[Addressee("Oda Brennan")],
        )  # fmt: skip


def test_no_letter_leaves_where_the_act_is_refused(lab: Laboratory) -> None:
    certificate = a_certificate(lab, measured(lab, ["a 1"]), draw=False)
    with pytest.raises(WrongState, match="not drawn yet"):
        notify_client(
            by=lab.people["issuer"], at=lab.later(), certificate=certificate, kind=NoticeKind.ISSUED,
            to=[Addressee("Oda Brennan", "oda@ridge.example")],
        )  # fmt: skip
    assert (mail.outbox, Notice.objects.count()) == ([], 0)


def test_a_letter_of_nonconforming_work_is_sent_again_with_its_work(
    lab: Laboratory, issued: Certificate, monkeypatch: pytest.MonkeyPatch
) -> None:
    # given somebody who wants the PDF only, and a mail server that refuses
    by = lab.people["quality manager"]
    register_recipient(
        by=lab.people["issuer"],
        at=lab.later(),
        client=lab.client,
        name="Oda",
        email="oda@ridge.example",
        documents=["pdf"],
    )
    work = a_case(lab, issued)

    def refuses(self: object, **_: object) -> int:
        raise ConnectionRefusedError(111, "Connection refused")

    with monkeypatch.context() as broken:
        broken.setattr("django.core.mail.EmailMessage.send", refuses)
        tell_of_work([issued], work, "Do not use copper.", by, now_of(lab))
    (letter,) = not_told(issued)
    assert (letter.kind, letter.work, letter.words, letter.to.kinds) == (
        NoticeKind.NONCONFORMING, work, "Do not use copper.", ("pdf",),
    )  # fmt: skip
    # when it is sent again, twice, then it goes once
    assert [tell_again(issued, by, now_of(lab)) for _ in range(2)] == [[], []]
    assert (len(mail.outbox), not_told(issued)) == (1, [])


def test_a_client_reads_its_own_words_of_a_case_and_nobody_s_name(lab: Laboratory, quick_drawing: None) -> None:
    # given one case that touches the certificates of two clients, each with a person to be told
    other = register_client(by=lab.people["reception"], at=NOW, code="hollow", name="Tern Hollow Grain Co-operative")
    register_recipient(
        by=lab.people["issuer"], at=lab.later(), client=other, name="Jonas Marrow", email="jonas@hollow.example"
    )
    mine, theirs = (a_certificate(lab, measured(lab, ["a 1"], client=of)) for of in (lab.client, other))
    by = lab.people["quality manager"]
    work = a_case(lab, mine)
    # when both are told, then the other one more thing
    tell_of_work([mine, theirs], work, "The pump slipped: do not use copper.", by, now_of(lab))
    tell_of_work([theirs], work, "Silo 3 is read again.", by, now_of(lab))
    # then the first reads what it was told
    browser = Client()
    browser.force_login(a_reader(lab))
    page = browser.get(reverse("my-certificate", args=[mine.number, 1])).content.decode()
    assert "The pump slipped: do not use copper." in page
    assert [word for word in ("Jonas", theirs.number, "Silo 3") if word in page] == []


def test_only_whose_results_were_touched_are_told_and_only_while_the_case_is_open(
    lab: Laboratory, quick_drawing: None
) -> None:
    other = register_client(by=lab.people["reception"], at=NOW, code="hollow", name="Tern Hollow Grain Co-operative")
    register_recipient(
        by=lab.people["issuer"], at=lab.later(), client=other, name="Jonas Marrow", email="jonas@hollow.example"
    )
    mine, theirs = (a_certificate(lab, measured(lab, ["a 1"], client=of)) for of in (lab.client, other))
    by, work = lab.people["quality manager"], a_case(lab, mine)
    # when another client's certificate is named, which holds nothing of it
    assert tell_of_work([theirs], work, "Do not use copper.", by, now_of(lab)) == [
        f"{theirs}: {theirs} holds nothing that {work} touched: its client has nothing to be told."
    ]
    # and when one form is sent twice
    for troubles in ([], [f"{mine}: everybody was told this already."]):
        assert tell_of_work([mine], work, "Do not use copper.", by, now_of(lab)) == troubles
    # and when the case is closed, and somebody has its page open still
    for step in (NonconformingAct.JUDGE, NonconformingAct.CLOSE):
        record_nonconforming_step(by=by, at=lab.later(), work=work, step=step, text="Acceptable.")
    assert ["was closed" in words for words in tell_of_work([mine], work, "More.", by, now_of(lab))] == [True]
    # then one person was told, once
    assert [row.certificate for row in Notice.objects.all()] == [mine]
    assert "jonas@hollow.example" not in str([letter.to for letter in mail.outbox])


def test_the_letter_of_a_supplement_takes_nothing_back(lab: Laboratory, issued: Certificate) -> None:
    # given zinc that was asked for later
    lab.version = a_method(lab.people["quality manager"], "ZN-1")
    change_request(
        by=lab.people["reception"], at=lab.later(), reason="The client asks for more.", submission=issued.submission,
        methods=[lab.method, lab.version.method], basis=Basis.AS_RECEIVED, due_on=None, agreed_with="Oda Brennan",
    )  # fmt: skip
    an_evaluated_run(lab, issued.submission)
    approved(lab, issued.submission)
    by = lab.people["issuer"]
    given = {"by": by, "at": lab.later(), "rule_set": lab.rule_set}
    # when the client is told of the issue that has it as well, then of one that does not only add
    letters = []
    for reason in ("More was asked for.", "The same again."):
        issued = acts.amend_certificate(reason=reason, certificate=issued, **given)
        assert draw(issued.pk, by, now_of(lab)) == ""
        letters.append(mail.outbox[-1].body)
    added, replaced = letters
    assert "issue 2 is added to: this issue holds all of the issue before, unchanged, and more." in added
    assert "issue 3 is amended: it replaces the issue before, which is not to be used any more." in replaced


@pytest.mark.parametrize("what", ["withdrawn", "replaced"])
def test_of_an_issue_that_was_over_before_it_was_drawn_nobody_hears_that_it_is_issued(
    what: str, lab: Laboratory, quick_drawing: None
) -> None:
    lab.client.email = "office@ridge.example"
    lab.client.save()
    first = a_certificate(lab, measured(lab, ["a 1"]), draw=False)
    by = lab.people["issuer"]
    if what == "withdrawn":
        acts.withdraw_certificate(by=by, at=lab.later(), reason="Mixed up.", certificate=first)
    else:
        new = acts.amend_certificate(by=by, at=lab.later(), reason="A word.", certificate=first, rule_set=lab.rule_set)
        assert draw(new.pk, by, now_of(lab)) == ""
    assert draw(first.pk, by, now_of(lab)) == ""
    last = {"withdrawn": "issue 1: withdrawn", "replaced": "issue 2: amended"}[what]
    assert [letter.subject for letter in mail.outbox] == [f"Certificate C26-0001, {last}"]


def test_a_fetch_is_of_the_clients_own_people_and_of_a_file_that_is_there(lab: Laboratory, issued: Certificate) -> None:
    reader = a_reader(lab)
    with pytest.raises(BadInput, match="no xlsx file"):
        record_fetch(by=reader, at=lab.later(), certificate=issued, kind="xlsx")
    record_fetch(by=reader, at=lab.later(), certificate=issued, kind="pdf")
    assert [(row.made_by, row.kind) for row in CertificateFetch.objects.all()] == [(reader, "pdf")]
