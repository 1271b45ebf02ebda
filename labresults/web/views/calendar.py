"""The laboratory's calendar: which days are worked, and what falls due on a day that is closed."""

import re
from datetime import date
from functools import partial

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from labresults.actions.calendar import mark_calendar_day, set_working_week
from labresults.queries.calendar import calendar_page
from labresults.queries.calendar import working_week as worked_week
from labresults.web.acting import answer
from labresults.web.forms.calendar import DayForm, WeekForm

_A_MONTH = re.compile(r"([1-9]\d{3})-(0[1-9]|1[0-2])", re.ASCII)
_MOST_YEARS_AWAY = 9


def calendar(request: HttpRequest) -> HttpResponse:
    """Twelve months of the calendar (?from=2027-01), the marked days to come, and forms for those who may change it."""
    today = timezone.localdate()
    first = _month(request.GET.get("from", ""), today)
    page = calendar_page(first, today)
    context = {
        "title": "Calendar",
        "here": "calendar",
        "page": page,
        "earlier": first.replace(year=first.year - 1),
        "later": first.replace(year=first.year + 1),
        "day_form": DayForm(),
        "week_form": WeekForm(week=page.week),
    }
    return render(request, "labresults/calendar.html", context)


@require_POST
def mark_day(request: HttpRequest) -> HttpResponse:
    """Mark one day as closed, half or open."""
    form, done = DayForm(request.POST), partial(mark_calendar_day, by=request.user, at=timezone.now())
    said = "The day is marked. Due dates that were given stay."
    return answer(request, form, lambda given: done(**given), said, reverse("calendar"))


@require_POST
def working_week(request: HttpRequest) -> HttpResponse:
    """Say how each weekday is worked."""
    form = WeekForm(request.POST, week=worked_week())
    done = partial(set_working_week, by=request.user, at=timezone.now())
    said = "The week is set. Due dates that were given stay."
    return answer(request, form, lambda given: done(week=form.parts()), said, reverse("calendar"))


def _month(written: str, today: date) -> date:
    """The first day of the month that was asked for, where its year is near; else of this month."""
    found = _A_MONTH.fullmatch(written)
    asked = date(int(found[1]), int(found[2]), 1) if found else today.replace(day=1)
    return asked if abs(asked.year - today.year) <= _MOST_YEARS_AWAY else today.replace(day=1)
