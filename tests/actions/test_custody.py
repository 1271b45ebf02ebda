"""Custody: who had the samples, from when to when, where; kept so long, returned or disposed of by name."""

from collections.abc import Sequence
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from labresults.actions.custody import record_custody
from labresults.actions.delivery import receive_samples
from labresults.acts import BadInput, WrongState
from labresults.models import AuditEvent, Client, CustodyEntry, Sample, Submission
from labresults.queries import custody
from labresults.queries.people import laboratory
from labresults.readers.delivery import DeliveredSample
from labresults.terms import Custody
from tests.builders import Laboratory, a_submission


def recorded(lab: Laboratory, samples: Sequence[Sample], what: Custody = Custody.MOVED, **more: object) -> int:
    given = {
        "by": lab.people["preparer"], "at": lab.later(), "held_by": lab.people["preparer"], "place": "store 2",
        "what": what, "samples": samples,
    } | more  # fmt: skip
    return record_custody(**given)


def all_of(submission: Submission) -> list[Sample]:
    return list(submission.samples.select_related("submission__client").order_by("ordinal"))


def test_each_holder_had_the_sample_until_the_next_one(lab: Laboratory) -> None:
    samples = all_of(a_submission(lab, 2))
    received = lab.clock
    recorded(lab, samples, Custody.HANDED_OVER, place="bench 1")
    handed_over = lab.clock
    recorded(lab, samples[:1], place="cold store")

    held = custody.held(samples[0])

    assert [(str(one.entry.held_by), one.entry.place, one.entry.since, one.until) for one in held] == [
        ("Reception Person", "reception", received, handed_over),
        ("Preparer Person", "bench 1", handed_over, lab.clock),
        ("Preparer Person", "cold store", lab.clock, None),
    ]
    places = custody.places_of(samples[0].submission)
    assert [(row.place, row.samples) for row in places] == [("cold store", 1), ("bench 1", 1)]


def test_many_samples_are_recorded_at_once_and_leave_one_event(lab: Laboratory) -> None:
    samples = all_of(a_submission(lab, 300))
    with CaptureQueriesContext(connection) as asked:
        assert recorded(lab, samples) == 300
    assert len(asked) < 20
    event = AuditEvent.objects.latest("seq")
    assert (event.act, event.subject) == ("record_custody", samples[0].submission.number)
    assert samples[-1].number in event.content
    assert '"where":[["Reception Person","reception",300,' in event.content


@pytest.mark.parametrize(
    ("more", "says"),
    [
        pytest.param({"samples": []}, "No sample is named", id="no sample"),
        pytest.param({"what": Custody.RECEIVED}, "Only a delivery is received", id="received"),
        pytest.param({"place": "  "}, "Say where the samples are", id="no place"),
        pytest.param({"what": Custody.RETURNED}, "who of the client took", id="returned to nobody"),
    ],
)
def test_what_is_incomplete_is_not_recorded(more: dict[str, object], says: str, lab: Laboratory) -> None:
    with pytest.raises(BadInput, match=says):
        recorded(lab, **({"samples": all_of(a_submission(lab, 1))} | more))
    assert CustodyEntry.objects.exclude(what=Custody.RECEIVED).count() == 0


def test_a_moment_before_the_last_entry_or_still_to_come_is_refused(lab: Laboratory) -> None:
    samples = all_of(a_submission(lab, 2))
    received = lab.clock
    with pytest.raises(BadInput) as refusal:
        recorded(lab, samples, since=received - timedelta(minutes=1))
    assert [problem.row for problem in refusal.value.problems] == [1, 2]
    assert "since 2026-11-16 09:00: that is later" in str(refusal.value.problems[0])
    with pytest.raises(BadInput, match="has not come yet"):
        recorded(lab, samples, since=lab.clock + timedelta(hours=9))
    assert recorded(lab, samples, since=received) == 2


def test_the_same_form_sent_twice_is_recorded_once(lab: Laboratory) -> None:
    samples = all_of(a_submission(lab, 2))
    recorded(lab, samples)
    with pytest.raises(BadInput) as refusal:
        recorded(lab, samples)
    assert "store 2, already" in str(refusal.value.problems[0])
    assert CustodyEntry.objects.filter(what=Custody.MOVED).count() == 2


def test_a_sample_named_twice_is_recorded_once(lab: Laboratory) -> None:
    sample = all_of(a_submission(lab, 1))[0]
    assert recorded(lab, [sample, sample]) == 1


