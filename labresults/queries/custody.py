"""Who has the samples, where and until when; how long they are kept. Each function says how many queries it makes."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Exists, F, OuterRef, Q, QuerySet, Subquery

from labresults.models import CustodyEntry, Laboratory, Person, Request, Sample, Submission
from labresults.queries.people import laboratory
from labresults.roles import STAFF
from labresults.terms import Custody

GONE = frozenset({Custody.RETURNED, Custody.DISPOSED})
"""After one of these the laboratory has the sample no more."""


@dataclass(frozen=True)
class Holding:
    """One entry of custody, from when to when; `until` is None for the one that stands."""

    entry: CustodyEntry
    until: datetime | None

    @property
    def is_gone(self) -> bool:
        """Whether the sample left the laboratory with it."""
        return self.entry.what in GONE


@dataclass(frozen=True)
class Place:
    """How many samples of a submission stand in one place with one person, since when the first of them."""

    what: str
    place: str
    held_by: str
    samples: int
    since: datetime


@dataclass(frozen=True)
class Kept:
    """Samples of a submission that are still here though the day until which they are kept is past."""

    submission: Submission
    until: date
    samples: int
    places: str


def held(item: Sample) -> list[Holding]:
    """Who had a sample, where, from when to when, oldest first; one query."""
    entries = list(item.custody.select_related("held_by", "made_by").order_by("since", "pk"))
    ends = [entry.since for entry in entries[1:]]
    return [Holding(entry, until) for entry, until in zip(entries, [*ends, None], strict=True)]


def places_of(delivery: Submission) -> list[Place]:
    """Where the samples of a submission are now, the largest group first; one query."""
    standing = newest_entries().filter(sample__submission=delivery, sample__struck_at=None).select_related("held_by")
    counts: Counter[tuple[str, str, str]] = Counter()
    since: dict[tuple[str, str, str], datetime] = {}
    for entry in standing.order_by("-since"):
        key = (str(entry.what), entry.place, str(entry.held_by))
        counts[key] += 1
        since[key] = entry.since
    return [Place(*key, samples=count, since=since[key]) for key, count in counts.most_common()]


def newest_entries() -> QuerySet[CustodyEntry]:
    """The entry of each sample that stands; part of another query."""
    later = CustodyEntry.objects.filter(sample=OuterRef("sample")).filter(
        Q(since__gt=OuterRef("since")) | Q(since=OuterRef("since"), pk__gt=OuterRef("pk"))
    )
    return CustodyEntry.objects.filter(~Exists(later))


def kept_until(submission: Submission, request: Request) -> date:
    """The last day on which the samples are kept: so many days after the day on which they are due.

    As agreed for this submission, else with its client, else as the laboratory does; at most one query, and one more
    where the client was not read yet.
    """
    return request.due_on + timedelta(days=_kept_days(submission, None))


def kept_past(today: date, most: int = 200) -> list[Kept]:
    """Samples that may be disposed of: kept until a day before today and still here, oldest first; three queries.

    Those that were struck are left out: they may never have been here.
    """
    home = laboratory()
    newest = Request.objects.filter(submission=OuterRef("pk")).order_by("-version").values("due_on")[:1]
    here = Sample.objects.filter(~Exists(_gone(OuterRef("pk"))), submission=OuterRef("pk"), struck_at=None)
    open_ones = (
        Submission.objects.filter(Exists(here))
        .select_related("client")
        .annotate(due_on=Subquery(newest))
        .filter(due_on__lt=today)
        .order_by("due_on", "pk")
    )
    until = {row: row.due_on + timedelta(days=_kept_days(row, home)) for row in open_ones}
    past = sorted((row for row, day in until.items() if day < today), key=lambda row: until[row])[:most]
    places: dict[int, Counter[str]] = {}
    entries = newest_entries().filter(sample__submission__in=past, sample__struck_at=None).exclude(what__in=GONE)
    for submission_id, place in entries.values_list("sample__submission_id", "place"):
        places.setdefault(submission_id, Counter())[place] += 1
    return [Kept(row, until[row], places[row.pk].total(), _listed(places[row.pk])) for row in past]


def samples_named(names: Sequence[str]) -> tuple[list[Sample], list[str]]:
    """Samples by their numbers, or by that of a submission all that are still here, in the order of the names.

    Returns them, each once, and the names that are neither; two queries.
    """
    wanted = {name: name.strip().upper() for name in names if name.strip()}
    numbers = {*wanted.values(), *(name.strip() for name in names)}
    with_terms = Sample.objects.select_related("submission__client", "matrix")
    singly = {row.number.upper(): [row] for row in with_terms.filter(number__in=numbers)}
    together: dict[str, list[Sample]] = {}
    whole = with_terms.filter(~Exists(_gone(OuterRef("pk"))), submission__number__in=numbers, struck_at=None)
    for row in whole.order_by("ordinal"):
        together.setdefault(row.submission.number.upper(), []).append(row)
    found = {row.pk: row for name in wanted.values() for row in singly.get(name, together.get(name, []))}
    unknown = [name for name, upper in wanted.items() if upper not in singly and upper not in together]
    return list(found.values()), unknown


def entries_that_stand(samples: Iterable[Sample]) -> dict[int, CustodyEntry]:
    """The newest entry of each sample, by the sample's key; one query."""
    rows = newest_entries().filter(sample__in=[sample.pk for sample in samples])
    return {row.sample_id: row for row in rows.select_related("held_by")}


def ends_of_keeping(samples: Iterable[Sample]) -> dict[int, date]:
    """The last day on which each sample is kept, by the sample's key; two queries."""
    home = laboratory()
    submissions = {sample.submission_id: sample.submission for sample in samples}
    due = {}
    for request in Request.objects.filter(submission__in=list(submissions)).order_by("version"):
        due[request.submission_id] = request.due_on
    return {
        sample.pk: due[sample.submission_id] + timedelta(days=_kept_days(sample.submission, home))
        for sample in samples
        if sample.submission_id in due
    }


def people_here() -> QuerySet[Person]:
    """People of the laboratory who may hold samples, by name; one query."""
    return (
        Person.objects.filter(is_active=True, groups__name__in=STAFF)
        .distinct()
        .order_by("last_name", "first_name", "pk")
    )


def _gone(sample: OuterRef | F) -> QuerySet[CustodyEntry]:
    """Entries with which a sample left the laboratory: nothing follows them."""
    return CustodyEntry.objects.filter(sample=sample, what__in=GONE)


def _kept_days(submission: Submission, home: Laboratory | None) -> int:
    """Days after the due day, from the nearest agreement."""
    for agreed in (submission.kept_days, submission.client.kept_days):
        if agreed is not None:
            return agreed
    known = home or laboratory()
    return known.kept_days if known else 0


def _listed(places: Counter[str]) -> str:
    return ", ".join(f"{place} ({count})" if len(places) > 1 else place for place, count in places.most_common())
