"""Today: what is late, due, or late at the present pace, with the reason, by hand.

November 2026: the 16th is a Monday, the 26th a Thursday. Four samples have passed the path, each station in its days:
Preparation Monday and Tuesday, Runs Tuesday and Wednesday, Review Wednesday and Thursday, Certificates Thursday.
"""

from collections.abc import Callable
from datetime import UTC, date, datetime

import pytest
from django.core.cache import cache
from django.test import Client
from django.urls import reverse

from labresults.actions.calendar import mark_calendar_day
from labresults.actions.evaluation import evaluate_run
from labresults.actions.holding import register_holding_time
from labresults.models import Element, Matrix, Sample, Submission
from labresults.queries.pace import Expected, Outlook, outlook
from labresults.terms import DayPart, Station
from tests.builders import (
    Laboratory,
    a_certificate,
    a_run,
    a_submission,
    a_weighed_batch,
    an_evaluated_run,
    an_imported_file,
    approved,
)

AsRole = Callable[[str], Client]

THURSDAY = date(2026, 11, 26)


def on(lab: Laboratory, day: int, hour: int = 8) -> Laboratory:
    """The laboratory's clock set to a day of November."""
    lab.clock = datetime(2026, 11, day, hour, tzinfo=UTC)
    return lab


def four_samples_passed(lab: Laboratory) -> Submission:
    submission = a_submission(on(lab, 16), 4)
    batch = a_weighed_batch(on(lab, 17), submission)
    run = a_run(on(lab, 18), batch)
    an_imported_file(lab, run)
    evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    approved(on(lab, 19), submission)
    a_certificate(lab, submission, draw=False)
    return submission


def newcomers(lab: Laboratory, day: int, count: int = 4, due: date | None = None) -> Submission:
    return a_submission(on(lab, day), count, names=[f"new {day} {n}" for n in range(count)], due_on=due)


def expected(day: date = THURSDAY) -> dict[str, Expected]:
    return {row.submission: row for row in looked(day).pressing}


def looked(day: date = THURSDAY) -> Outlook:
    cache.clear()
    return outlook(day)


def test_the_path_is_summed_from_station_to_station(lab: Laboratory) -> None:
    four_samples_passed(lab)
    new = newcomers(lab, 25, due=date(2026, 12, 4))

    row = expected()[new.number]

    # Preparation: 4 left in 3 days (Monday, Tuesday, and the 25th on which the new ones waited), so 4 need 3;
    # Runs and Review 4 in 2 days each; Certificates 4 in 1: 3 + 2 + 2 + 1 = 8 working days, Thursday the first.
    assert row.forecast.finish == date(2026, 12, 7)
    assert row.will_be_late
    slowest = row.forecast.slowest
    assert slowest is not None
    assert (slowest.station, slowest.method, slowest.before, slowest.own) == ("preparation", "AR-7", 0, 4)
    assert slowest.a_day == pytest.approx(4 / 3)


def test_what_is_due_earlier_stands_before_it(lab: Laboratory) -> None:
    four_samples_passed(lab)
    newcomers(lab, 25, count=6, due=date(2026, 12, 3))
    later = newcomers(lab, 25, count=4, due=date(2026, 12, 4))
    row = expected()[later.number]
    assert row.forecast.slowest is not None
    assert row.forecast.slowest.before == 6
    # Preparation (6 + 4) × 3/4 = 7½, then 2 + 2 + 1: 12½, the thirteenth working day
    assert row.forecast.finish == date(2026, 12, 14)


def test_a_closed_day_puts_it_off(lab: Laboratory) -> None:
    four_samples_passed(lab)
    new = newcomers(lab, 25, due=date(2026, 12, 4))
    mark_calendar_day(
        by=lab.people["laboratory manager"],
        at=lab.later(),
        day=date(2026, 11, 30),
        part=DayPart.CLOSED,
        name="Founders’",
    )
    assert expected()[new.number].forecast.finish == date(2026, 12, 8)


def test_only_the_last_twenty_working_days_count(lab: Laboratory) -> None:
    four_samples_passed(lab)
    new = newcomers(lab, 25, due=date(2026, 12, 4))
    january = looked(date(2027, 1, 5))
    assert january.pressing[0].forecast.finish is None
    assert january.unknown == (
        (Station.CERTIFICATES, ""),
        (Station.PREPARATION, "AR-7"),
        (Station.REVIEW, "AR-7"),
        (Station.RUNS, "AR-7"),
    )
    assert january.pressing[0].submission == new.number
    assert january.pressing[0].days_late(date(2027, 1, 5)) == 32


def test_what_is_done_in_time_asks_for_no_look(lab: Laboratory) -> None:
    four_samples_passed(lab)
    newcomers(lab, 25, due=date(2026, 12, 7))
    assert expected() == {}


@pytest.mark.parametrize(
    ("due", "shown"), [(25, True), (26, True), (27, True), (28, False)], ids=["late", "today", "next open day", "later"]
)
def test_what_is_due_by_the_next_open_day_is_shown(due: int, shown: bool, lab: Laboratory) -> None:
    new = newcomers(lab, 24, due=date(2026, 11, due))
    assert (new.number in expected()) is shown


