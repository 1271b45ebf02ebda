"""Forward: from one doubtful thing to the results that it touched. `forward_pages` says which documents carry them.

What is touched are results of samples that stand in the newest evaluation of their run, or that a certificate prints.
Each way from the thing to a result has its own clock, by which a period narrows it: a weighing when it was read, a
batch when it was begun, a run when it was measured, what a person did when they did it. A calibration standard or a
check speaks for its whole run, what is put into a batch for the whole batch, a balance only for what it weighed.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet

from labresults.models import (
    Acceptance,
    AuditEvent,
    ControlOutcome,
    DiscardedPortion,
    Equipment,
    Evaluation,
    FireCharge,
    LetStand,
    Lot,
    MassLoss,
    Material,
    Method,
    MethodVersion,
    Person,
    Position,
    PreparationBatch,
    ReadingFile,
    Result,
    ReviewedResult,
    Run,
    Sample,
    Selection,
    Submission,
    Subsample,
    TestPortion,
    Weighing,
)
from labresults.queries.issued import is_printed
from labresults.queries.review_overrides import stood_on_overrides
from labresults.terms import DoubtKind, Role

Rows = QuerySet[Any]


class NotThere(LookupError):
    """The thing that was named is not in the database; says which."""


@dataclass(frozen=True)
class Doubt:
    """What is doubtful. A period includes both its ends; `element` keeps only results of one element."""

    kind: DoubtKind
    name: str = ""
    since: datetime | None = None
    until: datetime | None = None
    element: str = ""

    def during(self, clock: str) -> Q:
        """The period on one clock, a field of the rows that are asked."""
        within = Q()
        if self.since:
            within &= Q(**{f"{clock}__gte": self.since})
        if self.until:
            within &= Q(**{f"{clock}__lte": self.until})
        return within

    def measured(self) -> Q:
        """The period as a condition on runs: something of it was measured then."""
        within = Q()
        if self.since:
            within &= Q(pk__in=ReadingFile.objects.filter(measured_to__gte=self.since).values("run"))
        if self.until:
            within &= Q(pk__in=ReadingFile.objects.filter(measured_from__lte=self.until).values("run"))
        return within


@dataclass(frozen=True)
class Ways:
    """What lies between the thing and the results: each a query of its own, joined by nothing. `lots`: the thing's."""

    runs: tuple[Rows, ...] = ()
    batches: tuple[Rows, ...] = ()
    portions: tuple[Rows, ...] = ()
    samples: tuple[Rows, ...] = ()
    evaluations: tuple[Rows, ...] = ()
    results: tuple[Rows, ...] = ()
    lots: tuple[Lot, ...] = field(default=())


def ways_from(doubt: Doubt) -> Ways:
    """What stands on the thing directly; one to three queries. Raises NotThere."""
    return _WAYS[doubt.kind](doubt)


def touched_results(doubt: Doubt, ways: Ways | None = None) -> QuerySet[Result]:
    """Results that stand on a doubtful thing, newest first; not asked yet. Queries and errors as `ways_from`."""
    ways = ways or ways_from(doubt)
    portions = _any_of(TestPortion, {"batch": ways.batches, "pk": ways.portions, "subsample__sample": ways.samples})
    positions = _any_of(Position, {"run": ways.runs, "portion": (portions,) if portions is not None else ()})
    found = _any_of(
        Result,
        {
            "position": (positions,) if positions is not None else (),
            "evaluation": ways.evaluations,
            "pk": ways.results,
        },
    )
    if found is None:
        return Result.objects.none()
    newer = Evaluation.objects.filter(run=OuterRef("evaluation__run"), version__gt=OuterRef("evaluation__version"))
    rows: QuerySet[Result] = found.filter(is_candidate=True, sample__isnull=False)
    rows = rows.filter(~Exists(newer) | is_printed())
    return (rows.filter(element=doubt.element) if doubt.element else rows).order_by("-pk")


