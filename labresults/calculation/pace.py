"""When work will be done at the present pace.

The pace of a station is what left it, divided by the time in which something waited there: departures over busy time
(A. B. Clarke, "Maximum likelihood estimates in a simple queue", Annals of Mathematical Statistics 28(4), 1957, pages
1036–1040; from memory). Days without work say nothing of how fast it is. What waits, divided by the pace, is how long
it takes; summed over the stations still to pass, it is the time to the end of the path.

Example: 12 samples before it and 6 of its own at Runs, 9 a day; then 6 of its own at Review, 18 a day:
18/9 + 6/18 = 2⅓ working days, so the third working day, today counted as the first.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from math import ceil

from labresults.calculation.errors import NoWorkingDay
from labresults.calculation.working_days import Calendar, due_day

LOOKED_BACK_DAYS = 20
"""Working days up to yesterday from which a pace is taken: four weeks (common practice, no source)."""

FARTHEST_WORKING_DAYS = 250
"""How far ahead is looked: about a year (common practice, no source)."""

_DAY = timedelta(days=1)


@dataclass(frozen=True)
class Stage:
    """One station still to pass. Counts are samples; `finished` left it in `busy_days`, working days (`busy_days`)."""

    station: str
    method: str  # empty where samples leave by the submission, whatever was asked for
    before: int
    own: int
    finished: int
    busy_days: float

    @property
    def a_day(self) -> float | None:
        """Samples a working day, None where nothing was finished: no pace is known."""
        return self.finished / self.busy_days if self.finished and self.busy_days else None

    @property
    def days(self) -> Fraction | None:
        """Working days until its own samples have left, exactly; None where no pace is known."""
        if not self.finished or not self.busy_days:
            return None
        return (self.before + self.own) * Fraction(self.busy_days) / self.finished


@dataclass(frozen=True)
class Forecast:
    """When the end of a path is reached. `finish` counts the stages with a known pace only: None where there is none.

    slowest: the stage that takes longest; unknown: the stages without a pace.
    """

    finish: date | None
    slowest: Stage | None
    unknown: tuple[Stage, ...]


def busy_days(spans: Iterable[tuple[date, date]], calendar: Calendar) -> float:
    """Working days on which something waited: those in any of the spans, first and last day counted in.

    A span that ends before it begins is none.
    """
    days = {first + number * _DAY for first, last in spans for number in range((last - first).days + 1)}
    return sum(map(calendar.part, sorted(days)), 0.0)


def forecast(stages: Sequence[Stage], today: date, calendar: Calendar) -> Forecast:
    """The day by whose end all stages are passed: their times summed, rounded up to half days, today the first of them.

    Nobody plans by what is further than `FARTHEST_WORKING_DAYS`: it is put there. A calendar that is not open so often
    in ten years gives the last day that a date can be.
    """
    known = [(stage, days) for stage in stages if (days := stage.days) is not None]
    unknown = tuple(stage for stage in stages if stage.days is None)
    if not known:
        return Forecast(None, None, unknown)
    slowest, _ = max(known, key=lambda pair: pair[1])
    needed = min(ceil(2 * sum(days for _, days in known)) / 2, FARTHEST_WORKING_DAYS)  # parts of days are halves
    try:
        return Forecast(due_day(today - _DAY, needed, calendar), slowest, unknown)
    except NoWorkingDay:
        return Forecast(date.max, slowest, unknown)
