"""From a result back to everything that it stands on, and forward from anything to what stands on it.

`trace` makes at most 22 queries, however large the database; the calculation is done again from what is stored, never
copied from the result. What most results do not have (remarks, cases, estimated limits) is asked for only where it is.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Case, Exists, F, FilteredRelation, OuterRef, Q, Subquery, Value, When

from labresults.calculation.budget import Contribution
from labresults.calculation.run import FittedCurve, LineSpecification, Step
from labresults.models import (
    AuditEvent,
    Calibration,
    ControlOutcome,
    EquipmentCheck,
    Evaluation,
    LimitEstimate,
    Lot,
    MassLoss,
    NonconformingWork,
    Position,
    Reading,
    ReadingFile,
    Result,
    ResultComment,
    ReviewedResult,
    Selection,
    Weighing,
)
from labresults.queries.failures import Standing, failures_of, in_failed_batches
from labresults.queries.nonconforming import cases_of
from labresults.queries.run_portions import seen_by
from labresults.queries.run_tables import LoadedRun, load
from labresults.queries.trace_events import events_of, moments_of, subjects_of
from labresults.queries.trace_materials import StandsOn, lots_of, stands_on, weighed_beside
from labresults.queries.trace_numbers import budget_of, computed_again, limits_of
from labresults.terms import CALIBRATING, OF_POSITIONS, OF_READINGS


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
    readings: dict[int, Reading]  # at its line, by position number: its own, and those of the curve's standards
    calibration: Calibration | None  # none where the instrument gave concentrations
    fitted: FittedCurve | None  # the same, fitted again
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
    comments: list[ResultComment]
    cases: list[NonconformingWork]  # of nonconforming work, the newest first
    events: list[AuditEvent]

    @property
    def reading(self) -> Reading | None:
        """Its own reading; none where no file has this line yet."""
        return self.readings.get(self.result.position.number)

    @property
    def file(self) -> ReadingFile | None:
        """The file of it."""
        return self.reading.file if self.reading else None


def trace(result: Any) -> Trace:
    """Walk back from a result of `asked`."""
    evaluation = result.evaluation
    loaded = _as_evaluated(result)
    steps, recomputed, fitted = computed_again(result, loaded)
    line = next((each for each in loaded.method.lines if each.key == str(result.line)), None)
    calibration = Calibration.objects.filter(
        evaluation=evaluation, line=result.line, block=result.position.block
    ).first()
    standards = [loaded.positions[point[0]] for point in calibration.points] if calibration else []
    lots, reagents = lots_of(standards, result.position.portion)
    weighing = _as_weighed(loaded, result.position.portion_id)
    dried, check = loaded.known.dried(result.position.portion), _balance_check(weighing)
    outcomes, failed = _outcomes(result)
    printed = _printed(result)
    candidates = _candidates(result)
    return Trace(
        result=result,
        steps=steps,
        recomputed=recomputed,
        same=recomputed == result.value,
        budget=budget_of(result, loaded),
        line=line,
        limits=limits_of(result, line) if result.any_limit else [],
        evaluation=evaluation,
        readings=_readings(result, standards, loaded),
        calibration=calibration,
        fitted=fitted,
        standards=standards,
        lots=lots,
        weighing=weighing,
        dried=dried,
        balance_check=check,
        batch_reagents=reagents,
        selection=_chosen(candidates),
        candidates=candidates,
        review=getattr(result, "decided", None),  # Django gives none where there is none
        outcomes=outcomes,
        failures=failures_of([result], outcomes=outcomes, failed=failed)[result.pk],
        stands_on=stands_on(loaded, weighing, lots),
        printed=printed,
        comments=_comments(result) if result.is_remarked else [],
        cases=cases_of([result.pk]) if result.any_case else [],
        events=events_of(subjects_of(result, printed, [*lots, *reagents]), moments_of(dried, weighing, check)),
    )


def asked(which: Q, **more: F) -> Any:
    """A result as `trace` takes it: whether anybody remarked something, any case is on record, any limit estimated.

    With what it is of, `decided`, the newest review of it, and more of what `which` joins; one query. Raises
    Result.DoesNotExist.
    """
    newer = ReviewedResult.objects.filter(result=OuterRef("reviews__result"), pk__gt=OuterRef("reviews__pk"))
    flags = {
        "is_remarked": Exists(ResultComment.objects.filter(result=OuterRef("pk"))),
        "any_case": Exists(NonconformingWork.objects.all()),
        "any_limit": Exists(LimitEstimate.objects.filter(line=OuterRef("line"))),
        "decided": FilteredRelation("reviews", condition=~Q(Exists(newer))),
    }
    rows = Result.objects.filter(which).annotate(**flags, **more)
    return rows.select_related(*_WITH_RESULT, "decided__review__made_by").get()


_WITH_RESULT = (
    "evaluation__made_by",
    "evaluation__run__made_by",
    "evaluation__run__instrument",
    "evaluation__run__method_version__method",
    "evaluation__run__method_version__made_by",
    "evaluation__run__method_version__internal_standard",
    "position__portion__batch__made_by",
    "position__portion__batch__method_version",
    "position__portion__subsample",
    "sample__submission__client",
    "sample__submission__received_by",
    "sample__matrix",
    "line",
)


def _readings(result: Result, standards: Sequence[Position], loaded: LoadedRun) -> dict[int, Reading]:
    """Readings at the line of a result, of its own position and of the standards of its curve; no query.

    One query where the standards of its curve are samples, made by additions.
    """
    rows = {row.position.number: row for row in loaded.readings if row.line_id == result.line_id}
    others = [each.pk for each in standards if each.role not in CALIBRATING and each.number not in rows]
    if others:
        more = Reading.objects.filter(run=result.evaluation.run_id, position__in=others, line=result.line_id)
        more = more.select_related("position", "file__made_by", "file__layout").defer("file__content")
        rows |= {row.position.number: row for row in more}
    wanted = {result.position.number, *(each.number for each in standards)}
    return {number: row for number, row in rows.items() if number in wanted}


def _comments(result: Result) -> list[ResultComment]:
    """What people remarked beside a result, the oldest first; one query."""
    return list(result.comments.select_related("made_by").order_by("pk"))


def _as_evaluated(result: Result) -> LoadedRun:
    """The run with its readings and portions as the evaluation of a result saw them."""
    evaluation = result.evaluation
    return load(
        evaluation.run,
        left_out=[(number, line) for number, line in evaluation.left_out],
        seen=seen_by(evaluation),
        rules=evaluation.rules,
        also=(result.position_id, result.line_id),
    )


def _as_weighed(loaded: LoadedRun, portion_id: int | None) -> Weighing | None:
    """The weighing that the evaluation saw: who made it, balance, spike, and what was weighed beside it; one query."""
    known = loaded.known.weighings.get(portion_id or 0)
    related = Weighing.objects.select_related("made_by", "balance", "balance_check__made_by", "spike_lot")
    if known is None:
        return None
    return related.annotate(**weighed_beside(OuterRef("balance"), known.observed_at)).get(pk=known.pk)


def _balance_check(weighing: Weighing | None) -> EquipmentCheck | None:
    """The check that stood when it was weighed; asked for where the weighing does not name it itself."""
    if weighing is None or weighing.balance is None or weighing.balance_check is not None:
        return weighing.balance_check if weighing else None
    checks = weighing.balance.checks.filter(done_on__lte=weighing.observed_at.date()).select_related("made_by")
    return checks.order_by("-done_on", "-pk").first()


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


def _outcomes(result: Result) -> tuple[list[ControlOutcome], list[ControlOutcome]]:
    """Control samples judged at this line in this evaluation, and what speaks for the position at every line.

    And those of its batch that failed in any run that read its portion, at lines of its element; one query for both.
    """
    portion = [result.position.portion_id] if result.position.portion_id else []
    runs = Evaluation.objects.filter(run__in=Position.objects.filter(portion__in=portion).values("run"))
    own = Q(
        Q(line=result.line_id) | Q(measure__in=OF_POSITIONS, position=result.position_id), evaluation=result.evaluation
    )
    of_batch = in_failed_batches() & Q(evaluation__in=runs.values("pk"), line__element=result.element_id)
    rows = list(
        ControlOutcome.objects.filter(own | of_batch if portion else own)
        .exclude(~Q(position=result.position_id), measure__in=OF_READINGS)
        .select_related(
            "evaluation", "position__lot__material", "position__portion__subsample__sample", "line", "criterion",
            "acceptance__made_by",
        )
        .annotate(failed_in_batch=Case(When(of_batch, then=True), default=False) if portion else Value(False))
        .order_by("position__number", "pk")
    )  # fmt: skip
    at_its_line = [row for row in rows if row.evaluation_id == result.evaluation_id and _speaks_for(row, result)]
    return at_its_line, sorted((row for row in rows if row.failed_in_batch), key=lambda row: row.pk)


def _speaks_for(outcome: ControlOutcome, result: Result) -> bool:
    """Whether an outcome of its evaluation is at the line of a result, or of its whole position."""
    return outcome.line_id == result.line_id or outcome.position_id == result.position_id


def _printed(result: Result) -> list[Any]:
    """Lines of certificates that print this result, the newest first; one query."""
    lines: Any = result.printed  # certificates stand above: known by its reverse name
    related = lines.select_related("certificate__rule_set", "certificate__made_by", "certificate__withdrawal")
    return list(related.defer("certificate__document").order_by("-pk"))