def lots_made_from(origins: list[Lot]) -> list[Lot]:
    """These lots and every lot made from them, however far; one query."""
    made: dict[int, list[Lot]] = {}
    for row in Lot.objects.filter(made_from__isnull=False).select_related("material").order_by("pk"):
        made.setdefault(row.made_from_id or 0, []).append(row)
    found = {row.pk: row for row in origins}
    generation = origins
    while generation:
        generation = [row for origin in generation for row in made.get(origin.pk, []) if row.pk not in found]
        found |= {row.pk: row for row in generation}
    return list(found.values())


def _any_of(model: Any, by: Mapping[str, tuple[Rows, ...]]) -> QuerySet[Any] | None:
    """Rows of a table that any of the queries leads to, by the field that it gives keys of; None without a query."""
    conditions = [Q(**{f"{name}__in": rows.values("pk")}) for name, queries in by.items() for rows in queries]
    if not conditions:
        return None
    together = conditions[0]
    for condition in conditions[1:]:
        together |= condition
    return model.objects.filter(together)  # type: ignore[no-any-return]


def _named(model: Any, field_name: str, name: str) -> Any:
    found = model.objects.filter(**{field_name: name}).first()
    if found is None:
        raise NotThere(f"There is no {model._meta.verbose_name} {name}.")
    return found


def _from_lot(doubt: Doubt) -> Ways:
    return _from_lots(doubt, [_named(Lot, "number", doubt.name)])


def _from_material(doubt: Doubt) -> Ways:
    material = _named(Material, "code", doubt.name)
    return _from_lots(doubt, list(material.lots.select_related("material").order_by("pk")))


def _from_lots(doubt: Doubt, origins: list[Lot]) -> Ways:
    lots = lots_made_from(origins)
    keys = [row.pk for row in lots]
    in_tubes = TestPortion.objects.filter(Q(lot__in=keys) | Q(weighings__spike_lot__in=keys))
    fired = FireCharge.objects.filter(Q(flux_lot__in=keys) | Q(collector_lot__in=keys), doubt.during("made_at"))
    with_standard = Weighing.objects.filter(doubt.during("observed_at"), internal_standard_lot__in=keys)
    begun = PreparationBatch.objects.filter(doubt.during("made_at"))
    return Ways(
        runs=(
            Run.objects.filter(
                doubt.measured(), pk__in=Position.objects.filter(Q(lot__in=keys) | Q(added_lot__in=keys)).values("run")
            ),
        ),
        batches=(
            begun.filter(
                pk__in=PreparationBatch.reagents.through.objects.filter(lot__in=keys).values("preparationbatch")
            ),
            begun.filter(pk__in=in_tubes.values("batch")),
        ),
        portions=tuple(TestPortion.objects.filter(pk__in=rows.values("portion")) for rows in (fired, with_standard)),
        lots=tuple(lots),
    )


def _from_equipment(doubt: Doubt) -> Ways:
    item = _named(Equipment, "code", doubt.name)
    weighed = Weighing.objects.filter(doubt.during("observed_at"), balance=item)
    heated = MassLoss.objects.filter(doubt.during("observed_at")).filter(Q(balance=item) | Q(oven=item))
    crushed = Subsample.objects.filter(doubt.during("made_at"), equipment=item)
    dried = Subsample.objects.filter(pk__in=heated.values("subsample"))
    return Ways(
        runs=(Run.objects.filter(doubt.measured(), instrument=item),),
        portions=(TestPortion.objects.filter(pk__in=weighed.values("portion")),),
        samples=tuple(Sample.objects.filter(pk__in=rows.values("sample")) for rows in (dried, crushed)),
    )


def _from_run(doubt: Doubt) -> Ways:
    run = _named(Run, "number", doubt.name)
    return Ways(runs=(Run.objects.filter(doubt.measured(), pk=run.pk),))


def _from_method(doubt: Doubt) -> Ways:
    code, _, version = doubt.name.partition(" v")
    method = _named(Method, "code", code)
    versions = MethodVersion.objects.filter(method=method)
    if version:
        versions = versions.filter(version=int(version) if version.isdecimal() else -1)
        if not versions.exists():
            raise NotThere(f"There is no version {version} of method {code}.")
    return Ways(runs=(Run.objects.filter(doubt.measured(), method_version__in=versions),))


