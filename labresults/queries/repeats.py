"""What is to be measured again: proposed by an evaluation, and open until a later run holds it or somebody lets it be.

Proposals are stored with their evaluation, so that the cause of a repeat is on record before it is read. Whether one is
open is never stored: it follows from later runs, from acceptances and from what was let stand by name.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from django.db.models import Exists, F, OuterRef, Q

from labresults.calculation.run import ProposedRepeat
from labresults.models import ControlOutcome, Evaluation, LetStand, Position, Run, Sample, TestPortion
from labresults.queries.failures import confirmed_batch_failures
from labresults.terms import Measure, Repeat, RepeatCause, Role, Verdict

MOST_RUNS = 40
"""So many of the newest runs with proposals are looked at: what is older is no longer fit to be read again."""

NOT_AT_THE_INSTRUMENT = frozenset({Repeat.RE_DIGEST, Repeat.RE_SAMPLE})
"""Repeats that begin at the bench or at the counter: the test solution is not read again."""

_OF_FAILURES = {
    RepeatCause.INTERNAL_STANDARD: frozenset({Measure.INTERNAL_STANDARD}),
    RepeatCause.HIGH_SPREAD: frozenset({Measure.SPREAD}),
    RepeatCause.FAILED_CHECK: frozenset(Measure) - {Measure.INTERNAL_STANDARD, Measure.SPREAD},
}
"""Causes that are gone when the control samples that failed are accepted by name."""


@dataclass(frozen=True)
class OpenRepeat:
    """A position proposed to be measured again for one cause.

    lines: empty where the whole position is meant. factor: the dilution at the instrument in place of the one that was
    made; None where none can be given. later: number of a later run that holds it; let_stand: by whom it is not
    measured again, and why; settled: the control samples that asked for it were accepted by name.
    """

    portion: TestPortion
    sample: Sample | None
    run: Run
    position: Position
    lines: tuple[str, ...]
    cause: RepeatCause
    kind: Repeat
    factor: float | None
    why: str
    later: str = ""
    let_stand: LetStand | None = None
    settled: bool = False

    @property
    def is_open(self) -> bool:
        """Whether it still waits to be measured, or to be let stand."""
        return not (self.later or self.let_stand or self.settled)

    @property
    def places(self) -> list[tuple[Position, str | None]]:
        """Its position with each of its lines by name; None is the whole position."""
        return [(self.position, line) for line in self.lines or (None,)]

    @property
    def is_at_the_bench(self) -> bool:
        """Whether it begins at the bench or at the counter again: the solution itself is not read again."""
        return self.kind in NOT_AT_THE_INSTRUMENT

    @property
    def key(self) -> str:
        """What a form calls it: keys of its position, and of its lines by name."""
        return "|".join([str(self.position.pk), *self.lines])


def as_rows(repeats: Iterable[ProposedRepeat]) -> list[list[object]]:
    """Proposals as an evaluation stores them."""
    return [[r.position, r.line, str(r.cause), str(r.kind), r.factor, r.why] for r in repeats]


def open_repeats(code: str | None = None) -> list[OpenRepeat]:
    """What waits to be measured again by a method, or by all, in the order of runs and positions; at most 8 queries."""
    newer = Evaluation.objects.filter(run=OuterRef("run"), version__gt=OuterRef("version"))
    evaluations = Evaluation.objects.filter(~Exists(newer)).exclude(repeats=[])
    if code is not None:
        evaluations = evaluations.filter(run__method_version__method__code=code)
    newest = list(evaluations.select_related("run__method_version__method").order_by("-run_id")[:MOST_RUNS])
    return [repeat for repeat in repeats_of(newest) if repeat.is_open]


def open_of_run(number: str) -> list[OpenRepeat]:
    """What the newest evaluation of a run still asks for; six to eight queries. Raises Evaluation.DoesNotExist."""
    newest = Evaluation.objects.filter(run__number=number).select_related("run__method_version__method")
    return [repeat for repeat in repeats_of([newest.latest("version")]) if repeat.is_open]


def repeats_of(evaluations: Sequence[Evaluation]) -> list[OpenRepeat]:
    """Every repeat that evaluations propose, open or not, each run's together; at most 7 queries."""
    named = {e.pk: {row[0] for row in e.repeats} for e in evaluations if e.repeats}
    if not named:
        return []
    runs = {e.run_id: e for e in evaluations if e.pk in named}
    positions = _positions({run: named[e.pk] for run, e in runs.items()})
    failures = ControlOutcome.objects.filter(
        evaluation__in=named, verdict=Verdict.OUTSIDE, acceptance__isnull=True
    ).values_list("evaluation", "measure", "position__number", "touches")
    return _put_together(list(runs.values()), positions, failures)


