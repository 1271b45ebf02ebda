"""Holding times: how long after sampling an element of a matrix may wait for its measurement, and what runs out."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from django.db.models import Exists, OuterRef

from labresults.models import Determination, HoldingTime, NotMeasuredResult, ReadingFile, Result, Sample
from labresults.queries.asked import samples_and_methods
from labresults.queries.waiting import newest_open_requests


@dataclass(frozen=True)
class Holding:
    """A holding time as it stands, with where it is from."""

    hours: float
    source: str

    def __str__(self) -> str:
        """Whole days where it is that, else hours: 28 days."""
        days, rest = divmod(self.hours, 24)
        amount, unit = (self.hours, "hour") if rest or not days else (days, "day")
        return f"{amount:g} {unit}{'' if amount == 1 else 's'}"


@dataclass(frozen=True)
class End:
    """When an element of a sample must have been measured."""

    element: str
    at: datetime
    holding: Holding


@dataclass(frozen=True)
class Late:
    """A result that was measured after the holding time had ended."""

    measured_at: datetime  # the end of what was read in its run
    end: End


@dataclass(frozen=True)
class Waits:
    """A sample that must be measured by a method before a moment, and was not yet."""

    sample: str  # laboratory number
    submission: str
    method: str  # code
    ends: tuple[End, ...]  # of its elements, the first end first

    @property
    def ends_at(self) -> datetime:
        """When the first of its elements must have been measured."""
        return self.ends[0].at


@dataclass(frozen=True)
class Entry:
    """A holding time as its list shows it."""

    row: HoldingTime
    time: Holding
    stands: bool  # no newer one took its place


Holdings = Mapping[str, Mapping[str | None, Holding]]
"""By matrix, then by element; under None stands what holds for every element without a row of its own."""


def holding_times() -> Holdings:
    """The holding times that stand; one query."""
    found: dict[str, dict[str | None, Holding]] = {}
    rows = HoldingTime.objects.order_by("pk").values_list("matrix__name", "element_id", "hours", "source")
    for matrix, element, hours, source in rows:
        found.setdefault(matrix, {})[element] = Holding(hours, source)
    return found


def ends_by(sampled_at: datetime, matrix: str, elements: Collection[str], holdings: Holdings) -> list[End]:
    """When the elements of a sample must have been measured, the first end first; elements without a time are left out.

    No query.
    """
    of_matrix = holdings.get(matrix, {})
    held = [(element, of_matrix.get(element) or of_matrix.get(None)) for element in elements]
    ends = [End(element, sampled_at + timedelta(hours=h.hours), h) for element, h in held if h]
    return sorted(ends, key=lambda end: end.at)


def ends_in_words(ends: Iterable[End], zone: tzinfo) -> str:
    """Ends as people read them: "Hg 28 days (40 CFR 136.3, table II), until 2026-11-14 08:00"."""
    together: dict[tuple[datetime, Holding], list[str]] = {}
    for end in ends:
        together.setdefault((end.at, end.holding), []).append(end.element)
    return "; ".join(
        f"{', '.join(elements)} {holding} ({holding.source}), until {at.astimezone(zone):%Y-%m-%d %H:%M}"
        for (at, holding), elements in together.items()
    )


def holding_ends(before: datetime) -> list[Waits]:
    """Open samples that were not measured by a method yet and whose holding time ends before a moment, soonest first.

    Three queries, one where no holding time is known. Only samples whose sampling time is known can be judged.
    """
    holdings = holding_times()
    if not holdings:
        return []
    measured = Result.objects.filter(
        sample=OuterRef("pk"), is_candidate=True, evaluation__run__method_version__method=OuterRef("method")
    )
    in_words = NotMeasuredResult.objects.filter(sample=OuterRef("pk"), method=OuterRef("method"), element__isnull=True)
    open_samples = (
        samples_and_methods(newest_open_requests().values("pk"))
        .filter(~Exists(measured), ~Exists(in_words), sampled_at__isnull=False, matrix__name__in=holdings)
        .values_list("number", "submission__number", "code", "matrix__name", "sampled_at", "method")
    )
    rows = list(open_samples)
    elements = _elements({row[-1] for row in rows})
    waits = []
    for number, submission, code, matrix, sampled_at, method in rows:
        ends = [e for e in ends_by(sampled_at, matrix, elements.get(method, ()), holdings) if e.at < before]
        if ends:
            waits.append(Waits(number, submission, code, tuple(ends)))
    return sorted(waits, key=lambda wait: (wait.ends_at, wait.sample, wait.method))


def entries() -> list[Entry]:
    """Every holding time that was entered, by matrix, the newest of each element first; one query."""
    rows = HoldingTime.objects.select_related("matrix", "element", "made_by")
    found, seen = [], set()
    for row in rows.order_by("matrix__name", "element__symbol", "-pk"):
        key = (row.matrix_id, row.element_id)
        found.append(Entry(row, Holding(row.hours, row.source), key not in seen))
        seen.add(key)
    return found


def _elements(methods: Collection[int]) -> dict[int, list[str]]:
    """Elements of the newest version of methods, by the key of the method; one query."""
    found: dict[int, dict[int, list[str]]] = {}
    rows = Determination.objects.filter(method_version__method__in=methods).order_by("method_version__version")
    for method, version, element in rows.values_list("method_version__method", "method_version", "element_id"):
        found.setdefault(method, {}).setdefault(version, []).append(element)
    return {method: list(versions.values())[-1] for method, versions in found.items()}


def measured_late(
    samples: Sequence[Sample], results: Mapping[tuple[int, int, str], Result]
) -> dict[tuple[int, int, str], Late]:
    """Results (by sample, method and element) that were measured after their holding time; three queries at most.

    samples: with their matrix. Only samples whose sampling time is known can be judged.
    """
    sampled = {sample.pk: sample for sample in samples if sample.sampled_at}
    ours = {key: result for key, result in results.items() if key[0] in sampled}
    holdings = holding_times() if ours else {}
    if not holdings:
        return {}
    runs = {result.evaluation.run_id for result in ours.values()}
    files = ReadingFile.objects.filter(run__in=runs).order_by("measured_to")
    measured = dict(files.values_list("run_id", "measured_to"))
    late = {}
    for key, result in ours.items():
        sample, at = sampled[key[0]], measured.get(result.evaluation.run_id)
        ends = ends_by(sample.sampled_at, sample.matrix.name, [key[2]], holdings) if at and sample.sampled_at else []
        if ends and at and ends[0].at < at:
            late[key] = Late(at, ends[0])
    return late