def _from_batch(doubt: Doubt) -> Ways:
    batch = _named(PreparationBatch, "number", doubt.name)
    return Ways(batches=(PreparationBatch.objects.filter(doubt.during("made_at"), pk=batch.pk),))


def _from_person(doubt: Doubt) -> Ways:
    """What a person did to the work itself: all that keeps them from approving it (`signed.own_work`), and more.

    Lots that they made and checks of equipment are asked for by themselves.
    """
    person = _named(Person, "username", doubt.name)
    did, read = doubt.during("made_at"), doubt.during("observed_at")
    mine = Q(made_by=person)
    loaded = ReadingFile.objects.filter(did, mine)
    heated = MassLoss.objects.filter(read, mine)
    allowed = stood_on_overrides(person, doubt.during)
    worked = (Weighing.objects.filter(read, mine), FireCharge.objects.filter(did, mine), *allowed.portions)
    again = DiscardedPortion.objects.filter(did, mine, replaced_by__isnull=False)
    stood = LetStand.objects.filter(did, mine)
    accepted = ControlOutcome.objects.filter(acceptance__in=Acceptance.objects.filter(did, mine))
    evaluated = Evaluation.objects.filter(did, mine)
    chosen = Selection.objects.filter(did, mine).exclude(reason="")
    signed = ReviewedResult.objects.filter(doubt.during("review__made_at"), review__made_by=person)
    received = Submission.objects.filter(doubt.during("received_at"), received_by=person)
    return Ways(
        runs=(
            Run.objects.filter(did, mine),
            *(Run.objects.filter(pk__in=rows.values("run")) for rows in (loaded, evaluated)),
            *allowed.runs,
        ),
        batches=(*_batches_of(person, doubt, accepted), *allowed.batches),
        portions=(
            *(TestPortion.objects.filter(pk__in=rows.values("portion")) for rows in worked),
            TestPortion.objects.filter(pk__in=again.values("replaced_by")),
        ),
        samples=(
            Sample.objects.filter(submission__in=received),
            *(Sample.objects.filter(subsamples__in=rows.values("subsample")) for rows in (heated, *allowed.dried)),
            Sample.objects.filter(subsamples__in=Subsample.objects.filter(did, mine, parent__isnull=False)),
        ),
        evaluations=(Evaluation.objects.filter(pk__in=accepted.values("evaluation")),),
        results=(
            *(Result.objects.filter(pk__in=rows.values("result")) for rows in (chosen, signed)),
            Result.objects.filter(position__in=stood.values("position")),
        ),
    )


def _batches_of(person: Person, doubt: Doubt, accepted: Rows) -> tuple[Rows, ...]:
    """Batches of which a person decided as a whole: what is weighed or accepted beside samples speaks of them all."""
    began = PreparationBatch.objects.filter(doubt.during("made_at"), made_by=person)
    added = AuditEvent.objects.filter(doubt.during("at"), person=person, act="add_reagents", subject_kind="batch")
    beside = Weighing.objects.filter(doubt.during("observed_at"), made_by=person).exclude(portion__role=Role.SAMPLE)
    return (
        began,
        PreparationBatch.objects.filter(number__in=added.values("subject")),
        PreparationBatch.objects.filter(pk__in=beside.values("portion__batch")),
        PreparationBatch.objects.filter(pk__in=accepted.values("position__portion__batch")),
    )


def _from_period(doubt: Doubt) -> Ways:
    if not doubt.since and not doubt.until:
        raise NotThere("Say from when or until when.")
    return Ways(runs=(Run.objects.filter(doubt.measured()),))


_WAYS: Mapping[DoubtKind, Callable[[Doubt], Ways]] = {
    DoubtKind.LOT: _from_lot,
    DoubtKind.MATERIAL: _from_material,
    DoubtKind.EQUIPMENT: _from_equipment,
    DoubtKind.RUN: _from_run,
    DoubtKind.METHOD: _from_method,
    DoubtKind.BATCH: _from_batch,
    DoubtKind.PERSON: _from_person,
    DoubtKind.PERIOD: _from_period,
}