def repeats_of_page(
    evaluation: Evaluation, positions: Iterable[Position], outcomes: Iterable[ControlOutcome]
) -> list[OpenRepeat]:
    """The same of one evaluation whose positions and outcomes are known; two to five queries, none where none is
    proposed."""
    if not evaluation.repeats:
        return []
    failures = (
        (evaluation.pk, outcome.measure, outcome.position.number, outcome.touches)
        for outcome in outcomes
        if outcome.verdict == Verdict.OUTSIDE and not hasattr(outcome, "acceptance")
    )
    named = {row[0] for row in evaluation.repeats}
    held = {(evaluation.run_id, p.number): p for p in positions if p.number in named and p.portion is not None}
    for position in held.values():
        position.run = evaluation.run
    return _put_together([evaluation], held, failures)


def _put_together(
    evaluations: Sequence[Evaluation],
    positions: Mapping[tuple[int, int], Position],
    failures: Iterable[tuple[int, str, int, list[int]]],
) -> list[OpenRepeat]:
    """Repeats with what became of them. failures: evaluation, measure, position and what it touches; two queries.

    Where control samples failed two more: what a second run confirmed is prepared anew.
    """
    later, let_stand = _later(positions.values()), _let_stand(positions.values())
    failed = _by_measure(failures)
    found = [
        _repeat(evaluation, positions[evaluation.run_id, number], rows, later, let_stand, failed.get(evaluation.pk, {}))
        for evaluation in evaluations
        for (number, *_), rows in _by_cause(ProposedRepeat(*row) for row in evaluation.repeats).items()
        if (evaluation.run_id, number) in positions
    ]
    return _prepared_anew(found)


CONFIRMED = "A second run confirmed it: the batch needs a new digestion."


def _prepared_anew(repeats: list[OpenRepeat]) -> list[OpenRepeat]:
    """The same, prepared anew in place of read again where a second run confirmed what failed in the batch."""
    asked = {r.portion.pk for r in repeats if r.cause is RepeatCause.FAILED_CHECK and r.is_open}
    confirmed = confirmed_batch_failures(asked) if asked else {}
    return [_anew(r) if _is_confirmed(r, confirmed) else r for r in repeats]


def _is_confirmed(repeat: OpenRepeat, confirmed: Collection[tuple[int, str]]) -> bool:
    """Whether a batch failed twice in one of the lines that ask for a repeat, or in any where all of them do."""
    if repeat.cause is not RepeatCause.FAILED_CHECK:
        return False
    elements = {line.partition(" ")[0] for line in repeat.lines}
    return any(repeat.portion.pk == key and (not elements or element in elements) for key, element in confirmed)


def _anew(repeat: OpenRepeat) -> OpenRepeat:
    why = f"{repeat.why.removesuffix('Read it again.').rstrip()} {CONFIRMED}"
    return replace(repeat, kind=Repeat.RE_DIGEST, factor=None, why=why)


def _by_cause(rows: Iterable[ProposedRepeat]) -> dict[tuple[int, str, str], list[ProposedRepeat]]:
    """Proposals for one position, of one cause and kind, together, in the order of the positions."""
    found: dict[tuple[int, str, str], list[ProposedRepeat]] = {}
    for row in sorted(rows, key=lambda each: each.position):
        found.setdefault((row.position, row.cause, row.kind), []).append(row)
    return found


