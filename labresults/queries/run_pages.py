"""What the page of a run shows. Each function says how many database queries it makes.

Concentrations and proposals are computed again from what is stored, as the evaluation saw it; verdicts, results and
acceptances are the stored rows.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Count, Exists, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from labresults.calculation.evaluation import evaluate
from labresults.calculation.run import Evaluation as Evaluated
from labresults.calculation.run import FittedCurve, Proposal
from labresults.models import (
    ControlOutcome,
    Evaluation,
    Position,
    ReadingFile,
    Run,
    Sample,
)
from labresults.queries.repeats import OpenRepeat, repeats_of_page
from labresults.queries.run_portions import seen_by
from labresults.queries.run_tables import LoadedRun, load
from labresults.terms import CALIBRATING, Role, Verdict

_RELATED = ("portion__subsample__sample__submission__client",)

EVERY_LINE = "*"
"""In the name of a point: the calibration solution at every line."""


@dataclass(frozen=True)
class Failure:
    """A control sample that failed at a line, and the samples that stand on it."""

    outcome: ControlOutcome
    samples: tuple[Sample, ...]
    positions: tuple[int, ...]

    @property
    def is_open(self) -> bool:
        """Whether nobody has accepted it by name."""
        return not hasattr(self.outcome, "acceptance")


@dataclass(frozen=True)
class Diluted:
    """A proposed dilution, with the position that it is for."""

    proposal: Proposal
    position: Position
    sample: Sample | None


@dataclass(frozen=True)
class RunPage:
    """A run with its newest evaluation, or the one that was asked for; without one, what is planned and loaded."""

    run: Run
    files: list[ReadingFile]
    positions: list[Position]
    evaluations: list[Evaluation]
    evaluation: Evaluation | None
    loaded: LoadedRun
    evaluated: Evaluated | None
    outcomes: list[ControlOutcome]
    failures: list[Failure]
    proposals: list[Diluted]
    repeats: list[OpenRepeat]  # proposed, open or not

    @property
    def open_failures(self) -> list[Failure]:
        """Failures that nobody has accepted."""
        return [failure for failure in self.failures if failure.is_open]

    @property
    def is_newest(self) -> bool:
        """Whether nothing newer than what is shown was evaluated."""
        return not self.evaluations or self.evaluation == self.evaluations[0]

    def missing_evaluation(self) -> Evaluation.DoesNotExist:
        """What is raised where a page needs an evaluation and there is none."""
        return Evaluation.DoesNotExist(f"{self.run} was not evaluated yet.")

    @property
    def open_repeats(self) -> list[OpenRepeat]:
        """Repeats that no later run holds and nobody let stand."""
        return [repeat for repeat in self.repeats if repeat.is_open]

    @property
    def curves(self) -> tuple[FittedCurve, ...]:
        """The fitted curves; none before the first evaluation."""
        return self.evaluated.curves if self.evaluated else ()

    @property
    def submissions(self) -> dict[str, tuple[str, int]]:
        """Client and number of samples of each submission in the run."""
        found: dict[str, tuple[str, int]] = {}
        for sample in dict.fromkeys(s for p in self.positions if p.role == Role.SAMPLE and (s := sample_of(p))):
            client, count = found.get(sample.submission.number, (sample.submission.client.name, 0))
            found[sample.submission.number] = (client, count + 1)
        return found


def runs() -> QuerySet[Run]:
    """Runs with how far each has come, newest first; one query a page."""
    newest = Evaluation.objects.filter(run=OuterRef("pk")).order_by("-version")
    failed = ControlOutcome.objects.filter(
        evaluation__run=OuterRef("pk"),
        evaluation__version=OuterRef("evaluation_version"),
        verdict=Verdict.OUTSIDE,
        acceptance__isnull=True,
    )
    held = Position.objects.filter(run=OuterRef("pk")).order_by().values("run")
    return (
        Run.objects.select_related("method_version__method", "instrument", "made_by", "replaced_by")
        .annotate(
            position_count=Subquery(held.annotate(n=Count("pk")).values("n")),
            has_readings=Exists(ReadingFile.objects.filter(run=OuterRef("pk"))),
            evaluation_version=Subquery(newest.values("version")[:1]),
        )
        .annotate(
            open_failures=Coalesce(
                Subquery(failed.order_by().values("evaluation__run").annotate(n=Count("pk")).values("n")), 0
            )
        )
        .order_by("-made_at", "-pk")
    )


def find_run(number: str) -> Run:
    """A run by its number; one query. Raises Run.DoesNotExist."""
    related = "method_version__method", "instrument", "made_by", "replaces", "replaced_by"
    return Run.objects.select_related(*related).get(number=number)


def method_of(number: str) -> str:
    """The code of the method that a run was measured by; one query. Raises Run.DoesNotExist."""
    return str(find_run(number).method_version.method.code)


def run_page(number: str, version: int | None = None) -> RunPage:
    """Everything that the page of a run shows; about 20 queries, whatever the size of the run.

    version: of the evaluation; None is the newest. Raises Run.DoesNotExist, Evaluation.DoesNotExist.
    """
    run = find_run(number)
    evaluations = list(run.evaluations.select_related("made_by").order_by("-version"))
    evaluation = _chosen(run, evaluations, version)
    loaded = _loaded(run, evaluation)
    evaluated = evaluate(loaded.table, loaded.method) if evaluation else None
    positions = list(loaded.positions.values())
    outcomes = _outcomes(evaluation, loaded)
    by_number = {position.number: position for position in positions}
    return RunPage(
        run=run,
        files=list(run.files.select_related("layout", "made_by").defer("content").order_by("pk")),
        positions=positions,
        evaluations=evaluations,
        evaluation=evaluation,
        loaded=loaded,
        evaluated=evaluated,
        outcomes=outcomes,
        failures=sorted(
            (_failure(o, by_number) for o in outcomes if o.verdict == Verdict.OUTSIDE), key=lambda f: not f.is_open
        ),
        proposals=[_diluted(p, by_number) for p in evaluated.proposals] if evaluated else [],
        repeats=repeats_of_page(evaluation, positions, outcomes) if evaluation else [],
    )


def failed_outcomes(number: str) -> dict[int, ControlOutcome]:
    """Control samples of the newest evaluation that failed and nobody accepted, by key; two queries."""
    newest = find_run(number).evaluations.order_by("-version").first()
    rows = ControlOutcome.objects.filter(evaluation=newest, verdict=Verdict.OUTSIDE, acceptance__isnull=True)
    return {row.pk: row for row in rows.select_related("evaluation__run", "position", "line").order_by("pk")}


def sample_of(position: Position) -> Sample | None:
    """The sample that a position's portion was taken of; no query after `run_page`."""
    portion = position.portion
    return portion.subsample.sample if portion and portion.subsample else None


