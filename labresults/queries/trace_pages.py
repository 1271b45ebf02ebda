"""What the page of one result's way back shows beside the trace itself: its curve as a table, its people."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import zip_longest
from typing import Any

from django.db.models import Q

from labresults.calculation.budget import Contribution
from labresults.calculation.reading_back import predicted_signals
from labresults.models import AuditEvent, ControlOutcome, Person, Position, Result
from labresults.queries.preparation import kept_apart
from labresults.queries.trace import Trace, asked, trace
from labresults.queries.trace_events import ON_THE_WAY
from labresults.terms import Reach


@dataclass(frozen=True)
class CurveRow:
    """One point of the curve: made and read back in the solution unit, read as a signal, residual in % of made.

    predicted, u: the signal that the curve gives there, with its standard uncertainty; None where there is no curve.
    """

    position: Position
    made: float
    read: float
    read_back: float | None
    residual_percent: float | None
    used: bool
    predicted: float | None = None
    u: float | None = None


@dataclass(frozen=True)
class Share:
    """One source of the uncertainty: its share of the variance in %, None where it does not count."""

    contribution: Contribution
    percent: float | None


@dataclass(frozen=True)
class Act:
    """Who did one step of the way, and when."""

    what: str
    who: Person
    when: datetime


@dataclass(frozen=True)
class TracePage:
    """A trace with what a reader sees of it. `beside`: control samples that speak for it, `others` at its line."""

    trace: Trace
    curve: list[CurveRow]
    people: list[Act]
    shares: list[Share]
    beside: list[ControlOutcome]
    others: list[ControlOutcome]
    events: list[AuditEvent]  # of its way, the newest first
    asked: int | None = None  # key of the printed line that was asked about

    @property
    def result(self) -> Result:
        """The result that was asked about."""
        return self.trace.result

    @property
    def newest(self) -> Any | None:
        """The printed line that was asked about, else the newest."""
        asked = (line for line in self.trace.printed if line.pk == self.asked)
        return next(asked, self.trace.printed[0] if self.trace.printed else None)

    @property
    def solution_percent(self) -> float | None:
        """How far ours lies from the instrument's own concentration, in % of it; None where nothing can be compared."""
        reading, ours = self.trace.reading, self.result.solution
        unit = self.trace.evaluation.run.method_version.solution_unit
        if reading is None or ours is None or not reading.instrument_concentration or reading.instrument_unit != unit:
            return None
        return 100.0 * (ours - reading.instrument_concentration) / reading.instrument_concentration

    @property
    def apart(self) -> list[str]:
        """What of the portion was kept although it is not as the method states it, by whom and why."""
        portion = self.result.position.portion
        return kept_apart(self.trace.weighing, portion.batch.method_version) if portion else []

    @property
    def text_unit(self) -> str:
        """The unit of the replicates as the file has them; its numbers may have been converted from it."""
        reading, file = self.trace.reading, self.trace.file
        if reading is None or file is None:
            return ""
        said = file.text_units.get(str(self.result.line), "")
        return str(said if isinstance(said, str) else said.get(str(self.result.position.number), "")) or file.unit

    @property
    def is_selected(self) -> bool:
        """Whether this result is the one that stands for its element in its sample."""
        return self.trace.selection is not None and self.trace.selection.result_id == self.result.pk

    @property
    def is_superseded(self) -> bool:
        """Whether its run was evaluated anew since."""
        return any(each.pk == self.result.pk and each.superseded for each in self.trace.candidates)


def trace_page(result_pk: int) -> TracePage:
    """Everything behind one result; the queries of `asked` and `trace` alone. Raises Result.DoesNotExist."""
    return page_of(trace(asked(Q(pk=result_pk))))


def page_of(found: Trace, line: int | None = None) -> TracePage:
    """A trace with what a reader sees of it; no query. line: key of the printed line that is asked about."""
    beside = _beside(found)
    return TracePage(
        trace=found,
        curve=_curve(found),
        people=_people(found),
        shares=_shares(found.budget),
        beside=beside,
        others=[outcome for outcome in found.outcomes if outcome not in beside],
        events=[event for event in found.events[::-1] if event.subject_kind in ON_THE_WAY],
        asked=line,
    )


def _beside(found: Trace) -> list[ControlOutcome]:
    """Those that speak for this result: of its run, batch and sample, the brackets next to it, any that failed."""
    result = found.result
    place, portion = result.position.number, result.position.portion
    before = {o.position.role: o.pk for o in found.outcomes if o.position.number < place}
    after = {o.position.role: o.pk for o in reversed(found.outcomes) if o.position.number > place}
    brackets = {*before.values(), *after.values()}
    failed = {outcome.pk for outcome in (*found.failures["open"], *found.failures["accepted"])}
    speaks = {
        Reach.RUN: {outcome.pk for outcome in found.outcomes},
        Reach.BRACKET: brackets,
        Reach.BATCH: {o.pk for o in found.outcomes if portion and _batch_of(o) == portion.batch_id},
        Reach.SAMPLE: {o.pk for o in found.outcomes if o.position.parent_id == result.position_id},
    }
    return [o for o in found.outcomes if o.pk in failed or o.pk in speaks[Reach(o.reach)]]


def _batch_of(outcome: ControlOutcome) -> int | None:
    return outcome.position.portion.batch_id if outcome.position.portion else None


def _shares(budget: Sequence[Contribution]) -> list[Share]:
    """Contributions with their share of the combined variance, the largest first; what does not count comes last."""
    total = sum(each.u**2 for each in budget if each.counts)
    shares = [Share(each, 100.0 * each.u**2 / total if each.counts and total else None) for each in budget]
    return sorted(shares, key=lambda share: -(share.percent if share.percent is not None else -1.0))


def _curve(found: Trace) -> list[CurveRow]:
    positions = {position.number: position for position in found.standards}
    points: Sequence[Sequence[Any]] = found.calibration.points if found.calibration else ()
    given = predicted_signals(found.fitted, [made for _, made, *_ in points]) if found.fitted else []
    return [
        CurveRow(positions[number], made, read, read_back, residual, used, *at)
        for (number, made, read, _weight, read_back, residual, used), at in zip_longest(points, given, fillvalue=())
    ]


def _people(found: Trace) -> list[Act]:
    """Who did what, in the order of the path; no query."""
    result, evaluation = found.result, found.evaluation
    submission = result.sample.submission if result.sample else None
    batch = result.position.portion.batch if result.position.portion else None
    rows = [
        ("received", submission and submission.received_by, submission and submission.received_at),
        ("began the batch", batch and batch.made_by, batch and batch.made_at),
        ("weighed", found.weighing and found.weighing.made_by, found.weighing and found.weighing.observed_at),
        ("planned the run", evaluation.run.made_by, evaluation.run.made_at),
        ("loaded the readings", found.file and found.file.made_by, found.file and found.file.made_at),
        ("evaluated", evaluation.made_by, evaluation.made_at),
    ]
    if found.review:
        rows.append((str(found.review.review.decision), found.review.review.made_by, found.review.review.made_at))
    rows += [
        (f"issued {line.certificate}", line.certificate.made_by, line.certificate.made_at)
        for line in found.printed[::-1]
    ]
    return [Act(what, who, when) for what, who, when in rows if who and when]
