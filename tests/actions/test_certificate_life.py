"""The life of a certificate: combined, supplemented, amended with reasons, drawn beside the pages."""

from datetime import datetime

import pytest
from django.core.cache import caches

from labresults.actions.evaluation import evaluate_run, select_result
from labresults.actions.opinions import state_opinion
from labresults.actions.people import authorise_person
from labresults.actions.requests import change_request
from labresults.actions.samples import register_client
from labresults.actions.sampling import record_sampling
from labresults.acts import BadInput, WrongState
from labresults.models import Method, Submission
from labresults.queries.issued import certificates_carrying, is_certified
from labresults.queries.waiting import station_of_submission
from labresults.terms import Basis, Station, Task
from reports.actions import certificates as acts
from reports.actions.signing import end_signing_certificate
from reports.document import CertificateDocument
from reports.issuing import amend_many, draw, draw_waiting, progress_of
from reports.models import Certificate, SigningCertificate
from tests.actions.frozen import document_of, measured, now_of
from tests.builders import (
    NOW,
    Laboratory,
    a_certificate,
    a_method,
    a_reading_file,
    a_run,
    an_evaluated_run,
    an_imported_file,
    approved,
)

# Combined certificates.


def combined(lab: Laboratory) -> tuple[Certificate, Submission, Submission]:
    first, second = measured(lab, ["a 1", "a 2"]), measured(lab, ["b 1"])
    certificate = acts.issue_certificate(
        by=lab.people["issuer"], at=lab.later(), submission=first, further=[second], rule_set=lab.rule_set
    )
    return certificate, first, second


def test_a_combined_certificate_has_the_samples_of_all_submission_by_submission(lab: Laboratory) -> None:
    certificate, first, second = combined(lab)
    document = document_of(certificate)
    assert document.submissions == (first.number, second.number)
    assert [(row.client_identification, row.submission) for row in document.rows] == [
        ("a 1", first.number), ("a 2", first.number), ("b 1", second.number),
    ]  # fmt: skip
    assert certificate.lines.count() == 6
    for submission in (first, second):
        assert is_certified(submission)
        assert station_of_submission(submission.number) == []
        assert certificates_carrying(submission.samples.get(ordinal=1)) == ["C26-0001, issue 1"]


def test_a_submission_stands_on_one_certificate_only_alone_or_with_others(lab: Laboratory) -> None:
    _, _, second = combined(lab)
    third = measured(lab, ["c 1"])
    for submission, further in ((second, []), (third, [second])):
        with pytest.raises(WrongState, match=f"{second} has C26-0001, issue 1 already"):
            acts.issue_certificate(
                by=lab.people["issuer"], at=lab.later(), submission=submission, further=further, rule_set=lab.rule_set
            )
    assert Certificate.objects.count() == 1


def test_submissions_of_two_clients_never_share_a_certificate(lab: Laboratory) -> None:
    first = measured(lab, ["a 1"])
    other = register_client(by=lab.people["reception"], at=NOW, code="hollow", name="Tern Hollow Grain Co-operative")
    for further in ([measured(lab, ["b 1"], client=other)], [first]):
        with pytest.raises(BadInput, match="of one client"):
            acts.issue_certificate(
                by=lab.people["issuer"], at=lab.later(), submission=first, further=further, rule_set=lab.rule_set
            )


def test_an_amendment_of_a_combined_certificate_keeps_its_submissions(lab: Laboratory) -> None:
    certificate, first, second = combined(lab)
    new = acts.amend_certificate(
        by=lab.people["issuer"], at=lab.later(), reason="A word.", certificate=certificate, rule_set=lab.rule_set
    )
    assert document_of(new).submissions == (first.number, second.number)
    assert [link.submission for link in new.further.all()] == [second]


# What changes between the preview and the lock.


@pytest.mark.parametrize("what", ["opinion", "sampling"])
def test_whatever_the_certificate_says_is_asked_again_under_the_lock(
    what: str, lab: Laboratory, monkeypatch: pytest.MonkeyPatch
) -> None:
    submission = measured(lab, ["a 1"])
    reviewer = lab.people["reviewer"]
    authorise_person(by=lab.people["quality manager"], at=NOW, person=reviewer, task=Task.OPINE, valid_from=NOW.date())
    meanwhile = {
        "opinion": lambda: state_opinion(
            by=reviewer, at=lab.later(), submission=submission, text="Not for gardens.", basis="the limits"
        ),
        "sampling": lambda: record_sampling(
            by=lab.people["reception"], at=lab.later(), submission=submission, sampled_by="Oda", place="pit", plan="P1"
        ),
    }
    gathered = acts.gathered

    def and_then(*of: object) -> object:
        found = gathered(*of)  # type: ignore[arg-type]
        meanwhile[what]()
        return found

    monkeypatch.setattr(acts, "gathered", and_then)
    with pytest.raises(WrongState, match="changed in the meantime"):
        a_certificate(lab, submission, draw=False)
    assert not Certificate.objects.exists()


