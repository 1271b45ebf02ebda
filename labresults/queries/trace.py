"""From a result back to everything that it stands on, and forward from anything to what stands on it.

`trace` makes about 25 queries; the calculation is done again from what is stored, never copied from the result.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from labresults.calculation.evaluation import evaluate
from labresults.calculation.explain import explain
from labresults.calculation.run import Step
from labresults.models import (
    AuditEvent,
    Calibration,
    ControlOutcome,
    EquipmentCheck,
    Evaluation,
    Lot,
    Position,
    Reading,
    ReadingFile,
    Result,
    ReviewedResult,
    Selection,
    Weighing,
)
from labresults.queries.results import Standing, failures_of, newest_decisions, newest_selections
from labresults.queries.run_tables import load


@dataclass(frozen=True)
class StandsOn:
    """What else stands on one of these: how many runs, portions and samples."""

    kind: str
    name: str
    runs: int
    portions: int
    samples: int


@dataclass(frozen=True)
class Trace:
    """Everything behind one result. `same`: the calculation done again gave the stored value, bit for bit."""

    result: Result
    steps: tuple[Step, ...]
    recomputed: float | None
    same: bool
    evaluation: Evaluation
    reading: Reading
    file: ReadingFile
    calibration: Calibration
    standards: list[Position]  # positions of the curve, each with its lot and that lot's ancestors
    lots: list[Lot]
    weighing: Weighing | None
    balance_check: EquipmentCheck | None  # the newest one before the weighing
    batch_reagents: list[Lot]
    selection: Selection | None
    candidates: list[Result]
    review: ReviewedResult | None
    outcomes: list[ControlOutcome]
    failures: Standing
    stands_on: list[StandsOn]
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
    steps, recomputed = _again(result)
    reading = Reading.objects.select_related("file__made_by", "file__layout").get(
        run=evaluation.run, position=result.position, line=result.line
    )
    calibration = Calibration.objects.get(evaluation=evaluation, line=result.line, block=result.position.block)
    numbers = [point[0] for point in calibration.points]
    standards = list(
        Position.objects.filter(run=evaluation.run, number__in=numbers)
        .select_related("lot__material")
        .order_by("number")
    )
    weighing = _weighing(result)
    key = (result.sample_id or 0, evaluation.run.method_version.method_id, result.element_id)
    return Trace(
        result=result,
        steps=steps,
        recomputed=recomputed,
        same=recomputed == result.value,
        evaluation=evaluation,
        reading=reading,
        file=reading.file,
        calibration=calibration,
        standards=standards,
        lots=_with_ancestors([p.lot for p in standards if p.lot]),
        weighing=weighing,
        balance_check=_balance_check(weighing),
        batch_reagents=list(result.position.portion.batch.reagents.select_related("material"))
        if result.position.portion
        else [],
        selection=newest_selections(sample_ids=[key[0]]).get(key),
        candidates=_candidates(result),
        review=newest_decisions([result.pk]).get(result.pk),
        outcomes=_outcomes(result),
        failures=failures_of([result])[result.pk],
        stands_on=_stands_on(result, weighing, standards),
        events=_events(result),
    )


def _again(result: Result) -> tuple[tuple[Step, ...], float | None]:
    """Compute the whole run again, as its evaluation saw it, and write this result's calculation out."""
    evaluation = result.evaluation
    loaded = load(
        evaluation.run,
        left_out=[(number, line) for number, line in evaluation.left_out],
        last_weighing=evaluation.last_weighing,
    )
    evaluated = evaluate(loaded.table, loaded.method)
    place = (result.position.number, str(result.line))
    found = next((r for r in evaluated.results if (r.position, r.line) == place), None)
    return explain(loaded.table, loaded.method, evaluated, *place), found.value if found else None


def _weighing(result: Result) -> Weighing | None:
    return (
        Weighing.objects.filter(portion=result.position.portion_id, pk__lte=result.evaluation.last_weighing)
        .select_related("balance", "made_by", "spike_lot")
        .order_by("-version")
        .first()
    )


def _balance_check(weighing: Weighing | None) -> EquipmentCheck | None:
    if weighing is None or weighing.balance is None:
        return None
    return weighing.balance.checks.filter(done_on__lte=weighing.observed_at.date()).order_by("-done_on", "-pk").first()


def _with_ancestors(lots: Sequence[Lot]) -> list[Lot]:
    """The lots and what they were made from, generation by generation; one query each."""
    found = {lot.pk: lot for lot in lots}
    generation = list(found.values())
    while parents := {lot.made_from_id for lot in generation if lot.made_from_id} - set(found):
        generation = list(Lot.objects.filter(pk__in=parents).select_related("material"))
        found |= {lot.pk: lot for lot in generation}
    return sorted(found.values(), key=lambda lot: lot.number)


def _candidates(result: Result) -> list[Result]:
    """Every result of this element in this sample by this method, the oldest first."""
    method = result.evaluation.run.method_version.method_id
    return list(
        Result.objects.filter(
            sample=result.sample_id,
            element=result.element_id,
            is_candidate=True,
            evaluation__run__method_version__method=method,
        )
        .select_related("evaluation__run", "position", "line")
        .order_by("pk")
    )


def _outcomes(result: Result) -> list[ControlOutcome]:
    """Control samples judged at this line in this evaluation."""
    return list(
        ControlOutcome.objects.filter(evaluation=result.evaluation_id, line=result.line_id)
        .select_related("position__lot__material", "criterion", "acceptance__made_by")
        .order_by("position__number")
    )


def _stands_on(result: Result, weighing: Weighing | None, standards: Sequence[Position]) -> list[StandsOn]:
    found = []
    if weighing and weighing.balance:
        same = Weighing.objects.filter(balance=weighing.balance, observed_at__date=weighing.observed_at.date())
        found.append(_count("balance that day", weighing.balance.code, portions=same.values("portion")))
    lots = sorted({position.lot.number for position in standards if position.lot})
    if lots:
        runs = Position.objects.filter(lot__number__in=lots[-1:]).values("run")
        found.append(StandsOn("lot", lots[-1], runs.distinct().count(), 0, _samples_of_runs(runs)))
    run = Position.objects.filter(run=result.evaluation.run_id).values("run")
    found.append(StandsOn("run", result.evaluation.run.number, 1, 0, _samples_of_runs(run)))
    return found


def _count(kind: str, name: str, *, portions: object) -> StandsOn:
    rows = Position.objects.filter(portion__in=portions)
    return StandsOn(
        kind,
        name,
        rows.values("run").distinct().count(),
        rows.values("portion").distinct().count(),
        rows.exclude(portion__subsample=None).values("portion__subsample__sample").distinct().count(),
    )


def _samples_of_runs(runs: object) -> int:
    rows = Position.objects.filter(run__in=runs).exclude(portion__subsample=None)
    return rows.values("portion__subsample__sample").distinct().count()


def _events(result: Result) -> list[AuditEvent]:
    """Events about the run, the batch, the sample and its submission, the oldest first."""
    subjects = [("run", result.evaluation.run.number)]
    if result.position.portion:
        subjects.append(("batch", result.position.portion.batch.number))
    if result.sample:
        subjects += [("sample", result.sample.number), ("submission", result.sample.submission.number)]
    names = [name for _, name in subjects]
    rows = AuditEvent.objects.filter(subject__in=names).select_related("person").order_by("seq")
    return [row for row in rows if (row.subject_kind, row.subject) in subjects]
