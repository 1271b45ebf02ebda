"""Days are marked and the week is set; what was marked before stays on the record."""

from datetime import date

import pytest

from labresults.actions.calendar import mark_calendar_day, set_working_week
from labresults.acts import BadInput, WrongState
from labresults.calculation.working_days import due_day
from labresults.models import AuditEvent, CalendarDay
from labresults.queries.calendar import calendar
from labresults.queries.shelf import event
from labresults.terms import DayPart
from tests.builders import Laboratory

FOUNDERS_DAY = date(2026, 11, 30)  # a Monday
FRIDAY = date(2026, 11, 27)


def mark(
    lab: Laboratory, day: date = FOUNDERS_DAY, part: DayPart = DayPart.CLOSED, name: str = "Founders’ day"
) -> None:
    mark_calendar_day(by=lab.people["laboratory manager"], at=lab.later(), day=day, part=part, name=name)


def test_a_closed_day_moves_what_is_due_afterwards(lab: Laboratory) -> None:
    assert due_day(FRIDAY, 1, calendar()) == FOUNDERS_DAY
    mark(lab)
    assert due_day(FRIDAY, 1, calendar()) == date(2026, 12, 1)


def test_the_newest_word_about_a_day_stands_and_the_older_one_stays(lab: Laboratory) -> None:
    mark(lab)
    mark(lab, part=DayPart.HALF, name="  Founders’ day,   the afternoon ")
    assert calendar().part(FOUNDERS_DAY) == 0.5
    assert list(CalendarDay.objects.order_by("pk").values_list("part", "name")) == [
        (0.0, "Founders’ day"),
        (0.5, "Founders’ day, the afternoon"),
    ]
    assert event(AuditEvent.objects.latest("seq").seq).changes == [
        ("name", "Founders’ day", "Founders’ day, the afternoon"),
        ("worked", "closed", "half a day"),
    ]


@pytest.mark.parametrize(
    ("day", "name", "words"),
    [
        (FOUNDERS_DAY, "   ", "Give a name of 1 to 100 signs"),
        (FOUNDERS_DAY, "x" * 101, "Give a name of 1 to 100 signs"),
        (date(2062, 11, 30), "Founders’ day", "2062-11-30 is more than ten years away. Look at its year."),
    ],
)
def test_what_cannot_be_marked(day: date, name: str, words: str, lab: Laboratory) -> None:
    with pytest.raises(BadInput, match=words):
        mark(lab, day, name=name)
    assert not CalendarDay.objects.exists()


def test_the_same_mark_twice_is_said(lab: Laboratory) -> None:
    mark(lab)
    with pytest.raises(WrongState, match="2026-11-30 is marked so already: closed, Founders’ day"):
        mark(lab)


def week(lab: Laboratory, *parts: DayPart) -> None:
    set_working_week(by=lab.people["laboratory manager"], at=lab.later(), week=parts)


OPEN, HALF, CLOSED = DayPart.OPEN, DayPart.HALF, DayPart.CLOSED


def test_a_week_with_saturday_mornings(lab: Laboratory) -> None:
    mark(lab)
    week(lab, *[OPEN] * 5, HALF, CLOSED)
    assert calendar().week == (1.0, 1.0, 1.0, 1.0, 1.0, 0.5, 0.0)
    assert calendar().part(FOUNDERS_DAY) == 0.0  # a marked day keeps its mark
    assert event(AuditEvent.objects.latest("seq").seq).content["before"] == {
        "week, Monday first": ["open"] * 5 + ["closed"] * 2
    }


@pytest.mark.parametrize(
    ("parts", "refusal", "words"),
    [
        ([CLOSED] * 7, BadInput, "never open has no due dates. Open a weekday"),
        ([OPEN] * 6, BadInput, "seven days, not 6"),
        ([OPEN] * 5 + [CLOSED] * 2, WrongState, "worked so already"),
    ],
)
def test_a_week_that_cannot_be_set(parts: list[DayPart], refusal: type[Exception], words: str, lab: Laboratory) -> None:
    with pytest.raises(refusal, match=words):
        week(lab, *parts)
    assert calendar().week == (1.0, 1.0, 1.0, 1.0, 1.0, 0.0, 0.0)
