"""A request is changed: a new version beside the old, with what single samples ask for, and reviewed again."""

from datetime import date

import pytest

from labresults.actions.asking import AcceptedConcern
from labresults.actions.delivery import receive_samples
from labresults.actions.requests import change_request
from labresults.acts import BadInput
from labresults.models import AuditEvent, Request, Submission
from labresults.readers.delivery import DeliveredSample
from labresults.terms import Basis
from tests.builders import NOW, Laboratory, a_method, a_submission


def changed(lab: Laboratory, submission: Submission, **differing: object) -> Request:
    given = {"methods": [lab.method], "basis": Basis.AS_RECEIVED, "due_on": None, "agreed_with": "A. Roth"} | differing
    return change_request(
        by=lab.people["reception"], at=lab.later(), reason="asked for by telephone", submission=submission, **given
    )


def test_a_changed_request_is_a_new_version_beside_the_old(lab: Laboratory) -> None:
    submission = a_submission(lab)
    given = {"submission": submission, "methods": [lab.method], "basis": Basis.DRY, "due_on": date(2026, 12, 1)}
    with pytest.raises(BadInput, match="who of the client agreed"):
        change_request(by=lab.people["reception"], at=lab.later(), reason="hurried", agreed_with="", **given)

    change_request(by=lab.people["reception"], at=lab.later(), reason="hurried", agreed_with="A. Roth", **given)

    assert list(submission.requests.order_by("version").values_list("basis", flat=True)) == ["as received", "dry basis"]
    event = AuditEvent.objects.latest("seq")
    assert '"basis":"as received"' in event.content
    assert '"basis":"dry basis"' in event.content


def test_what_single_samples_ask_for_stays_or_is_replaced(lab: Laboratory) -> None:
    other = a_method(lab.people["quality manager"], "AR-8").method
    given = [DeliveredSample(1, "a", "soil", methods=("AR-8",), basis="dry basis"), DeliveredSample(2, "b", "soil")]
    submission = receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, rows=given, methods=[lab.method]
    )
    first, second = submission.samples.order_by("ordinal")

    kept = changed(lab, submission)
    assert set(kept.methods.values_list("sample", "method__code")) == {(None, "AR-7"), (first.pk, "AR-8")}
    assert [(row.sample, row.basis) for row in kept.terms.all()] == [(first, "dry basis")]

    replaced = changed(lab, submission, of_samples={second.pk: [lab.method, other]}, terms={})
    asked = set(replaced.methods.values_list("sample", "method__code"))
    assert asked == {(None, "AR-7"), (second.pk, "AR-7"), (second.pk, "AR-8")}
    assert not replaced.terms.exists()


def test_the_due_day_is_counted_anew_from_today_for_what_is_new(lab: Laboratory) -> None:
    submission = a_submission(lab)
    lab.later(7 * 24)  # Monday 23 November
    # nothing new: seven working days from the receipt on Monday 16 November, as before
    assert changed(lab, submission).due_on == date(2026, 11, 25)
    # a second method of seven working days too, from Monday 23 November
    other = a_method(lab.people["quality manager"], "AR-8").method
    assert changed(lab, submission, methods=[lab.method, other]).due_on == date(2026, 12, 2)


def test_only_what_the_review_finds_anew_is_to_be_accepted(lab: Laboratory) -> None:
    other = a_method(lab.people["quality manager"], "AR-8").method
    said = AcceptedConcern("too little|row 1|AR-7", "all there is", tell_client=True)
    submission = receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, methods=[lab.method],
        rows=[DeliveredSample(1, "a", "soil", "0.4")], concerns=[said],
    )  # fmt: skip

    # the same methods: accepted before in the same words, and carried on
    carried = changed(lab, submission, basis=Basis.DRY).concerns.get()
    assert (carried.reason, carried.tell_client) == ("all there is", True)

    # a second method needs more: other words, so somebody has to say again why
    with pytest.raises(BadInput) as refusal:
        changed(lab, submission, methods=[lab.method, other])
    assert "together 0.9 g" in str(refusal.value.problems[0])
    again = changed(lab, submission, methods=[lab.method, other], concerns=[said])
    assert "together 0.9 g" in again.concerns.get().words


def test_the_event_holds_what_was_asked_before_and_after(lab: Laboratory) -> None:
    submission = a_submission(lab)
    changed(lab, submission, methods=[], due_on=NOW.date())
    content = AuditEvent.objects.latest("seq").content
    assert '"methods":["AR-7"]' in content
    assert '"methods":[]' in content
    assert '"agreed with":"A. Roth"' in content