@pytest.mark.parametrize(
    ("what", "more"),
    [(Custody.RETURNED, {"taken_by": "A. Roth"}), (Custody.DISPOSED, {"reason": "leaks", "place": "waste drum 4"})],
)
def test_what_left_the_laboratory_is_not_moved_any_more(what: Custody, more: dict[str, str], lab: Laboratory) -> None:
    gone, here = all_of(a_submission(lab, 2))
    recorded(lab, [gone], what, **more)
    with pytest.raises(WrongState, match=rf"{gone.number} was {what} on 2026-11-16 10:00 by Preparer Person"):
        recorded(lab, [gone, here])
    assert custody.held(here)[-1].entry.what == Custody.RECEIVED  # all of them, or none
    assert custody.held(gone)[-1].is_gone


# ---- how long samples are kept


@pytest.mark.parametrize(
    ("submission_days", "client_days", "until"),
    [
        pytest.param(None, None, date(2027, 2, 23), id="as the laboratory: 90 days after 25 November"),
        pytest.param(None, 30, date(2026, 12, 25), id="as agreed with the client"),
        pytest.param(10, 30, date(2026, 12, 5), id="as agreed for this delivery"),
        pytest.param(0, 30, date(2026, 11, 25), id="not at all"),
    ],
)
def test_samples_are_kept_so_long_as_the_nearest_agreement_says(
    submission_days: int | None, client_days: int | None, until: date, lab: Laboratory
) -> None:
    Client.objects.filter(pk=lab.client.pk).update(kept_days=client_days)
    submission = receive_samples(
        by=lab.people["reception"], at=lab.later(), client=Client.objects.get(pk=lab.client.pk), methods=[lab.method],
        rows=[DeliveredSample(1, "a", "soil")], due_on=date(2026, 11, 25), kept_days=submission_days,
    )  # fmt: skip
    home = laboratory()
    assert home is not None
    assert home.kept_days == 90
    assert custody.kept_until(submission, submission.requests.get()) == until
    assert custody.ends_of_keeping(all_of(submission)) == {submission.samples.get().pk: until}


def test_samples_are_disposed_of_after_the_day_or_with_a_reason(lab: Laboratory) -> None:
    submission = a_submission(lab, 2, due_on=date(2026, 11, 25))  # kept until 23 February
    first, second = all_of(submission)
    lab.clock = lab.clock.replace(year=2027, month=2, day=23, hour=12)
    with pytest.raises(BadInput) as refusal:
        recorded(lab, [first, second], Custody.DISPOSED, place="waste drum 4")
    assert "KF26-00001 is kept until 2027-02-23. Wait, or give the reason." in str(refusal.value.problems[0])
    recorded(lab, [first], Custody.DISPOSED, place="waste drum 4", reason="the bag leaks")

    lab.clock = lab.clock.replace(day=24)
    assert recorded(lab, [second], Custody.DISPOSED, place="waste drum 4") == 1


def test_what_may_be_disposed_of_today_is_listed_until_it_is_gone(lab: Laboratory) -> None:
    old, young = (
        a_submission(lab, 3, names=[f"{name}{n}" for n in range(3)], due_on=due)
        for name, due in (("old", date(2026, 11, 25)), ("young", date(2026, 12, 25)))
    )
    assert custody.kept_past(date(2027, 2, 23)) == []
    with CaptureQueriesContext(connection) as asked:
        listed = custody.kept_past(date(2027, 2, 24))
    assert len(asked) == 3
    assert [(row.submission, row.until, row.samples, row.places) for row in listed] == [
        (old, date(2027, 2, 23), 3, "reception")
    ]
    lab.clock = lab.clock.replace(year=2027, month=2, day=24)
    recorded(lab, all_of(old)[:2], Custody.RETURNED, taken_by="A. Roth", place="at the client's")
    assert [row.samples for row in custody.kept_past(date(2027, 2, 24))] == [1]
    recorded(lab, all_of(old)[2:], Custody.DISPOSED, place="waste drum 4")
    assert custody.kept_past(date(2027, 2, 24)) == []
    assert [row.submission for row in custody.kept_past(date(2027, 3, 26))] == [young]


def test_samples_are_named_by_their_labels_or_by_their_submission(lab: Laboratory) -> None:
    first, second = a_submission(lab, 2), a_submission(lab, 2, names=["c", "d"])
    recorded(lab, all_of(second)[:1], Custody.RETURNED, taken_by="A. Roth", place="at the client's")
    samples, unknown = custody.samples_named(["kf26-00002", "S26-0002", "KF26-00002", "KF26-09999", ""])
    assert [sample.number for sample in samples] == ["KF26-00002", "KF26-00004"]  # those that are still here
    assert unknown == ["KF26-09999"]
    assert custody.samples_named([first.number])[0] == all_of(first)