# Amendments and supplements.


def test_a_supplement_adds_what_was_asked_for_later_and_says_so(lab: Laboratory) -> None:
    submission = measured(lab, ["a 1", "a 2"])
    first = a_certificate(lab, submission, draw=False)
    lab.version = a_method(lab.people["quality manager"], "ZN-1")
    methods: list[Method] = [lab.method, lab.version.method]
    change_request(
        by=lab.people["reception"], at=lab.later(), reason="The client asks for more.", submission=submission,
        methods=methods, basis=Basis.AS_RECEIVED, due_on=None, agreed_with="Oda Brennan",
    )  # fmt: skip
    assert [wait.station for wait in station_of_submission(submission.number)] == [Station.PREPARATION]
    an_evaluated_run(lab, submission)
    approved(lab, submission)

    new = acts.amend_certificate(
        by=lab.people["issuer"], at=lab.later(), reason="More was asked for.", certificate=first, rule_set=lab.rule_set
    )

    document = document_of(new)
    assert document.is_supplement, document.changes
    assert document.replaces.startswith("C26-0001, issue 1, of ")
    assert {change.old for change in document.changes} == {"nothing"}
    assert {change.reason for change in document.changes if change.sample} == {
        "Asked for later, on 16 November 2026: The client asks for more."
    }
    assert station_of_submission(submission.number) == []


@pytest.fixture
def read_again(lab: Laboratory) -> Certificate:
    """A certificate, and then another run whose results a person chose and the reviewer approved."""
    submission = measured(lab, ["a 1", "a 2"])
    certificate = a_certificate(lab, submission, draw=False)
    batch = submission.samples.earliest("pk").subsamples.get().portions.earliest("pk").batch
    run = a_run(lab, batch)
    label = submission.samples.get(ordinal=1).number
    an_imported_file(lab, run, a_reading_file(run, factors={(label, "Cu"): 1.2}))
    evaluation = evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    result = evaluation.results.get(sample__number=label, element="Cu", is_candidate=True)
    select_result(by=lab.people["analyst"], at=lab.later(), reason="the first solution had stood open", result=result)
    approved(lab, submission)
    return certificate


def test_each_change_of_an_amendment_has_its_reason(lab: Laboratory, read_again: Certificate) -> None:
    new = acts.amend_certificate(
        by=lab.people["issuer"], at=lab.later(), reason="Copper was too low.", certificate=read_again,
        rule_set=lab.rule_set,
    )  # fmt: skip
    (change,) = [one for one in document_of(new).changes if one.column == "AR-7 Cu"]
    assert (change.old, change.new) == ("120", "144")
    assert change.reason.startswith("Measured again in run R26-0002.")


def test_a_reason_that_a_person_gives_stands_before_the_record_s(lab: Laboratory, read_again: Certificate) -> None:
    new = acts.amend_certificate(
        by=lab.people["issuer"], at=lab.later(), reason="Copper was too low.", certificate=read_again,
        rule_set=lab.rule_set, reasons={("", "AR-7 Cu"): "The flask leaked."},
    )  # fmt: skip
    (change,) = [one for one in document_of(new).changes if one.column == "AR-7 Cu"]
    assert change.reason == "The flask leaked."


def test_a_withdrawn_certificate_is_amended_in_the_open(lab: Laboratory) -> None:
    certificate = a_certificate(lab, measured(lab, ["a 1"]), draw=False)
    acts.withdraw_certificate(by=lab.people["issuer"], at=lab.later(), reason="Mixed up.", certificate=certificate)
    with pytest.raises(WrongState, match="withdrawn already"):
        acts.withdraw_certificate(by=lab.people["issuer"], at=lab.later(), reason="Again.", certificate=certificate)
    new = acts.amend_certificate(
        by=lab.people["issuer"], at=lab.later(), reason="Put right.", certificate=certificate, rule_set=lab.rule_set
    )
    assert (new.issue, new.replaces_id) == (2, certificate.pk)