def _repeat(
    evaluation: Evaluation,
    position: Position,
    rows: Sequence[ProposedRepeat],
    later: Mapping[int, str],
    let_stand: Mapping[int, Sequence[LetStand]],
    failed: Mapping[Measure, set[int]],
) -> OpenRepeat:
    cause, portion = RepeatCause(rows[0].cause), position.portion
    assert portion is not None  # positions without one are not loaded
    lines = () if any(row.line is None for row in rows) else tuple(dict.fromkeys(str(row.line) for row in rows))
    asking = _OF_FAILURES.get(cause)
    factors = [row.factor for row in rows if row.factor is not None]
    return OpenRepeat(
        portion=portion,
        sample=portion.subsample.sample if portion.subsample else None,
        run=evaluation.run,
        position=position,
        lines=lines,
        cause=cause,
        kind=Repeat(rows[0].kind),
        factor=max(factors) if len(factors) == len(rows) else None,
        why=" ".join(dict.fromkeys(row.why for row in rows)),
        later=later.get(position.pk, ""),
        let_stand=_covering(let_stand.get(position.pk, ()), lines),
        settled=asking is not None and not any(position.number in failed.get(measure, ()) for measure in asking),
    )


def _covering(rows: Sequence[LetStand], lines: Sequence[str]) -> LetStand | None:
    """The newest row by which all of it is let stand: of the position, or of each of its lines."""
    for row in rows:
        if row.line_id is None:
            return row
    named = {str(row.line): row for row in rows}
    return named[lines[0]] if lines and set(lines) <= set(named) else None


def _positions(numbers: Mapping[int, Collection[int]]) -> dict[tuple[int, int], Position]:
    """Positions by run and number, with what they hold; lost portions are left out; one query."""
    which = Q()
    for run, some in numbers.items():
        which |= Q(run=run, number__in=some)
    rows = Position.objects.filter(which, portion__isnull=False, portion__discarded__isnull=True).select_related(
        "portion__batch", "portion__subsample__sample__submission", "run__method_version", "parent"
    )
    return {(row.run_id, row.number): row for row in rows}


def _later(positions: Iterable[Position]) -> dict[int, str]:
    """By position, the newest later run by the same method that holds its portion or its sample again; one query."""
    of_portion: dict[int, list[Position]] = {}
    of_sample: dict[int, list[Position]] = {}
    for position in positions:
        of_portion.setdefault(position.portion_id or 0, []).append(position)
        if position.role == Role.SAMPLE and position.portion and position.portion.subsample:
            of_sample.setdefault(position.portion.subsample.sample_id, []).append(position)
    rows = Position.objects.filter(
        Q(portion__in=of_portion, role=F("portion__role"))
        | Q(portion__subsample__sample__in=of_sample, role=Role.SAMPLE),
        run__replaced_by__isnull=True,
    ).values_list("run", "run__number", "run__method_version__method", "portion", "portion__subsample__sample", "role")
    found: dict[int, str] = {}
    for run, number, method, portion, sample, role in rows.order_by("run"):
        same = [*of_portion.get(portion, ()), *(of_sample.get(sample, ()) if role == Role.SAMPLE else ())]
        for position in same:
            if run > position.run_id and method == position.run.method_version.method_id:
                found[position.pk] = number
    return found


def _let_stand(positions: Iterable[Position]) -> dict[int, list[LetStand]]:
    """What was let stand at positions, the newest first; one query."""
    rows = LetStand.objects.filter(position__in=[position.pk for position in positions])
    found: dict[int, list[LetStand]] = {}
    for row in rows.select_related("line", "made_by").order_by("-pk"):
        found.setdefault(row.position_id, []).append(row)
    return found


def _by_measure(failures: Iterable[tuple[int, str, int, list[int]]]) -> dict[int, dict[Measure, set[int]]]:
    """By evaluation and measure, numbers of positions that stand on failures nobody accepted; no query of its own."""
    found: dict[int, dict[Measure, set[int]]] = {}
    for evaluation, measure, number, touches in failures:
        found.setdefault(evaluation, {}).setdefault(Measure(measure), set()).update([number, *touches])
    return found
