"""Days, moments and amounts as papers print them. Pure."""

from collections.abc import Sequence
from datetime import date, datetime


def day_in_words(day: date) -> str:
    """A day with its weekday: Tue 17 November 2026."""
    return f"{day:%a} {day.day} {day:%B %Y}"


def date_in_words(day: date) -> str:
    """A day with its year where there is little room: 17 Nov 2026."""
    return f"{day.day} {day:%b %Y}"


def short_day(day: date) -> str:
    """A day where there is little room: Tue 17 Nov."""
    return f"{day:%a} {day.day} {day:%b}"


def moment_in_words(at: datetime) -> str:
    """A moment, in the zone that it carries: Tue 17 November 2026, 08:21."""
    return f"{day_in_words(at.date())}, {at:%H:%M}"


def amount(value: float) -> str:
    """An amount in plain notation, thousands parted; ten figures hide what adding in binary leaves behind."""
    return f"{value:,.10g}".replace(",", "\N{NO-BREAK SPACE}")


def rows_in_words(rows: Sequence[int]) -> str:
    """Rows of a list, ascending, neighbours together: Rows 3–5, 9."""
    spans: list[list[int]] = []
    for row in rows:
        if spans and spans[-1][1] == row - 1:
            spans[-1][1] = row
        else:
            spans.append([row, row])
    written = ", ".join(str(first) if first == last else f"{first}–{last}" for first, last in spans)
    return f"{'Row' if len(rows) == 1 else 'Rows'} {written}"
