"""Moisture and loss on ignition, read. Each function says how many database queries it makes."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Exists, F, OuterRef, Q

from labresults.models import MassLoss, RequestedTerms, Sample, Subsample, Weighing
from labresults.queries.waiting import newest_open_requests
from labresults.terms import Basis, MassLossKind, SubsampleKind


@dataclass(frozen=True)
class Dish:
    """A sample whose moisture is wanted, with what is recorded of it."""

    sample: Sample
    due_on: date
    loss: MassLoss | None


def containers(numbers: Sequence[str]) -> dict[str, Subsample]:
    """The container of each sample by laboratory number, those that were struck left out; one query."""
    rows = Subsample.objects.filter(
        sample__number__in=numbers, sample__struck_at=None, kind=SubsampleKind.CONTAINER, parent=None
    )
    found: dict[str, Subsample] = {}
    for row in rows.select_related("sample").order_by("pk"):
        found.setdefault(row.sample.number, row)
    return found


def newest(kind: MassLossKind, nodes: Iterable[Subsample]) -> dict[int, MassLoss]:
    """The newest record of each node, by its key; one query."""
    rows = MassLoss.objects.filter(kind=kind, subsample__in=[node.pk for node in nodes])
    return {row.subsample_id: row for row in rows.select_related("made_by").order_by("version")}


def moisture_of_samples(sample_ids: Iterable[int], last: int | None = None) -> dict[tuple[int, str], MassLoss]:
    """The newest moisture of each sample and state of the material; one query.

    last: see nothing later than this key; None sees all.
    """
    rows = MassLoss.objects.filter(kind=MassLossKind.MOISTURE, subsample__sample__in=set(sample_ids))
    if last is not None:
        rows = rows.filter(pk__lte=last)
    related = rows.select_related("subsample", "made_by", "balance", "oven").order_by("pk")
    return {(row.subsample.sample_id, row.state): row for row in related}


def of_sample(item: Sample) -> list[MassLoss]:
    """Every record of a sample, the newest first; one query."""
    rows = MassLoss.objects.filter(subsample__sample=item)
    return list(rows.select_related("made_by", "balance", "balance_check", "oven").order_by("kind", "-pk"))


def waiting_for_moisture(most: int = 200) -> list[Dish]:
    """Samples asked for on the dry basis whose moisture is not known yet, the most urgent first; one query."""
    dry = RequestedTerms.objects.filter(
        request=OuterRef("submission__requests"), sample=OuterRef("pk"), basis=Basis.DRY
    )
    other = RequestedTerms.objects.filter(request=OuterRef("submission__requests"), sample=OuterRef("pk"))
    recorded = MassLoss.objects.filter(kind=MassLossKind.MOISTURE, subsample__sample=OuterRef("pk"))
    beside_the_mass = Weighing.objects.filter(portion__subsample__sample=OuterRef("pk"), moisture_percent__isnull=False)
    rows = (
        Sample.objects.filter(struck_at=None, submission__requests__in=newest_open_requests().values("pk"))
        .filter(Exists(dry) | (Q(submission__requests__basis=Basis.DRY) & ~Exists(other)))
        .filter(~Exists(recorded), ~Exists(beside_the_mass))
        .annotate(due_on=F("submission__requests__due_on"))
        .select_related("submission__client", "matrix")
        .order_by("due_on", "submission__number", "ordinal")[:most]
    )
    return [Dish(row, row.due_on, None) for row in rows]


def dishes(kind: MassLossKind, numbers: Sequence[str]) -> list[Dish]:
    """Samples by number in the order given, each with its newest record; unknown ones left out; three queries."""
    found = {
        row.number: row
        for row in Sample.objects.filter(number__in=numbers, struck_at=None).select_related(
            "submission__client", "matrix"
        )
    }
    nodes = containers(list(found))
    known = newest(kind, nodes.values())
    return [
        Dish(found[number], date.max, known.get(nodes[number].pk) if number in nodes else None)
        for number in dict.fromkeys(numbers)
        if number in found
    ]
