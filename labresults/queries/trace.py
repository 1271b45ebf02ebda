"""From a result back to everything that it stands on, and forward from anything to what stands on it.

`trace` makes about 28 queries; the calculation is done again from what is stored, never copied from the result.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Exists, OuterRef, Q, QuerySet, Subquery

from labresults.calculation.budget import Contribution
from labresults.calculation.evaluation import evaluate
from labresults.calculation.explain import explain
from labresults.calculation.run import LineSpecification, Step
from labresults.models import (
    AuditEvent,
    Calibration,
    ControlOutcome,
    EquipmentCheck,
    Evaluation,
    LimitEstimate,
    Lot,
    MassLoss,
    Position,
    PreparationBatch,
    Reading,
    ReadingFile,
    Result,
    ReviewedResult,
    Selection,
    TestPortion,
    Weighing,
)
from labresults.queries.results import Standing, failures_of, newest_decisions
from labresults.queries.run_portions import seen_by
from labresults.queries.run_tables import LoadedRun, load
from labresults.queries.trace_numbers import budget_of, limits_of
from labresults.terms import OF_POSITIONS, OF_READINGS


@dataclass(frozen=True)
class StandsOn:
    """What else stands on one of these: how many runs, portions and samples; of a lot, runs only."""

    kind: str
    name: str
    runs: int
    portions: int
    samples: int


@dataclass(frozen=True)
class Chosen:
    """The candidate that stands, by which rule, and why where a person chose it."""

    result_id: int
    rule: str
    reason: str


@dataclass(frozen=True)
class Trace:
    """Everything behind one result. `same`: the calculation done again gave the stored value, bit for bit."""

    result: Result
    steps: tuple[Step, ...]
    recomputed: float | None
    same: bool
    budget: tuple[Contribution, ...]  # where its uncertainty comes from
    line: LineSpecification | None  # as the method version uses it
    limits: list[LimitEstimate]  # those that its limits were taken from, where they were estimated
    evaluation: Evaluation
    reading: Reading | None  # none where no file has this line yet
    file: ReadingFile | None
    calibration: Calibration | None  # none where the instrument gave concentrations
    standards: list[Position]  # positions of the curve, each with its lot and that lot's ancestors
    lots: list[Lot]
    weighing: Weighing | None
    dried: MassLoss | None  # where its moisture comes from, when the weighing names none
    balance_check: EquipmentCheck | None  # the newest one before the weighing
    batch_reagents: list[Lot]
    selection: Chosen | None
    candidates: list[Result]
    review: ReviewedResult | None
    outcomes: list[ControlOutcome]
    failures: Standing
    stands_on: list[StandsOn]
    printed: list[Any]  # lines of certificates, the newest first
    events: list[AuditEvent]


def trace(result_pk: int) -> Trace:
    """Walk back from a result. Raises Result.DoesNotExist."""
    result = Result.objects.select_related(
        "evaluation__made_by",
        "evaluation__run__made_by",
        "evaluation__run__instrument",
        "evaluation__run__method_version__method",
        "position__portion__batch__made_by",
        "position__portion__subsample",
        "sample__submission__client",
        "sample__submission__received_by",
        "sample__matrix",
        "line",
    ).get(pk=result_pk)
    evaluation = result.evaluation
    loaded = _as_evaluated(evaluation)
    steps, recomputed = _again(result, loaded)
    line = next((each for each in loaded.method.lines if each.key == str(result.line)), None)
    reading = (
        Reading.objects.filter(run=evaluation.run, position=result.position, line=result.line)
        .select_related("file__made_by", "file__layout")
        .defer("file__content")
        .first()
    )
    calibration = Calibration.objects.filter(
        evaluation=evaluation, line=result.line, block=result.position.block
    ).first()
    standards = [loaded.positions[point[0]] for point in calibration.points] if calibration else []
    lots, reagents = _lots(standards, result.position.portion)
    weighing = loaded.known.weighings.get(result.position.portion_id or 0)
    outcomes = _outcomes(result)
    printed = _printed(result)
    candidates = _candidates(result)
    return Trace(
        result=result,
        steps=steps,
        recomputed=recomputed,
        same=recomputed == result.value,
        budget=budget_of(result, loaded),
        line=line,
        limits=limits_of(result, line),
        evaluation=evaluation,
        reading=reading,
        file=reading.file if reading else None,
        calibration=calibration,
        standards=standards,
        lots=lots,
        weighing=weighing,
        dried=loaded.known.dried(result.position.portion),
        balance_check=_balance_check(weighing),
        batch_reagents=reagents,
        selection=_chosen(candidates),
        candidates=candidates,
        review=newest_decisions([result.pk]).get(result.pk),
        outcomes=outcomes,
        failures=failures_of([result], outcomes=outcomes)[result.pk],
        stands_on=_stands_on(loaded, weighing, lots),
        printed=printed,
        events=_events(result, printed),
    )


def _as_evaluated(evaluation: Evaluation) -> LoadedRun:
    """The run with its readings and portions as its evaluation saw them."""
    return load(
        evaluation.run,
        left_out=[(number, line) for number, line in evaluation.left_out],
        seen=seen_by(evaluation),
        rules=evaluation.rules,
    )


def _again(result: Result, loaded: LoadedRun) -> tuple[tuple[Step, ...], float | None]:
    """Compute the whole run again, and write this result's calculation out."""
    evaluated = evaluate(loaded.table, loaded.method)
    place = (result.position.number, str(result.line))
    found = next((r for r in evaluated.results if (r.position, r.line) == place), None)
    return explain(loaded.table, loaded.method, evaluated, *place), found.value if found else None


