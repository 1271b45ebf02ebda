"""Working days by the laboratory's own calendar: due days, and the days between two dates.

Due dates are agreed in working days (common practice, no source). Which days are worked is the laboratory's own: a part
for each weekday, and days that are worked otherwise than their weekday. A part is 0 (closed), ½ (half a day) or 1, so
that sums of parts are exact in binary64.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta

from labresults.calculation.errors import NoWorkingDay

PARTS = (0.0, 0.5, 1.0)
"""What a day can be: closed, half, open."""

FARTHEST_DAYS = 3_660
"""How far a due day is looked for, days: ten years. A calendar that is never open ends the search."""

_DAY = timedelta(days=1)


@dataclass(frozen=True)
class Calendar:
    """Which days are worked. Raises NoWorkingDay for a week without seven parts, or a part that is not in `PARTS`.

    week: part of each weekday, Monday first; days: part of each day that is worked otherwise than its weekday.
    """

    week: tuple[float, ...] = (1.0, 1.0, 1.0, 1.0, 1.0, 0.0, 0.0)
    days: Mapping[date, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if len(self.week) != 7:
            raise NoWorkingDay(f"A week has seven days, not {len(self.week)}: give a part for each, Monday first.")
        for part in (*self.week, *self.days.values()):
            if part not in PARTS:
                raise NoWorkingDay(f"A day is closed (0), half (0.5) or open (1); {part:g} is none of them.")

    def part(self, day: date) -> float:
        """Part of a day that is worked: 0, 0.5 or 1."""
        return self.days.get(day, self.week[day.weekday()])


def due_day(received: date, days: float, calendar: Calendar) -> date:
    """The first open day by whose end `days` working days have been worked after the day of receipt.

    Half days count half. With no days at all it is the day of receipt itself, or the first open day after it.
    Raises NoWorkingDay when days is negative, or when the calendar is not open so often in ten years.
    """
    if not days >= 0:
        raise NoWorkingDay(f"A turnaround of {days:g} working days cannot be: give 0 or more.")
    if days == 0 and calendar.part(received) > 0:
        return received
    worked = 0.0
    for day in _days_after(received, FARTHEST_DAYS):
        part = calendar.part(day)
        worked += part
        if part > 0 and worked >= days:
            return day
    raise NoWorkingDay(
        f"The calendar has no {days:g} working days in the ten years after {received.isoformat()}: "
        "open a weekday, or shorten the turnaround."
    )


def first_day_of_last(last: date, days: float, calendar: Calendar) -> date:
    """The latest day from which `days` working days were worked up to the end of `last`, both days counted in.

    Raises NoWorkingDay when days is not above zero, or when the calendar was not open so often in ten years.
    """
    if not days > 0:
        raise NoWorkingDay(f"The last {days:g} working days cannot be: give more than 0.")
    worked = 0.0
    for back in range(FARTHEST_DAYS):
        day = last - back * _DAY
        worked += calendar.part(day)
        if worked >= days:
            return day
    raise NoWorkingDay(f"The calendar has no {days:g} working days in the ten years before {last.isoformat()}.")


def working_days_between(first: date, last: date, calendar: Calendar) -> float:
    """Working days after `first`, up to the end of `last`; negative when `last` lies before `first`."""
    if last < first:
        return -working_days_between(last, first, calendar)
    return sum(map(calendar.part, _days_after(first, (last - first).days)), 0.0)


def _days_after(first: date, count: int) -> Iterator[date]:
    return (first + number * _DAY for number in range(1, count + 1))
