"""The laboratory's calendar: which days are worked. Due dates that were given stay as they are."""

from collections.abc import Sequence
from datetime import date, datetime

from labresults.acts import BadInput, Done, WrongState, act
from labresults.calculation.working_days import FARTHEST_DAYS
from labresults.models import CalendarDay, Laboratory, Person
from labresults.queries.calendar import PART_OF, calendar, word_for
from labresults.terms import DayPart

_LONGEST_NAME = 100


@act("mark_calendar_day")
def mark_calendar_day(
    *, by: Person, at: datetime, reason: str, day: date, part: DayPart, name: str
) -> Done[CalendarDay]:
    """Say how much of one day is worked, and why. A day that was marked before is marked anew; the older row stays.

    Raises BadInput for a blank or long name, or a day more than ten years away; WrongState when it stands so already.
    """
    name = " ".join(name.split())
    if not 0 < len(name) <= _LONGEST_NAME:
        raise BadInput(f"Give a name of 1 to {_LONGEST_NAME} signs: the receipt may say it. Nothing was marked.")
    if abs((day - at.date()).days) > FARTHEST_DAYS:
        raise BadInput(f"{day.isoformat()} is more than ten years away. Look at its year.")
    before = CalendarDay.objects.filter(day=day).order_by("-pk").first()
    if before and (before.part, before.name) == (PART_OF[part], name):
        raise WrongState(f"{day.isoformat()} is marked so already: {part}, {name}.")
    stood = word_for(calendar().part(day))
    row = CalendarDay.objects.create(day=day, part=PART_OF[part], name=name, made_by=by, made_at=at)
    return Done(
        row,
        subject=("calendar", day.isoformat()),
        before={"worked": str(stood), "name": before.name if before else ""},
        after={"worked": str(part), "name": name},
    )


@act("set_working_week")
def set_working_week(*, by: Person, at: datetime, reason: str, week: Sequence[DayPart]) -> Done[tuple[DayPart, ...]]:
    """Say how much of each weekday is worked, Monday first. Days that are marked one by one keep their marks.

    Raises BadInput for a week that has not seven days or is never open; WrongState when it stands so already.
    """
    parts = [PART_OF[DayPart(part)] for part in week]
    if len(parts) != 7:
        raise BadInput(f"A week has seven days, not {len(parts)}. Say how each is worked, Monday first.")
    if not any(parts):
        raise BadInput("A week that is never open has no due dates. Open a weekday.")
    before = list(calendar().week)
    if parts == before:
        raise WrongState("The week is worked so already.")
    Laboratory.objects.filter(pk=1).update(working_week=parts)
    return Done(
        tuple(map(word_for, parts)),
        subject=("calendar", "week"),
        before={"week, Monday first": [str(word_for(part)) for part in before]},
        after={"week, Monday first": [str(word_for(part)) for part in parts]},
    )
