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
from labresults.models import ControlOutcome, Evaluation, Position, ReadingFile, Result, Run, Sample
from labresults.queries.run_portions import seen_by
from labresults.queries.run_tables import LoadedRun, load
from labresults.terms import CALIBRATING, Role, Verdict


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
    results: dict[tuple[int, int], Result]  # by key of the position and of the line
    failures: list[Failure]
    proposals: list[Diluted]
    later: dict[int, str]  # by portion: the newest later run that holds it

    @property
    def open_failures(self) -> list[Failure]:
        """Failures that nobody has accepted."""
        return [failure for failure in self.failures if failure.is_open]

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
        Run.objects.select_related("method_version__method", "instrument", "made_by")
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
    return Run.objects.select_related("method_version__method", "instrument", "made_by").get(number=number)


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
    positions = _positions(run)
    outcomes = _outcomes(evaluation)
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
        results=_results(evaluation),
        failures=sorted(
            (_failure(o, by_number) for o in outcomes if o.verdict == Verdict.OUTSIDE), key=lambda f: not f.is_open
        ),
        proposals=[_diluted(p, by_number) for p in evaluated.proposals] if evaluated else [],
        later=_later(run),
    )


def measure_again(number: str) -> tuple[dict[int, float], str]:
    """What the newest evaluation of a run asks to be measured again: factor by portion, and the cause in words.

    A factor of 1 is a second reading of the same solution. A failed control sample is read again with what it touches:
    only that shows whether the batch must be prepared anew. What a later run holds already is left out. Queries as
    `run_page`.
    """
    page = run_page(number)
    factors: dict[int, float] = {}
    causes: list[str] = []
    by_number = {position.number: position for position in page.positions}
    for failure in page.open_failures:
        causes.append(f"{number}: {failure.outcome.why}")
        touched = [by_number[n].portion_id for n in (*failure.positions, failure.outcome.position.number)]
        factors |= {portion: 1.0 for portion in touched if portion}
    for item in page.proposals:
        if item.proposal.factor and item.position.portion_id and item.position.role == Role.SAMPLE:
            whole = item.position.dilution * item.proposal.factor
            factors[item.position.portion_id] = max(whole, factors.get(item.position.portion_id, 1.0))
            causes.append(f"{number}: {item.proposal.line} over range at position {item.position.number}.")
    wanted = {portion: factor for portion, factor in factors.items() if portion not in page.later}
    return wanted, " ".join(dict.fromkeys(causes))


def sample_of(position: Position) -> Sample | None:
    """The sample that a position's portion was taken of; no query after `run_page`."""
    portion = position.portion
    return portion.subsample.sample if portion and portion.subsample else None


def calibration_points(run: Run) -> list[str]:
    """Every point of every curve that could be left out, as `position|line`; two queries."""
    numbers = run.positions.filter(role__in=CALIBRATING).order_by("number").values_list("number", flat=True)
    lines = [str(row.line) for row in run.method_version.lines.select_related("line")]
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
        return load(run)
    left_out = [(number, line) for number, line in evaluation.left_out]
    return load(run, left_out=left_out, seen=seen_by(evaluation))


def _positions(run: Run) -> list[Position]:
    return list(
        run.positions.select_related(
            "portion__batch", "portion__subsample__sample__submission__client", "lot__material", "parent"
        ).order_by("number")
    )


def _outcomes(evaluation: Evaluation | None) -> list[ControlOutcome]:
    if evaluation is None:
        return []
    rows = evaluation.outcomes.select_related("position__lot__material", "line", "criterion", "acceptance__made_by")
    return list(rows.order_by("position__number", "line__element_id", "line__label", "pk"))


def _results(evaluation: Evaluation | None) -> dict[tuple[int, int], Result]:
    if evaluation is None:
        return {}
    return {(row.position_id, row.line_id): row for row in evaluation.results.all()}


def _later(run: Run) -> dict[int, str]:
    """Portions of this run that a later one holds too, each with the newest such run."""
    rows = Position.objects.filter(portion__positions__run=run, run__gt=run.pk, role=Role.SAMPLE)
    return dict(rows.order_by("run_id").values_list("portion_id", "run__number"))


def _failure(outcome: ControlOutcome, by_number: dict[int, Position]) -> Failure:
    touched = [by_number[number] for number in outcome.touches if by_number[number].role == Role.SAMPLE]
    samples = tuple(sample for position in touched if (sample := sample_of(position)))
    return Failure(outcome, samples, tuple(position.number for position in touched))


def _diluted(proposal: Proposal, by_number: dict[int, Position]) -> Diluted:
    position = by_number[proposal.position]
    return Diluted(proposal, position, sample_of(position))
