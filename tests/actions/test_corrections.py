"""Corrections of what was logged: before, after and why on the record; refused where a certificate carries it."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from labresults.actions.asking import AcceptedConcern
from labresults.actions.corrections import add_sample, correct_identification, move_sample, strike_sample
from labresults.actions.delivery import receive_samples
from labresults.actions.samples import register_client
from labresults.acts import BadInput, WrongState
from labresults.models import AuditEvent, Client, Method, RequestConcern, Sample, Submission
from labresults.queries import samples
from labresults.queries.bench_waiting import samples_to_begin
from labresults.queries.issued import certificates_carrying
from labresults.queries.samples import asked_of_sample, prepared_of
from labresults.queries.waiting import station_of_submission
from labresults.readers.delivery import DeliveredSample
from labresults.terms import Basis, Correction
from reports.actions.certificates import amend_certificate, withdraw_certificate
from reports.models import Certificate
from tests.builders import (
    NOW,
    Laboratory,
    a_certificate,
    a_method,
    a_submission,
    a_weighed_batch,
    an_evaluated_run,
    approved,
)


def by_reception(lab: Laboratory, reason: str = "the bag was read wrongly") -> dict[str, object]:
    return {"by": lab.people["reception"], "at": lab.later(), "reason": reason}


def certified(lab: Laboratory) -> tuple[Submission, Certificate]:
    submission = a_submission(lab, 2)
    an_evaluated_run(lab, submission)
    return submission, a_certificate(lab, approved(lab, submission), draw=False)


def another_method(lab: Laboratory) -> Method:
    return a_method(lab.people["quality manager"], "AR-8").method


# ---- the client's own identification


def test_an_identification_is_corrected_to_the_letter_and_what_stood_before_stays(lab: Laboratory) -> None:
    sample = a_submission(lab, names=["NRD014 112.0 m"]).samples.get()

    correct_identification(sample=sample, to="  NRD–014 / 121.0 m ", **by_reception(lab))

    assert Sample.objects.get().client_identification == "  NRD–014 / 121.0 m "
    correction = sample.corrections.get()
    assert (correction.what, correction.before, correction.after, correction.reason) == (
        Correction.IDENTIFICATION, "NRD014 112.0 m", "  NRD–014 / 121.0 m ", "the bag was read wrongly",
    )  # fmt: skip
    event = AuditEvent.objects.latest("seq")
    assert (event.act, event.subject) == ("correct_identification", sample.number)
    assert '"before":{"client\'s own identification":"NRD014 112.0 m"}' in event.content
    assert '"why":"the bag was read wrongly"' in event.content


@pytest.mark.parametrize(
    ("to", "says"),
    [
        pytest.param("", "It is blank", id="blank"),
        pytest.param("   ", "It is blank", id="spaces"),
        pytest.param("a\tb", "control character", id="control character"),
        pytest.param("b", "KF26-00002 of S26-0001 is “b” already", id="of another"),
        pytest.param(" b ", "KF26-00002 of S26-0001 is “b” already", id="looks like another"),
        pytest.param("a", "KF26-00001 is “a” already", id="as it is"),
        pytest.param("x" * 201, "200 can be kept", id="too long"),
    ],
)
def test_an_identification_that_cannot_stand_is_refused(to: str, says: str, lab: Laboratory) -> None:
    sample = a_submission(lab, names=["a", "b"]).samples.get(ordinal=1)
    with pytest.raises(BadInput, match=says):
        correct_identification(sample=sample, to=to, **by_reception(lab))
    assert not sample.corrections.exists()


def test_the_identification_of_a_struck_sample_is_free_again(lab: Laboratory) -> None:
    a, b = a_submission(lab, names=["a", "b"]).samples.order_by("ordinal")
    strike_sample(sample=b, **by_reception(lab))
    correct_identification(sample=a, to="b", **by_reception(lab))
    assert Sample.objects.get(pk=a.pk).client_identification == "b"


def test_two_people_who_correct_the_same_sample_do_not_overwrite_each_other(lab: Laboratory) -> None:
    sample = a_submission(lab, names=["a"]).samples.get()
    correct_identification(sample=sample, to="first", seen="a", **by_reception(lab))
    with pytest.raises(WrongState, match="corrected KF26-00001 in between: it is “first” now"):
        correct_identification(sample=sample, to="second", seen="a", **by_reception(lab))
    assert Sample.objects.get().client_identification == "first"


# ---- struck


def test_a_struck_sample_waits_nowhere_and_stays_on_the_record(lab: Laboratory) -> None:
    submission = a_submission(lab, 3)
    sample = submission.samples.get(ordinal=2)

    strike_sample(sample=sample, **by_reception(lab, "logged twice"))

    assert Sample.objects.get(pk=sample.pk).struck_at == lab.clock
    assert [row.samples for row in station_of_submission(submission.number)] == [2]
    assert sample.number not in [row.number for row in samples_to_begin("AR-7", lab.later())]
    assert sample.corrections.get().what == Correction.STRUCK
    first, _, third = submission.samples.order_by("ordinal")
    shown = samples.sample(first.number)
    assert (shown.before, shown.after) == (None, third.number)


def test_what_was_prepared_of_a_struck_sample_is_named_in_the_event(lab: Laboratory) -> None:
    submission = a_submission(lab, 2)
    a_weighed_batch(lab, submission)
    sample = submission.samples.get(ordinal=1)
    assert "KF26-00001, sample, in batch B26-0001 by AR-7 v1: weighed" in prepared_of(sample)
    strike_sample(sample=sample, **by_reception(lab))
    assert "in batch B26-0001 by AR-7 v1: weighed" in AuditEvent.objects.latest("seq").content


def test_a_sample_is_struck_once(lab: Laboratory) -> None:
    sample = a_submission(lab, 1).samples.get()
    strike_sample(sample=sample, **by_reception(lab, "logged twice"))
    with pytest.raises(WrongState, match="struck by Reception Person already: logged twice"):
        strike_sample(sample=sample, **by_reception(lab))
    with pytest.raises(WrongState, match="struck by"):
        correct_identification(sample=sample, to="b", **by_reception(lab))


# ---- moved


def test_a_moved_sample_stands_at_the_end_and_is_asked_the_same(lab: Laboratory) -> None:
    source, to = a_submission(lab, names=["a", "b"]), a_submission(lab, names=["c", "d"])
    sample = source.samples.get(ordinal=1)

    move_sample(sample=sample, to=to, **by_reception(lab, "came in the other box"))

    moved = Sample.objects.get(pk=sample.pk)
    assert (moved.submission, moved.ordinal) == (to, 3)
    correction = moved.corrections.get()
    assert (correction.before, correction.after) == (source.number, to.number)
    assert to.requests.count() == 1  # both ask for the same on the same terms
    assert [row.samples for row in station_of_submission(to.number)] == [3]
    assert [row.samples for row in station_of_submission(source.number)] == [1]


def test_what_is_asked_of_a_moved_sample_and_on_what_terms_goes_along(lab: Laboratory) -> None:
    other = another_method(lab)
    source = receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, methods=[lab.method],
        rows=[DeliveredSample(1, "a", "soil", "30", methods=("AR-7", "AR-8"), basis="dry basis")],
    )  # fmt: skip
    to = a_submission(lab, names=["b"])

    moved = move_sample(sample=source.samples.get(), to=to, **by_reception(lab))

    asked = asked_of_sample(moved)
    assert [method.code for method in asked.methods] == ["AR-7", "AR-8"]
    assert asked.basis == Basis.DRY
    assert asked.request.version == 2
    assert [method.code for method in asked_of_sample(to.samples.get(ordinal=1)).methods] == ["AR-7"]
    assert to.requests.get(version=1).methods.filter(method=other).count() == 0  # what was asked before stands


@pytest.mark.parametrize("case", ["itself", "another client", "its identification is there"])
def test_a_sample_is_not_moved_where_it_does_not_belong(case: str, lab: Laboratory) -> None:
    source = a_submission(lab, names=["a"])
    elsewhere: Client = register_client(by=lab.people["reception"], at=NOW, code="hollow", name="Tern Hollow")
    to, says = {
        "itself": (source, "is in S26-0001 already"),
        "another client": (a_submission(lab, names=["b"], client=elsewhere), "not moved between clients: strike it"),
        "its identification is there": (a_submission(lab, names=[" a"]), "must be alone in one submission"),
    }[case]
    with pytest.raises(BadInput, match=says):
        move_sample(sample=source.samples.get(), to=to, **by_reception(lab))
    assert source.samples.count() == 1


def test_a_sample_that_somebody_moved_in_between_is_not_moved_again(lab: Laboratory) -> None:
    source, first, second = (a_submission(lab, names=[name]) for name in "abc")
    sample = source.samples.get()
    move_sample(sample=sample, to=first, seen=source.number, **by_reception(lab))
    with pytest.raises(WrongState, match="moved KF26-00001 in between: it is in S26-0002 now"):
        move_sample(sample=sample, to=second, seen=source.number, **by_reception(lab))


def test_what_was_accepted_of_a_sample_goes_along(lab: Laboratory) -> None:
    source = receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, methods=[lab.method],
        rows=[DeliveredSample(1, "a", "soil", "0.2")],
        concerns=[AcceptedConcern("too little|row 1|AR-7", "the client has no more", tell_client=True)],
    )  # fmt: skip
    to = a_submission(lab, names=["b"])
    moved = move_sample(sample=source.samples.get(), to=to, **by_reception(lab))
    concern = RequestConcern.objects.get(request__submission=to)
    assert (concern.sample, concern.reason, concern.tell_client) == (moved, "the client has no more", True)


# ---- all of them


@pytest.mark.parametrize("act", ["add", "strike", "move", "correct"])
def test_a_correction_needs_a_reason(act: str, lab: Laboratory) -> None:
    submission, to = a_submission(lab, names=["a"]), a_submission(lab, names=["b"])
    sample, who = submission.samples.get(), by_reception(lab, " ")
    with pytest.raises(BadInput, match="Give the reason"):
        {
            "add": lambda: add_sample(submission=submission, row=DeliveredSample(1, "c", "soil"), **who),
            "strike": lambda: strike_sample(sample=sample, **who),
            "move": lambda: move_sample(sample=sample, to=to, **who),
            "correct": lambda: correct_identification(sample=sample, to="c", **who),
        }[act]()


@pytest.mark.parametrize("act", ["strike", "move", "correct"])
def test_what_a_certificate_carries_is_not_corrected(act: str, lab: Laboratory) -> None:
    submission, certificate = certified(lab)
    to, sample, who = a_submission(lab, names=["b"]), submission.samples.get(ordinal=1), by_reception(lab)
    tried = {
        "strike": lambda: strike_sample(sample=sample, **who),
        "move": lambda: move_sample(sample=sample, to=to, **who),
        "correct": lambda: correct_identification(sample=sample, to="c", **who),
    }[act]
    with pytest.raises(WrongState, match=r"is on certificate C26-0001, issue 1.*Amend the certificate instead"):
        tried()

    withdraw_certificate(by=lab.people["issuer"], at=lab.later(), reason="a swapped sample", certificate=certificate)
    tried()
    assert sample.corrections.count() == 1


def test_a_corrected_identification_goes_out_with_the_amendment(lab: Laboratory) -> None:
    submission, certificate = certified(lab)
    issuer, sample = lab.people["issuer"], submission.samples.get(ordinal=1)
    withdraw_certificate(by=issuer, at=lab.later(), reason="wrong identification", certificate=certificate)
    correct_identification(sample=sample, to="NRD014 999.0 m", **by_reception(lab))
    amended = amend_certificate(
        by=issuer, at=lab.later(), reason="wrong identification", certificate=certificate, rule_set=lab.rule_set
    )
    assert "NRD014 999.0 m" in amended.document
    assert "NRD014 999.0 m" not in certificate.document
    assert certificates_carrying(sample) == ["C26-0001, issue 2"]


def test_a_sample_without_any_printed_number_is_on_the_certificate_too(lab: Laboratory) -> None:
    listed, not_listed = a_submission(lab, 2).samples.order_by("ordinal")
    Certificate.objects.create(
        number="C26-0007", issue=1, submission=listed.submission, rule_set=lab.rule_set, check_code="x",
        document=f'{{"rows":[{{"number":"{listed.number}"}}]}}', made_by=lab.people["issuer"], made_at=NOW,
    )  # fmt: skip
    with CaptureQueriesContext(connection) as asked:
        assert certificates_carrying(listed) == ["C26-0007, issue 1"]
    assert len(asked) == 2
    assert certificates_carrying(not_listed) == []
