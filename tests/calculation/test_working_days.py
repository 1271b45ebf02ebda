"""Working days by a calendar. All days are counted by hand; the closed days are invented.

November 2026: the 16th is a Monday, the 26th a Thursday.
"""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labresults.calculation.errors import NoWorkingDay
from labresults.calculation.working_days import (
    PARTS,
    Calendar,
    due_day,
    first_day_of_last,
    working_days_between,
)

FOUNDERS_DAY = date(2026, 11, 30)  # a Monday
ORDINARY = Calendar()
WITH_FOUNDERS_DAY = Calendar(days={FOUNDERS_DAY: 0.0, date(2026, 12, 1): 0.5})
SATURDAYS = Calendar((1.0, 1.0, 1.0, 1.0, 1.0, 0.5, 0.0))
NEVER = Calendar((0.0,) * 7)

DAY = timedelta(days=1)


@pytest.mark.parametrize(
    ("received", "days", "calendar", "due"),
    [
        ("2026-11-16", 1, ORDINARY, "2026-11-17"),
        ("2026-11-16", 5, ORDINARY, "2026-11-23"),
        ("2026-11-20", 1, ORDINARY, "2026-11-23"),  # Friday: the weekend does not count
        ("2026-11-21", 1, ORDINARY, "2026-11-23"),  # received on a Saturday
        ("2026-11-16", 0, ORDINARY, "2026-11-16"),
        ("2026-11-21", 0, ORDINARY, "2026-11-23"),  # at once, as soon as somebody is there
        ("2026-11-27", 1, WITH_FOUNDERS_DAY, "2026-12-02"),  # Monday closed, Tuesday half: whole on Wednesday
        ("2026-11-27", 0.5, WITH_FOUNDERS_DAY, "2026-12-01"),
        ("2026-11-27", 1.5, WITH_FOUNDERS_DAY, "2026-12-02"),
        ("2026-11-27", 0.5, SATURDAYS, "2026-11-28"),
        ("2026-11-27", 1, SATURDAYS, "2026-11-30"),
        ("2026-11-27", 1, Calendar(days={date(2026, 11, 29): 1.0}), "2026-11-29"),  # a Sunday that is worked
    ],
)
def test_due_day(received: str, days: float, calendar: Calendar, due: str) -> None:
    assert due_day(date.fromisoformat(received), days, calendar) == date.fromisoformat(due)


@pytest.mark.parametrize(
    ("first", "last", "calendar", "days"),
    [
        ("2026-11-16", "2026-11-16", ORDINARY, 0.0),
        ("2026-11-16", "2026-11-23", ORDINARY, 5.0),
        ("2026-11-23", "2026-11-16", ORDINARY, -5.0),
        ("2026-11-20", "2026-11-22", ORDINARY, 0.0),
        ("2026-11-27", "2026-12-04", WITH_FOUNDERS_DAY, 3.5),
        ("2026-11-27", "2026-12-04", SATURDAYS, 5.5),
    ],
)
def test_working_days_between(first: str, last: str, calendar: Calendar, days: float) -> None:
    assert working_days_between(date.fromisoformat(first), date.fromisoformat(last), calendar) == days


@pytest.mark.parametrize(
    ("last", "days", "calendar", "first"),
    [
        ("2026-11-20", 5, ORDINARY, "2026-11-16"),
        ("2026-11-22", 5, ORDINARY, "2026-11-16"),
        ("2026-11-25", 20, ORDINARY, "2026-10-29"),
        ("2026-12-02", 2, WITH_FOUNDERS_DAY, "2026-11-27"),
        ("2026-12-02", 1.5, WITH_FOUNDERS_DAY, "2026-12-01"),
    ],
)
def test_the_first_of_the_last_working_days(last: str, days: float, calendar: Calendar, first: str) -> None:
    assert first_day_of_last(date.fromisoformat(last), days, calendar) == date.fromisoformat(first)


@pytest.mark.parametrize("days", [-1, -0.5, float("nan")])
def test_a_turnaround_that_cannot_be(days: float) -> None:
    with pytest.raises(NoWorkingDay, match="give 0 or more"):
        due_day(date(2026, 11, 16), days, ORDINARY)


def test_a_calendar_that_is_never_open_is_said_in_words() -> None:
    with pytest.raises(NoWorkingDay, match=r"no 7 working days in the ten years after 2026-11-16: open a weekday"):
        due_day(date(2026, 11, 16), 7, NEVER)
    with pytest.raises(NoWorkingDay, match="no 20 working days in the ten years before 2026-11-16"):
        first_day_of_last(date(2026, 11, 16), 20, NEVER)
    with pytest.raises(NoWorkingDay, match="give more than 0"):
        first_day_of_last(date(2026, 11, 16), 0, ORDINARY)


@pytest.mark.parametrize(
    ("week", "days"), [((1.0,) * 6, {}), ((0.3,) + (1.0,) * 6, {}), ((1.0,) * 7, {FOUNDERS_DAY: 2.0})]
)
def test_a_calendar_that_cannot_be(week: tuple[float, ...], days: dict[date, float]) -> None:
    with pytest.raises(NoWorkingDay):
        Calendar(week, days)


A_DAY = st.dates(date(2026, 1, 1), date(2027, 12, 31))
PART = st.sampled_from(PARTS)
A_CALENDAR = st.builds(
    Calendar,
    st.tuples(*[PART] * 7).filter(any),
    st.dictionaries(st.dates(date(2026, 1, 1), date(2027, 12, 31)), PART, max_size=40),
)
HALVES = st.integers(0, 60).map(lambda halves: halves / 2)


@given(A_DAY, HALVES, HALVES, A_CALENDAR)
def test_a_longer_turnaround_is_never_due_earlier(received: date, one: float, two: float, calendar: Calendar) -> None:
    short, long = sorted((one, two))
    assert due_day(received, short, calendar) <= due_day(received, long, calendar)


@given(A_DAY, st.integers(0, 30), HALVES, A_CALENDAR)
def test_what_came_later_is_never_due_earlier(received: date, later: int, days: float, calendar: Calendar) -> None:
    assert due_day(received, days, calendar) <= due_day(received + later * DAY, days, calendar)


@given(A_DAY, HALVES, A_CALENDAR)
def test_nothing_is_due_on_a_closed_day_or_before_it_came(received: date, days: float, calendar: Calendar) -> None:
    due = due_day(received, days, calendar)
    assert due >= received
    assert calendar.part(due) > 0


@given(A_DAY, HALVES.filter(bool), A_CALENDAR)
def test_the_due_day_and_the_days_between_agree(received: date, days: float, calendar: Calendar) -> None:
    due = due_day(received, days, calendar)
    assert working_days_between(received, due, calendar) >= days
    assert working_days_between(received, due - DAY, calendar) < days


@given(A_DAY, HALVES.filter(bool), A_CALENDAR)
def test_the_last_days_and_the_days_between_agree(last: date, days: float, calendar: Calendar) -> None:
    first = first_day_of_last(last, days, calendar)
    assert working_days_between(first - DAY, last, calendar) >= days
    assert working_days_between(first, last, calendar) < days


@given(A_DAY, A_DAY, A_DAY, A_CALENDAR)
def test_days_between_add_up(one: date, two: date, three: date, calendar: Calendar) -> None:
    parts = working_days_between(one, two, calendar) + working_days_between(two, three, calendar)
    assert parts == working_days_between(one, three, calendar)
