"""What was let go by name in a year, and by whom, for the yearly review. Says its database queries."""

from collections import Counter
from dataclasses import dataclass
from datetime import UTC, datetime

from django.db.models import QuerySet

from labresults.models import Acceptance, LetStand, Override, Person, Review, Selection

KINDS = (
    "expired lots and overdue equipment allowed",
    "failed control samples accepted",
    "proposed repeats let stand",
    "results chosen in place of the rule",
    "own work approved under the exception policy",
)
"""What a person may let go on by name, in the order of the columns."""


@dataclass(frozen=True)
class Exceptions:
    """One person's exceptions, a count for each of `KINDS`."""

    person: str
    counts: tuple[int, ...]

    @property
    def total(self) -> int:
        """All of them."""
        return sum(self.counts)


def exceptions_of(year: int) -> list[Exceptions]:
    """Exceptions of a year (UTC) by person, who has most of them first; six queries."""
    rows: list[QuerySet] = [  # type: ignore[type-arg]
        Override.objects.all(),
        Acceptance.objects.all(),
        LetStand.objects.all(),
        Selection.objects.exclude(reason=""),
        Review.objects.exclude(exception=""),
    ]
    counted = [_by_person(of, year) for of in rows]
    people = {row.pk: str(row) for row in Person.objects.filter(pk__in={key for one in counted for key in one})}
    found = [Exceptions(people[key], tuple(one[key] for one in counted)) for key in people]
    return sorted(found, key=lambda row: (-row.total, row.person))


def _by_person(rows: "QuerySet", year: int) -> Counter[int]:  # type: ignore[type-arg]
    start, end = datetime(year, 1, 1, tzinfo=UTC), datetime(year + 1, 1, 1, tzinfo=UTC)
    made = rows.order_by().filter(made_at__gte=start, made_at__lt=end)
    return Counter(made.values_list("made_by", flat=True))
