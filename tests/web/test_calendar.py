"""The calendar's page: marked days in words, what falls due on a closed one, and who may change it."""

from collections.abc import Callable
from datetime import date

import pytest
from django.test import Client
from django.urls import reverse

from labresults.models import CalendarDay
from labresults.queries.calendar import calendar
from tests.builders import Laboratory, a_certificate, a_submission, an_evaluated_run, approved

AsRole = Callable[[str], Client]

FOUNDERS_DAY = date(2026, 11, 30)  # a Monday


def mark(browser: Client, day: str = "2026-11-30", part: str = "closed", name: str = "Founders’ day") -> str:
    answer = browser.post(reverse("mark-calendar-day"), {"day": day, "part": part, "name": name}, follow=True)
    return answer.content.decode()


def test_a_day_is_marked_and_shown_with_its_word(lab: Laboratory, as_role: AsRole) -> None:
    words = mark(as_role("laboratory manager"))
    assert "The day is marked." in words
    assert '<td class="marked">30<span> closed</span></td>' in words
    assert "30: closed, Founders’ day" in words
    assert "Mon 30 Nov 2026" in words


def test_what_falls_due_on_a_closed_day_is_named(lab: Laboratory, as_role: AsRole) -> None:
    # given three submissions: due on that day, due the day after, and due on that day but certified
    due = a_submission(lab, 2, due_on=FOUNDERS_DAY)
    a_submission(lab, 1, names=["later"], due_on=date(2026, 12, 1))
    done = a_submission(lab, 1, names=["done"], due_on=FOUNDERS_DAY)
    an_evaluated_run(lab, done)
    a_certificate(lab, approved(lab, done), draw=False)
    browser = as_role("quality manager")
    assert "Due on a closed day" not in browser.get(reverse("calendar")).content.decode()

    mark(browser)

    page = browser.get(reverse("calendar"))
    assert [(row.submission, row.next_open) for row in page.context["page"].falls_due] == [
        (due.number, date(2026, 12, 1))
    ]
    assert "Due on a closed day" in page.content.decode()


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"day": "30.11.", "part": "closed", "name": "x"}, "Day: Enter a valid date."),
        ({"day": "2026-11-30", "part": "shut", "name": "x"}, "It is: Select a valid choice."),
        ({"day": "2026-11-30", "part": "closed", "name": " "}, "Why: This field is required."),
        ({"day": "1926-11-30", "part": "closed", "name": "x"}, "more than ten years away"),
    ],
)
def test_a_wrong_mark_is_refused_in_words(given: dict[str, str], words: str, lab: Laboratory, as_role: AsRole) -> None:
    answer = as_role("laboratory manager").post(reverse("mark-calendar-day"), given, follow=True)
    assert words in answer.content.decode()
    assert not CalendarDay.objects.exists()


def test_the_week_is_set(lab: Laboratory, as_role: AsRole) -> None:
    browser = as_role("laboratory manager")
    week = {day: "open" for day in ("monday", "tuesday", "wednesday", "thursday", "friday")}
    answer = browser.post(reverse("working-week"), week | {"saturday": "half a day", "sunday": "closed"}, follow=True)
    assert "The week is set." in answer.content.decode()
    assert calendar().week == (1.0, 1.0, 1.0, 1.0, 1.0, 0.5, 0.0)


@pytest.mark.parametrize(
    ("role", "marks", "sets"),
    [("laboratory manager", True, True), ("quality manager", True, False), ("preparer", False, False)],
)
def test_who_may_change_it(role: str, marks: bool, sets: bool, lab: Laboratory, as_role: AsRole) -> None:
    browser = as_role(role)
    words = browser.get(reverse("calendar")).content.decode()
    assert ("Mark the day" in words, "Set the week" in words) == (marks, sets)
    mark(browser)
    assert CalendarDay.objects.exists() == marks


@pytest.mark.parametrize(
    ("asked", "first"),
    [
        ("", date(2026, 11, 1)),
        ("2027-02", date(2027, 2, 1)),
        ("2026-13", date(2026, 11, 1)),
        ("9999-01", date(2026, 11, 1)),
        ("soon", date(2026, 11, 1)),
    ],
)
def test_twelve_months_from_where_one_likes(asked: str, first: date, lab: Laboratory, as_role: AsRole) -> None:
    page = as_role("auditor").get(reverse("calendar"), {"from": asked}).context["page"]
    assert [page.months[0].first, len(page.months)] == [first, 12]
    assert page.months[11].first == date(first.year + (first.month > 1), (first.month + 10) % 12 + 1, 1)
