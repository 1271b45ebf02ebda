"""When work will be done at the present pace: by hand.

November 2026: the 26th is a Thursday; the 30th is closed in this invented calendar.
"""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labresults.calculation.pace import Stage, busy_days, forecast
from labresults.calculation.working_days import Calendar

THURSDAY = date(2026, 11, 26)
CALENDAR = Calendar(days={date(2026, 11, 30): 0.0})
NEVER = Calendar((0.0,) * 7)


def stage(before: int, own: int, finished: int, days: float = 20.0, station: str = "runs") -> Stage:
    return Stage(station, "AR-7", before, own, finished, days)


RUNS = stage(12, 6, 180)  # 9 a day: 2 days
REVIEW = stage(0, 6, 360, station="review")  # 18 a day: a third of a day


@pytest.mark.parametrize(
    ("stages", "finish"),
    [
        ([stage(0, 9, 180)], "2026-11-26"),  # one day: today
        ([RUNS], "2026-11-27"),
        ([RUNS, REVIEW], "2026-12-01"),  # 2⅓: the third working day, Monday is closed
        ([stage(0, 3, 180), stage(0, 6, 180)], "2026-11-26"),  # ⅓ + ⅔ is one day exactly, and no more
        ([stage(0, 1, 30), stage(0, 2, 20), stage(0, 1, 60)], "2026-12-01"),  # ⅔ + 2 + ⅓ is three, no fourth
        (
            [stage(10, 10, 4)],
            "2027-04-15",
        ),  # a hundred days: 20 weeks end on Wednesday 14, and a day for the closed one
    ],
)
def test_the_times_are_summed(stages: list[Stage], finish: str) -> None:
    assert forecast(stages, THURSDAY, CALENDAR).finish == date.fromisoformat(finish)


def test_half_a_day_is_enough_for_half_a_days_work() -> None:
    morning = Calendar(days={date(2026, 11, 27): 0.5})
    days = [forecast([stage(0, own, 200)], THURSDAY, morning).finish for own in (10, 15, 16)]  # 10 a day
    assert days == [THURSDAY, date(2026, 11, 27), date(2026, 11, 30)]


def test_the_slowest_stage_is_named() -> None:
    assert forecast([REVIEW, RUNS], THURSDAY, CALENDAR).slowest == RUNS
    assert RUNS.a_day == 9.0


def test_a_stage_where_nothing_was_finished_has_no_pace() -> None:
    unknown = stage(0, 6, 0)
    found = forecast([RUNS, unknown], THURSDAY, CALENDAR)
    assert (unknown.a_day, unknown.days) == (None, None)
    assert (found.finish, found.unknown) == (date(2026, 11, 27), (unknown,))
    assert forecast([unknown], THURSDAY, CALENDAR).finish is None
    assert forecast([stage(0, 6, 10, 0.0)], THURSDAY, CALENDAR).finish is None


def test_nothing_is_looked_for_further_than_a_working_year() -> None:
    far, farther = stage(0, 250, 20), stage(0, 9_000, 20)  # 1 a day
    assert forecast([farther], THURSDAY, CALENDAR).finish == forecast([far], THURSDAY, CALENDAR).finish
    assert forecast([stage(0, 249, 20)], THURSDAY, CALENDAR).finish < forecast([far], THURSDAY, CALENDAR).finish  # type: ignore[operator]


def test_a_calendar_that_is_never_open_gives_no_near_day() -> None:
    assert forecast([RUNS], THURSDAY, NEVER).finish == date.max


@pytest.mark.parametrize(
    ("spans", "calendar", "days"),
    [
        ([], CALENDAR, 0.0),
        ([("2026-11-26", "2026-11-26")], CALENDAR, 1.0),
        ([("2026-11-26", "2026-12-02")], CALENDAR, 4.0),  # a weekend and the closed Monday lie between
        ([("2026-11-23", "2026-11-25"), ("2026-11-24", "2026-11-26")], CALENDAR, 4.0),  # a day counts once
        ([("2026-11-16", "2026-11-16"), ("2026-11-19", "2026-11-19")], CALENDAR, 2.0),  # idle days do not count
        ([("2026-11-26", "2026-11-27")], Calendar(days={date(2026, 11, 27): 0.5}), 1.5),
        ([("2026-11-28", "2026-11-29")], CALENDAR, 0.0),
        ([("2026-11-27", "2026-11-26")], CALENDAR, 0.0),
        ([("2026-11-16", "2026-11-27")], NEVER, 0.0),
    ],
)
def test_days_on_which_something_waited(spans: list[tuple[str, str]], calendar: Calendar, days: float) -> None:
    dates = [(date.fromisoformat(first), date.fromisoformat(last)) for first, last in spans]
    assert busy_days(dates, calendar) == days


A_STAGE = st.builds(stage, st.integers(0, 500), st.integers(1, 500), st.integers(1, 2_000))


@given(st.lists(A_STAGE, min_size=1, max_size=4), A_STAGE)
def test_another_station_never_makes_it_earlier(stages: list[Stage], more: Stage) -> None:
    one, two = (forecast(of, THURSDAY, CALENDAR).finish for of in (stages, [*stages, more]))
    assert one is not None
    assert two is not None
    assert THURSDAY <= one <= two
