"""Days, moments and amounts as papers print them. Pure."""

import re
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


def labels_in_words(labels: Sequence[str]) -> str:
    """Labels in their order, three and more that count on drawn together: KF26-00001 to KF26-00009, KF26-00012."""
    spans: list[list[str]] = []
    for label in labels:
        if spans and _counts_on(spans[-1][-1], label):
            spans[-1].append(label)
        else:
            spans.append([label])
    return ", ".join(f"{span[0]} to {span[-1]}" if len(span) > 2 else ", ".join(span) for span in spans)


def _counts_on(label: str, other: str) -> bool:
    """Whether another label is the same but for its last number, which is one more."""
    one, two = (_LAST_NUMBER.fullmatch(text) for text in (label, other))
    if not one or not two or one[1] != two[1] or len(one[2]) != len(two[2]):
        return False
    return int(two[2]) == int(one[2]) + 1


_LAST_NUMBER = re.compile(r"(.*?)([0-9]+)")


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