def test_part_of_a_submission_far_behind_counts_from_where_it_stands(lab: Laboratory) -> None:
    # given four samples of which two were weighed on the 25th
    four_samples_passed(lab)
    new = newcomers(lab, 24, due=date(2026, 11, 27))
    a_weighed_batch(on(lab, 25), new, 2)

    row = expected()[new.number]

    assert row.at == (Station.PREPARATION, Station.RUNS)
    # Preparation: 4 + 2 left in 4 days (Monday, Tuesday, the 24th and 25th), the other 2 need 1⅓; then all
    # four at Runs: 4 in 3 days (Tuesday, Wednesday, the 25th), 3; Review 2; Certificates 1: 7⅓, the eighth working day.
    assert row.forecast.finish == date(2026, 12, 7)


def test_the_page_says_why(lab: Laboratory, as_role: AsRole, monkeypatch: pytest.MonkeyPatch) -> None:
    four_samples_passed(lab)
    first = newcomers(lab, 25, count=6, due=date(2026, 11, 25))
    second = newcomers(lab, 25, count=4, due=date(2026, 12, 4))
    monkeypatch.setattr("django.utils.timezone.now", lambda: datetime(2026, 11, 26, 7, 42, tzinfo=UTC))
    cache.clear()

    words = as_role("laboratory manager").get(reverse("today")).content.decode().replace("\n", " ")

    assert "1\N{NO-BREAK SPACE}submission</a> will be late." in words
    assert (
        "6\N{NO-BREAK SPACE}samples before its own 4 at Preparation with AR-7, 1.3 a day there: done about "
        '<span class="nowrap">Mon 14 Dec</span>' in words
    )
    assert first.number in words
    assert second.number in words
    assert "1\N{NO-BREAK SPACE}day late" in words


def test_a_place_without_history_is_said(lab: Laboratory, as_role: AsRole) -> None:
    a_submission(lab, 2, due_on=date(2026, 11, 17))
    words = as_role("preparer").get(reverse("today")).content.decode()
    assert "No pace known" in words
    assert "No pace is known at Certificates, Preparation with AR-7, Review with AR-7, Runs with AR-7" in words


def test_nothing_presses_on_a_quiet_day(lab: Laboratory, as_role: AsRole) -> None:
    words = as_role("laboratory manager").get(reverse("today")).content.decode()
    assert "Late, due, or late" not in words


@pytest.fixture
def copper_holds_ten_days(lab: Laboratory) -> Laboratory:
    """An invented holding time for copper in soil; lead has none."""
    register_holding_time(
        by=lab.people["quality manager"], at=lab.later(), matrix=Matrix.objects.get(name="soil"),
        element=Element.objects.get(pk="Cu"), hours=240.0, source="common practice, no source",
    )  # fmt: skip
    return lab


@pytest.mark.parametrize(
    ("sampled", "shown"),
    [  # pages are looked at on Tuesday 17 November, 08:00
        ("2026-11-06T09:00", "passed for 2"),
        ("2026-11-08T08:00", "ends soon"),
        ("2026-11-09T08:01", None),
    ],
)
def test_a_holding_time_that_ends_soon_or_has_ended_is_shown(
    sampled: str, shown: str | None, copper_holds_ten_days: Laboratory, as_role: AsRole
) -> None:
    submission = a_submission(copper_holds_ten_days, 2)
    submission.samples.update(sampled_at=datetime.fromisoformat(sampled).replace(tzinfo=UTC))

    words = as_role("laboratory manager").get(reverse("today")).content.decode()

    assert ("Clocks that run" in words) is (shown is not None)
    if shown:
        assert shown in words
        assert "2\N{NO-BREAK SPACE}samples by AR-7" in words
        assert 'Cu: 10 days <span class="unit">common practice, no source</span>' in words


def test_what_was_measured_has_no_clock_any_more(copper_holds_ten_days: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(copper_holds_ten_days, 2)
    submission.samples.update(sampled_at=datetime(2026, 11, 1, 8, tzinfo=UTC))
    an_evaluated_run(copper_holds_ten_days, submission)
    assert "Clocks that run" not in as_role("laboratory manager").get(reverse("today")).content.decode()


def test_waters_acidified_on_arrival_are_counted_until_their_time_is_over(lab: Laboratory, as_role: AsRole) -> None:
    # given three samples acidified at different times; the lock is 24 h, and now is 17 November, 08:00
    samples = list(a_submission(lab, 3).samples.order_by("ordinal"))
    for sample, hour in zip(samples, (7, 9, 12), strict=True):
        Sample.objects.filter(pk=sample.pk).update(acidified_at=datetime(2026, 11, 16, hour, tzinfo=UTC))
    words = as_role("preparer").get(reverse("today")).content.decode()
    assert "2\N{NO-BREAK SPACE}waters acidified on arrival wait until their time is over" in words
    assert "Tue 17 Nov 09:00" in words


def test_a_long_list_is_cut_and_the_rest_is_counted(lab: Laboratory, as_role: AsRole) -> None:
    for number in range(14):
        a_submission(lab, 1, names=[f"late {number}"], due_on=date(2026, 11, 16))
    answer = as_role("laboratory manager").get(reverse("today"))
    assert len(answer.context["pressing"]) == 12
    assert "And 2\N{NO-BREAK SPACE}submissions more, due later." in answer.content.decode()