@pytest.mark.usefixtures("quick_drawing")
def test_many_are_amended_for_one_reason_each_by_itself(lab: Laboratory) -> None:
    rows = [a_certificate(lab, measured(lab, [name]), draw=False) for name in ("a 1", "b 1", "c 1")]
    acts.amend_certificate(
        by=lab.people["issuer"], at=lab.later(), reason="First.", certificate=rows[1], rule_set=lab.rule_set
    )
    came = amend_many(rows, "A balance was wrong.", lab.people["issuer"], now_of(lab))
    assert [str(one.new) if one.new else one.refusal[:30] for one in came] == [
        "C26-0001, issue 2", "C26-0002, issue 1 was replaced", "C26-0003, issue 2",
    ]  # fmt: skip
    assert {one.new.reason for one in came if one.new} == {"A balance was wrong."}
    assert all(one.new.files.exists() for one in came if one.new)


def test_a_combined_certificate_names_each_submission_once(lab: Laboratory) -> None:
    one, two = measured(lab, ["a 1"]), measured(lab, ["b 1"])
    for further in ([two, two], [one]):
        with pytest.raises(BadInput, match="each once"):
            acts.issue_certificate(
                by=lab.people["issuer"], at=lab.later(), submission=one, further=further, rule_set=lab.rule_set
            )


# Drawing.


def test_a_drawing_that_fails_says_why_and_is_done_again(lab: Laboratory, monkeypatch: pytest.MonkeyPatch) -> None:
    certificate = a_certificate(lab, measured(lab, ["a 1"]), draw=False)
    by, now = lab.people["issuer"], now_of(lab)
    monkeypatch.setattr(acts, "registered_key", lambda at: None)
    monkeypatch.setattr(acts, "signed", lambda pdf, document, at: pdf)

    def no_room(document: object, progress: object) -> dict[str, bytes]:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(acts, "draw_files", no_room)
    assert "could not be kept: [Errno 28]" in draw(certificate.pk, by, now)
    assert progress_of(certificate.pk).word == "failed"
    assert list(draw_waiting(now, but_failed=True)) == []

    def two_parts(document: object, progress: object) -> dict[str, bytes]:
        for part in (1, 2):
            progress(part, 2)  # type: ignore[operator]
            assert (progress_of(certificate.pk).done, progress_of(certificate.pk).goes_on) == (part, True)
        return {"pdf": b"%PDF"}

    monkeypatch.setattr(acts, "draw_files", two_parts)
    assert [(row.pk, trouble) for row, trouble in draw_waiting(now)] == [(certificate.pk, "")]
    assert progress_of(certificate.pk).word == "nobody"
    assert bytes(certificate.files.get().content) == b"%PDF"
    assert "published already" in draw(certificate.pk, by, now)


def test_whoever_may_not_draw_leaves_no_trouble_behind(lab: Laboratory, quick_drawing: None) -> None:
    certificate = a_certificate(lab, measured(lab, ["a 1"]), draw=False)
    assert "may not publish" in draw(certificate.pk, lab.people["preparer"], now_of(lab))
    assert progress_of(certificate.pk).word == "nobody"
    # and of one that is drawn there is nothing to do
    assert draw(certificate.pk, lab.people["issuer"], now_of(lab)) == ""
    assert "published already" in draw(certificate.pk, lab.people["issuer"], now_of(lab))
    assert progress_of(certificate.pk).word == "nobody"


def test_a_key_that_is_ended_while_it_is_drawn_issues_nothing(lab: Laboratory, monkeypatch: pytest.MonkeyPatch) -> None:
    certificate = a_certificate(lab, measured(lab, ["a 1"]), draw=False)
    drawn = acts.signed

    def stolen_meanwhile(pdf: bytes, document: CertificateDocument, at: datetime) -> bytes:
        signed = drawn(pdf, document, at)
        end_signing_certificate(
            by=lab.people["laboratory manager"], at=lab.later(), reason="Stolen.", is_compromised=True,
            certificate=SigningCertificate.objects.get(),
        )  # fmt: skip
        return signed

    monkeypatch.setattr(acts, "signed", stolen_meanwhile)
    with pytest.raises(WrongState):
        acts.publish_certificate(by=lab.people["issuer"], at=lab.later(), certificate=certificate)
    assert not certificate.files.exists()


def test_what_another_process_draws_is_left_to_it(lab: Laboratory) -> None:
    certificate = a_certificate(lab, measured(lab, ["a 1"]), draw=False)
    caches["progress"].set(f"drawing-{certificate.pk}-taken", 1)
    assert draw(certificate.pk, lab.people["issuer"], now_of(lab)) == ""
    assert not certificate.files.exists()