def _balance_check(weighing: Weighing | None) -> EquipmentCheck | None:
    """The check that stood when it was weighed; asked for where the weighing does not name it itself."""
    if weighing is None or weighing.balance is None or weighing.balance_check is not None:
        return weighing.balance_check if weighing else None
    return weighing.balance.checks.filter(done_on__lte=weighing.observed_at.date()).order_by("-done_on", "-pk").first()


def _lots(standards: Sequence[Position], portion: TestPortion | None) -> tuple[list[Lot], list[Lot]]:
    """The lots of a curve with what they were made from, and the reagents of a batch; each with its number of runs.

    One query, and one more for each generation beyond the second.
    """
    on_curve = {position.lot_id for position in standards}
    in_batch = PreparationBatch.reagents.through.objects.filter(
        lot=OuterRef("pk"), preparationbatch=portion.batch_id if portion else None
    )
    rows = list(
        Lot.objects.annotate(is_reagent=Exists(in_batch), run_count=Count("positions__run", distinct=True))
        .filter(Q(pk__in=on_curve - {None}) | Q(is_reagent=True))
        .select_related("material", "made_from__material")
        .order_by("number")
    )
    curve = _with_ancestors([lot for lot in rows if lot.pk in on_curve])
    return curve, [lot for lot in rows if lot.is_reagent]


def _with_ancestors(lots: Sequence[Lot]) -> list[Lot]:
    """The lots and what they were made from; a query for each generation that is not here yet."""
    found = {lot.pk: lot for lot in lots} | {lot.made_from.pk: lot.made_from for lot in lots if lot.made_from}
    generation = list(found.values())
    while parents := {lot.made_from_id for lot in generation if lot.made_from_id} - set(found):
        generation = list(Lot.objects.filter(pk__in=parents).select_related("material"))
        found |= {lot.pk: lot for lot in generation}
    return sorted(found.values(), key=lambda lot: lot.number)


