"""Days and times as people write them. What could be read in two ways is asked, never guessed."""

import re
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone, tzinfo
from functools import lru_cache

from labresults.readers.numbers import Unread

_MONTHS = (
    "january", "february", "march", "april", "may", "june",
    "july", "august", "september", "october", "november", "december",
)  # fmt: skip
_TIME = r"(?:[T ]\s*(?P<time>\d{1,2}:\d{2}.*))?"
_YEAR_FIRST = re.compile(
    rf"(?P<year>\d{{4}})(?P<sign>[-/.])(?P<month>\d{{1,2}})(?P=sign)(?P<day>\d{{1,2}}){_TIME}", re.I
)
_DAY_NAMED = re.compile(rf"(?P<day>\d{{1,2}})[-. ]\s*(?P<name>[a-z]{{3,9}})[-., ]\s*(?P<year>\d{{4}}){_TIME}", re.I)
_NAME_FIRST = re.compile(rf"(?P<name>[a-z]{{3,9}})\.? (?P<day>\d{{1,2}}),? (?P<year>\d{{4}}){_TIME}", re.I)
_NUMBERS = re.compile(rf"(?P<one>\d{{1,2}})(?P<sign>[-/.])(?P<two>\d{{1,2}})(?P=sign)(?P<year>\d{{4}}){_TIME}", re.I)
_CLOCK = re.compile(
    r"(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{2})(?:\.\d+)?)?"
    r"\s*(?P<half>[ap]m)?\s*(?P<offset>z|[+-]\d{2}:?\d{2})?",
    re.I,
)
_WRITE_IT = "Write it as 2026-11-16, or 2026-11-16 09:30."


@dataclass(frozen=True)
class Moment:
    """A moment as written. `when` has a time zone only where the text names one; without a time it is midnight."""

    when: datetime
    has_time: bool

    def within(self, zone: tzinfo) -> datetime:
        """The moment with a time zone: its own, or `zone` where it names none."""
        return self.when if self.when.tzinfo else self.when.replace(tzinfo=zone)

    def __str__(self) -> str:
        return self.when.isoformat(" ", "minutes") if self.has_time else self.when.date().isoformat()


@lru_cache(maxsize=4096)  # the samples of a delivery share their days
def read_moment(text: str, day_first: bool | None = None) -> Moment | Unread:
    """Return the day, and the time where there is one, that `text` names, or why it names none.

    Read are 2026-11-16 (also with / or .), 16 Nov 2026, November 16, 2026, 16.11.2026 (with points the day stands
    first: common practice, no source), and 16/11/2026 or 11-16-2026 where only one of the two can be a month, or
    where day_first says which one is. A time follows as 09:30, 9:30 pm, 09:30:00+02:00.
    """
    bare = " ".join(text.split())
    for pattern in (_YEAR_FIRST, _DAY_NAMED, _NAME_FIRST, _NUMBERS):
        if found := pattern.fullmatch(bare):
            return _understood(text, found.groupdict(), day_first)
    if re.fullmatch(r"\d{1,2}[-/.]\d{1,2}[-/.]\d{2}(\D.*)?", bare):
        return Unread(f"“{text}” has a year of two digits.", _WRITE_IT)
    return Unread(f"“{text}” is not a day.", _WRITE_IT)


def day_is_first(texts: list[str]) -> bool | None:
    """Return whether days stand before months in a column of dates such as 16/11/2026; None where nothing says so.

    None too where some can only be read one way and some only the other.
    """
    said: set[bool] = set()
    for text in texts:
        found = _NUMBERS.fullmatch(" ".join(text.split()))
        if found and found["sign"] != ".":
            one, two = int(found["one"]), int(found["two"])
            said |= ({True} if one > 12 else set()) | ({False} if two > 12 else set())
    return said.pop() if len(said) == 1 else None


def is_undecided(text: str) -> bool:
    """Whether a date can be read in two ways."""
    found = _NUMBERS.fullmatch(" ".join(text.split()))
    return bool(found) and isinstance(read_moment(text), Unread) and isinstance(read_moment(text, True), Moment)


def _understood(text: str, parts: dict[str, str | None], day_first: bool | None) -> Moment | Unread:
    named = parts.get("name")
    if named and not any(month.startswith(named.casefold()) for month in _MONTHS):
        return Unread(f"“{text}” names no month.", _WRITE_IT)
    order = _day_and_month(text, parts, day_first)
    if isinstance(order, Unread):
        return order
    clock = _clock(parts.get("time") or "")
    if clock is None:
        return Unread(f"“{text}” has no time that can be read.", _WRITE_IT)
    try:
        when = datetime(int(parts["year"] or 0), order[1], order[0]) + clock[0]
    except ValueError:
        return Unread(f"“{text}” is not a day of the calendar.", _WRITE_IT)
    return Moment(when.replace(tzinfo=clock[1]), bool(parts.get("time")))


def _day_and_month(text: str, parts: dict[str, str | None], day_first: bool | None) -> tuple[int, int] | Unread:
    if name := parts.get("name"):
        month = next(place for place, month in enumerate(_MONTHS, start=1) if month.startswith(name.casefold()))
        return int(parts["day"] or 0), month
    if "one" not in parts:
        return int(parts["day"] or 0), int(parts["month"] or 0)
    one, two = int(parts["one"] or 0), int(parts["two"] or 0)
    if parts["sign"] == "." or one > 12 or one == two:
        return one, two
    if two > 12:
        return two, one
    if day_first is None:
        what = f"“{text}” can be day {one} of month {two}, or day {two} of month {one}."
        return Unread(what, f"Write it as {parts['year']}-{two:02d}-{one:02d} or {parts['year']}-{one:02d}-{two:02d}.")
    return (one, two) if day_first else (two, one)


def _clock(text: str) -> tuple[timedelta, tzinfo | None] | None:
    """The time since midnight and the zone that a text such as 09:30 names; None where it names no time."""
    if not text:
        return timedelta(), None
    found = _CLOCK.fullmatch(text.strip())
    if not found:
        return None
    hour, minute, second = (int(found[name] or 0) for name in ("hour", "minute", "second"))
    if found["half"]:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if found["half"].casefold() == "pm" else 0)
    if hour > 23 or minute > 59 or second > 59:
        return None
    return timedelta(hours=hour, minutes=minute, seconds=second), _offset(found["offset"])


def _offset(text: str | None) -> tzinfo | None:
    if not text:
        return None
    if text.casefold() == "z":
        return timezone(timedelta())
    digits = text[1:].replace(":", "")
    away = timedelta(hours=int(digits[:2]), minutes=int(digits[2:]))
    return timezone(-away if text[0] == "-" else away)
