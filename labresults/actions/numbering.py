"""Numbers that are given once and never again: the series, the year, a counter."""

from datetime import datetime

from django.db.models import F

from labresults.models import Laboratory, NumberSeries

_DIGITS = {"S": 4, "B": 4, "R": 4, "C": 4, "N": 4}
_SAMPLE_DIGITS = 5


def next_number(series: str, at: datetime) -> str:
    """The next number of a series ("S", "B", "R", "C", "N") in the year of `at`, e.g. R26-0436. Under the pen."""
    return f"{series}{at:%y}-{_advance(series, at, 1):0{_DIGITS[series]}d}"


def next_sample_numbers(count: int, at: datetime) -> list[str]:
    """The next `count` laboratory numbers, e.g. KF26-04112, without a gap between them. Under the writer's lock."""
    prefix = Laboratory.objects.values_list("prefix", flat=True).get(pk=1)
    last = _advance("L", at, count)
    return [f"{prefix}{at:%y}-{number:0{_SAMPLE_DIGITS}d}" for number in range(last - count + 1, last + 1)]


def _advance(series: str, at: datetime, count: int) -> int:
    """Move the counter on and return its new last number. The writer's lock keeps two from the same one."""
    row = NumberSeries.objects.filter(series=series, year=at.year)
    if not row.update(last=F("last") + count):
        return NumberSeries.objects.create(series=series, year=at.year, last=count).last
    return row.values_list("last", flat=True).get()
