"""The laboratory's calendar, read. Each function says how many database queries it makes."""

from calendar import Calendar as Leaves
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from labresults.calculation.working_days import Calendar, due_day
from labresults.models import CalendarDay, Laboratory
from labresults.queries.waiting import open_work
from labresults.terms import DayPart

PART_OF = {DayPart.OPEN: 1.0, DayPart.HALF: 0.5, DayPart.CLOSED: 0.0}
"""Part of a day that is worked, by its word."""


@dataclass(frozen=True)
class ShownDay:
    """One day of the calendar. `name` says why, where it is worked otherwise than its weekday."""

    day: date
    part: DayPart
    name: str
    by: str  # who marked it; empty for an ordinary day
    is_today: bool


@dataclass(frozen=True)
class Month:
    """A month as a leaf: weeks from Monday to Sunday, None for the days of its neighbours; its marked days apart."""

    first: date
    weeks: tuple[tuple[ShownDay | None, ...], ...]
    marked: tuple[ShownDay, ...]


@dataclass(frozen=True)
class FallsDue:
    """An open submission that is due on a day which is closed now, and the next day that is open."""

    submission: str
    client: str
    due_on: date
    name: str
    next_open: date


@dataclass(frozen=True)
class CalendarPage:
    """Twelve months of the calendar, the marked days from today on, and what falls due on one that is closed."""

    months: tuple[Month, ...]
    week: tuple[DayPart, ...]
    coming: tuple[ShownDay, ...]
    falls_due: tuple[FallsDue, ...]


def calendar() -> Calendar:
    """Which days are worked: the laboratory's week, and the newest word about each day; two queries."""
    return Calendar(_week(), dict(CalendarDay.objects.order_by("pk").values_list("day", "part")))


def word_for(part: float) -> DayPart:
    """The word for a part of a day; no query."""
    return next(word for word, worked in PART_OF.items() if worked == part)


def working_week() -> tuple[DayPart, ...]:
    """How each weekday is worked, Monday first; one query."""
    return tuple(map(word_for, _week()))


def calendar_page(first: date, today: date) -> CalendarPage:
    """Twelve months from the month of `first` on; two queries, and those of `open_work`."""
    marks = {row.day: row for row in CalendarDay.objects.select_related("made_by").order_by("pk")}
    worked = Calendar(_week(), {day: row.part for day, row in marks.items()})
    marked = {day: _shown(day, worked, marks, today) for day in sorted(marks)}
    numbers = [first.year * 12 + first.month - 1 + later for later in range(12)]
    return CalendarPage(
        months=tuple(_month(number // 12, number % 12 + 1, worked, marks, today) for number in numbers),
        week=tuple(map(word_for, worked.week)),
        coming=tuple(shown for day, shown in marked.items() if day >= today),
        falls_due=_falls_due(worked, marks),
    )


def _week() -> tuple[float, ...]:
    weeks = Laboratory.objects.filter(pk=1).values_list("working_week", flat=True)
    return next((tuple(map(float, parts)) for parts in weeks), Calendar().week)


def _shown(day: date, worked: Calendar, marks: Mapping[date, CalendarDay], today: date) -> ShownDay:
    mark = marks.get(day)
    return ShownDay(
        day=day,
        part=word_for(worked.part(day)),
        name=mark.name if mark else "",
        by=str(mark.made_by) if mark else "",
        is_today=day == today,
    )


def _month(year: int, number: int, worked: Calendar, marks: Mapping[date, CalendarDay], today: date) -> Month:
    weeks = tuple(
        tuple(_shown(day, worked, marks, today) if day.month == number else None for day in days)
        for days in Leaves().monthdatescalendar(year, number)
    )
    return Month(date(year, number, 1), weeks, tuple(day for days in weeks for day in days if day and day.name))


def _falls_due(worked: Calendar, marks: Mapping[date, CalendarDay]) -> tuple[FallsDue, ...]:
    """Each open submission once; only days that were marked closed, not ordinary ones of the week."""
    found = {
        row.submission: FallsDue(
            row.submission, row.client, row.due_on, marks[row.due_on].name, due_day(row.due_on, 0, worked)
        )
        for row in open_work()
        if row.due_on in marks and worked.part(row.due_on) == 0
    }
    return tuple(found.values())
