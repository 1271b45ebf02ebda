"""When work is due: the longest turnaround asked for, in working days of the laboratory's own calendar."""

from collections.abc import Collection
from datetime import date, datetime
from zoneinfo import ZoneInfo

from labresults.acts import BadInput
from labresults.calculation.errors import NoWorkingDay
from labresults.calculation.working_days import due_day
from labresults.models import Method, MethodVersion
from labresults.queries.calendar import calendar
from labresults.queries.people import site_time_zone


def due_on(methods: Collection[Method], received: date, on: date) -> date:
    """The day on which the last of these methods is due for what was received on a day; three queries.

    on: the turnaround is that of the version valid on this day, or of the newest one where none is valid.
    Raises BadInput where the calendar has not so many working days.
    """
    rows = list(MethodVersion.objects.filter(method__in=methods).order_by("version"))
    valid = {
        row.method_id: row for row in rows if row.valid_from <= on and (row.valid_to is None or on <= row.valid_to)
    }
    chosen = {row.method_id: row for row in rows} | valid
    days = max((row.turnaround_days for row in chosen.values()), default=0)
    try:
        return due_day(received, days, calendar())
    except NoWorkingDay as closed:
        raise BadInput(f"{closed} Or give the day on which it is due.") from closed


def due_anew(received_at: datetime, before: set[Method], after: set[Method], at: datetime) -> date:
    """The due day of a changed request: methods asked before count from the receipt, new ones from today.

    Six queries.
    """
    zone = ZoneInfo(site_time_zone())
    received, today = received_at.astimezone(zone).date(), at.astimezone(zone).date()
    kept, new = after & before, after - before
    return max([due_on(kept, received, today)] + ([due_on(new, today, today)] if new else []))