def _candidates(result: Result) -> list[Result]:
    """Every result of this element in this sample by this method, the oldest first; `superseded`: evaluated anew."""
    later = Evaluation.objects.filter(run=OuterRef("evaluation__run"), version__gt=OuterRef("evaluation__version"))
    newest = Selection.objects.filter(result=OuterRef("pk")).order_by("-pk")
    method = result.evaluation.run.method_version.method_id
    if result.sample_id is None:
        return []
    return list(
        Result.objects.filter(
            sample=result.sample_id,
            element=result.element_id,
            is_candidate=True,
            evaluation__run__method_version__method=method,
        )
        .select_related("evaluation__run", "position", "line")
        .annotate(superseded=Exists(later), **{name: Subquery(newest.values(field)[:1]) for name, field in _CHOSEN})
        .order_by("pk")
    )


_CHOSEN = (("chosen_in", "pk"), ("chosen_by", "rule"), ("chosen_why", "reason"))


def _chosen(candidates: Sequence[Any]) -> Chosen | None:
    """The candidate of the newest selection; no query."""
    chosen = max((each for each in candidates if each.chosen_in), key=lambda each: each.chosen_in, default=None)
    return Chosen(chosen.pk, chosen.chosen_by, chosen.chosen_why) if chosen else None


def _outcomes(result: Result) -> list[ControlOutcome]:
    """Control samples judged at this line in this evaluation, and what speaks for the position at every line."""
    whole = Q(measure__in=OF_POSITIONS, position=result.position_id)
    return list(
        ControlOutcome.objects.filter(Q(line=result.line_id) | whole, evaluation=result.evaluation_id)
        .exclude(~Q(position=result.position_id), measure__in=OF_READINGS)
        .select_related(
            "position__lot__material",
            "position__portion__subsample__sample",
            "line",
            "criterion",
            "acceptance__made_by",
        )
        .order_by("position__number", "pk")
    )


def _stands_on(loaded: LoadedRun, weighing: Weighing | None, lots: Sequence[Lot]) -> list[StandsOn]:
    """The balance on that day, the lots of the curve, and the run itself; one query."""
    found = []
    if weighing and weighing.balance:
        same = Weighing.objects.filter(balance=weighing.balance, observed_at__date=weighing.observed_at.date())
        weighed = Position.objects.filter(portion__in=same.values("portion"))
        found.append(_count("balance that day", weighing.balance.code, weighed))
    found += [StandsOn("lot", lot.number, lot.run_count, 0, 0) for lot in lots if getattr(lot, "run_count", 0)]
    run = next(iter(loaded.positions.values())).run
    portions = {position.portion_id for position in loaded.positions.values()} - {None}
    samples = set(loaded.sample_ids.values()) - {None}
    return [*found, StandsOn("run", run.number, 1, len(portions), len(samples))]


def _count(kind: str, name: str, positions: QuerySet[Position]) -> StandsOn:
    counts = positions.aggregate(
        runs=Count("run", distinct=True),
        portions=Count("portion", distinct=True),
        samples=Count("portion__subsample__sample", distinct=True),
    )
    return StandsOn(kind, name, **counts)


def _printed(result: Result) -> list[Any]:
    """Lines of certificates that print this result, the newest first; one query."""
    lines: Any = result.printed  # certificates stand above: known by its reverse name
    related = lines.select_related("certificate__rule_set", "certificate__made_by", "certificate__withdrawal")
    return list(related.defer("certificate__document").order_by("-pk"))


def _events(result: Result, printed: Sequence[Any]) -> list[AuditEvent]:
    """Events about the run, the batch, the sample, its submission and its certificates, the oldest first."""
    subjects = [("run", result.evaluation.run.number), *(("certificate", str(line.certificate)) for line in printed)]
    if result.position.portion:
        subjects.append(("batch", result.position.portion.batch.number))
    if result.sample:
        subjects += [("sample", result.sample.number), ("submission", result.sample.submission.number)]
    names = [name for _, name in subjects]
    rows = AuditEvent.objects.filter(subject__in=names).select_related("person").order_by("seq")
    return [row for row in rows if (row.subject_kind, row.subject) in subjects]