def calibration_points(run: Run) -> list[str]:
    """Every point of every curve that could be left out, as `position|line`; two queries.

    The solution at every line is `position|*`.
    """
    numbers = run.positions.filter(role__in=CALIBRATING).order_by("number").values_list("number", flat=True)
    lines = [*(str(row.line) for row in run.method_version.lines.select_related("line")), EVERY_LINE]
    return [f"{number}|{line}" for number in numbers for line in lines]


def _chosen(run: Run, evaluations: Sequence[Evaluation], version: int | None) -> Evaluation | None:
    if version is None:
        return evaluations[0] if evaluations else None
    for evaluation in evaluations:
        if evaluation.version == version:
            return evaluation
    raise Evaluation.DoesNotExist(f"{run} has no evaluation {version}.")


def _loaded(run: Run, evaluation: Evaluation | None) -> LoadedRun:
    if evaluation is None:
        return load(run, related=_RELATED)
    left_out = [(number, line) for number, line in evaluation.left_out]
    return load(run, left_out=left_out, seen=seen_by(evaluation), rules=evaluation.rules, related=_RELATED)


def _outcomes(evaluation: Evaluation | None, loaded: LoadedRun) -> list[ControlOutcome]:
    """Control samples judged, by position; what thousands of them point at is loaded already; one query."""
    if evaluation is None:
        return []
    by_key = {position.pk: position for position in loaded.positions.values()}
    rows = list(evaluation.outcomes.select_related("acceptance__made_by"))
    for row in rows:
        row.evaluation, row.position = evaluation, by_key[row.position_id]
        row.line, row.criterion = loaded.lines[row.line_id], loaded.criteria[row.criterion_id]
    return sorted(rows, key=lambda o: (o.position.number, o.line.element_id, o.line.label, o.pk))


def _failure(outcome: ControlOutcome, by_number: dict[int, Position]) -> Failure:
    touched = [by_number[number] for number in outcome.touches if by_number[number].role == Role.SAMPLE]
    samples = tuple(sample for position in touched if (sample := sample_of(position)))
    return Failure(outcome, samples, tuple(position.number for position in touched))


def _diluted(proposal: Proposal, by_number: dict[int, Position]) -> Diluted:
    position = by_number[proposal.position]
    return Diluted(proposal, position, sample_of(position))
