"""The report of a run, drawn from what is recorded and computed; nothing is stored."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from itertools import groupby
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from labresults.plots.internal_standard import finding as finding_of_track
from labresults.plots.internal_standard import track_plot
from labresults.plots.matrix import Matrix, counted, matrix_plot, parted
from labresults.plots.sequence import finding as finding_of_checks
from labresults.plots.sequence import sequence_plot
from labresults.plots.small import small_calibration
from labresults.queries.people import laboratory
from labresults.queries.repeat_groups import RepeatGroup, gathered
from labresults.queries.run_answers import answers, ranges
from labresults.queries.run_failures import ShownCurve, failure_groups, shown_curves
from labresults.queries.run_pages import RunPage, run_page
from labresults.queries.run_pictures import RunPictures
from labresults.queries.run_positions import what_stood_there
from labresults.templatetags.quantities import allowed, factor, figures, observed, plain
from labresults.terms import CALIBRATING, Role, Verdict
from reports.paper import Notice
from reports.queries.words import amount, date_in_words, labels_in_words, moment_in_words
from reports.render.run_report import render_run_report
from reports.run_report import (
    CurveLine,
    FailureLine,
    FileLine,
    JudgedLine,
    Picture,
    PositionLine,
    RepeatLine,
    RunReport,
)

if TYPE_CHECKING:
    from labresults.models import ControlOutcome, Position
    from labresults.queries.run_failures import FailureGroup

MOST_FAILURES, MOST_REPEATS, MOST_CHECKS = 120, 120, 8
"""So many failures, repeats and drawings of checks are printed; the whole of it stands on the run's page."""


def run_report_pdf(number: str, at: datetime, by: str, version: int | None = None) -> bytes:
    """The report of a run, printed at `at` by somebody; queries as `run_page`, and one.

    version: of the evaluation; None is the newest. Raises Run.DoesNotExist, Evaluation.DoesNotExist, and what drawing
    raises.
    """
    return render_run_report(run_report(number, at, by, version))


def run_report(number: str, at: datetime, by: str, version: int | None = None) -> RunReport:
    """What the report prints; queries as `run_page`, and one. Raises Evaluation.DoesNotExist before any evaluation."""
    page, lab = run_page(number, version), laboratory()
    if page.evaluation is None:
        raise page.missing_evaluation()
    zone = ZoneInfo(lab.time_zone if lab else "UTC")
    failures = list(_failures(failure_groups(page, every=True)))
    repeats = gathered(repeat for repeat in page.repeats if not repeat.settled)
    return RunReport(
        laboratory=lab.name if lab else "",
        number=page.run.number,
        title=page.run.method_version.method.title,
        method=str(page.run.method_version),
        printed=f"{moment_in_words(at.astimezone(zone))}, printed by {by}",
        facts=tuple(_facts(page, zone)),
        answers=tuple(_answers(page)),
        unit=page.loaded.method.solution_unit,
        files=tuple(_files(page, zone)),
        curves=tuple(_curve(shown) for shown in shown_curves(page)),
        smalls=tuple(_smalls(page)),
        pictures=tuple(_pictures(page)),
        judged=tuple(_judged(page.outcomes)),
        failures=tuple(failures[:MOST_FAILURES]),
        failure_count=len(failures),
        left_out=tuple(f"{line} at position {number}" for number, line in page.evaluation.left_out),
        repeats=tuple(_repeats(group) for group in repeats[:MOST_REPEATS]),
        repeat_count=len(repeats),
        positions=tuple(_positions(page.positions)),
        blocks=len({curve.block for curve in page.curves}) > 1,
    )


def _facts(page: RunPage, zone: ZoneInfo) -> Iterator[Notice]:
    run, evaluation = page.run, page.evaluation
    yield Notice("Method", f"{run.method_version}, {run.method_version.method.title}")
    yield Notice("Instrument", f"{run.instrument}, {run.instrument.name}")
    yield Notice("Planned", f"{date_in_words(run.made_at.astimezone(zone).date())} by {run.made_by}")
    if page.files:
        first = min(file.measured_from for file in page.files).astimezone(zone)
        last = max(file.measured_to for file in page.files).astimezone(zone)
        yield Notice("Measured", f"{date_in_words(first)}, {first:%H:%M} to {date_in_words(last)}, {last:%H:%M}")
    if evaluation:
        made = evaluation.made_at.astimezone(zone)
        yield Notice("Evaluation", f"{evaluation.version}, {date_in_words(made)}, {made:%H:%M} by {evaluation.made_by}")
        yield Notice("Its output", f"SHA-256 {evaluation.outputs_sha256}")
        yield Notice("Computed with", f"labresults {evaluation.software}; {evaluation.platform}")
        if evaluation.reason:
            yield Notice("Evaluated anew", evaluation.reason)


def _answers(page: RunPage) -> Iterator[Notice]:
    for answer in answers(page):
        words = answer.words
        if answer.outcome is not None:
            words = f"{observed(answer.outcome)}; {allowed(answer.outcome)} is allowed{words}"
        yield Notice(answer.question, f"{answer.answer}: {words}" if words else answer.answer)


def _files(page: RunPage, zone: ZoneInfo) -> Iterator[FileLine]:
    applied = ", ".join(sorted(str(step) for step in page.loaded.applied))
    for file in page.files:
        came = file.made_at.astimezone(zone)
        yield FileLine(
            name=file.name,
            sha256=file.sha256,
            size=f"{plain(file.size_bytes)} bytes",
            layout=str(file.layout),
            applied=applied or "nothing",
            came=f"{date_in_words(came)}, {came:%H:%M}, {file.made_by}, by {file.way}",
        )


def _curve(shown: ShownCurve) -> CurveLine:
    curve, quality = shown.curve, shown.quality
    working_range = ""
    if quality and quality.top is not None:
        working_range = f"{amount(quality.bottom or 0.0)}–{amount(quality.top)}"
    notes = (curve.problem, quality.shrunk, quality.unsupported) if quality else (curve.problem,)
    return CurveLine(
        line=curve.line,
        block=str(curve.block),
        fitted="no curve" if curve.problem else f"{curve.curve}, {curve.weighting}; {curve.n} points",
        correlation="" if curve.problem else figures(curve.r, 6),
        standard_error=figures(quality.standard_error_percent, 3) if quality else "",
        lowest_error=figures(quality.lowest_error_percent, 3) if quality else "",
        lack_of_fit=figures(quality.lack_of_fit_p, 2) if quality else "",
        working_range=working_range,
        note=" ".join(note for note in notes if note),
    )


def _smalls(page: RunPage) -> Iterator[Picture]:
    pictures = RunPictures(page)
    for curve in page.curves:
        if curve.problem is None:
            yield Picture(curve.line, small_calibration(pictures.drawn(curve)))


def _pictures(page: RunPage) -> Iterator[Picture]:
    """All readings, what runs through all positions, and the checks of lines that failed."""
    pictures = RunPictures(page)
    matrix = pictures.matrix()
    yield from _all_readings(matrix)
    track = pictures.internal_standard()
    if track is not None and len(track.values) > 1:
        yield Picture(finding_of_track(track), track_plot(track))
    failed = dict.fromkeys(str(failure.outcome.line) for failure in page.failures)
    for line in list(failed)[:MOST_CHECKS]:
        checks = pictures.checks(line)
        if checks is not None:
            drawn = sequence_plot(checks.subject, checks.others, checks.low, checks.high, checks.touched)
            yield Picture(finding_of_checks(checks.subject, checks.low, checks.high), drawn)


def _all_readings(matrix: Matrix) -> Iterator[Picture]:
    """A drawing for each band of positions; the first one counts them all."""
    words = "; ".join(f"{plain(count)} {state}" for state, count in counted(matrix).items())
    for number, band in enumerate(parted(matrix)):
        where = f"positions {band.positions[0]}–{band.positions[-1]}"
        yield Picture(f"{where}, by lines" if number else f"All readings, by lines: {words}", matrix_plot(band))


def _judged(outcomes: Sequence["ControlOutcome"]) -> Iterator[JudgedLine]:
    """For each criterion and bound a row for each line where something is outside, and one for all other lines; in the
    order in which they were first judged."""
    groups: dict[tuple[int, str, str], dict[str, list[ControlOutcome]]] = {}
    for outcome in outcomes:
        by_line = groups.setdefault((outcome.criterion_id, outcome.measure, allowed(outcome)), {})
        by_line.setdefault(str(outcome.line), []).append(outcome)
    order = {key: place for place, key in enumerate(dict.fromkeys(key[0] for key in groups))}
    for _, by_line in sorted(groups.items(), key=lambda group: order[group[0][0]]):
        yield from _judged_lines(by_line)


def _judged_lines(by_line: dict[str, list["ControlOutcome"]]) -> Iterator[JudgedLine]:
    failed = {line: rows for line, rows in by_line.items() if any(row.verdict == Verdict.OUTSIDE for row in rows)}
    held = [row for line, rows in by_line.items() if line not in failed for row in rows]
    shown = dict(failed)
    if held:
        alone = len(by_line) - len(failed) == 1
        others = f"the other {len(by_line) - len(failed)} lines" if failed else f"{len(by_line)} lines"
        shown[str(held[0].line) if alone else others] = held
    for line, rows in shown.items():
        first = rows[0]
        known = [row.observed for row in rows if row.observed is not None]
        ends = dict.fromkeys(figures(value, 4) for value in (min(known), max(known))) if known else {}
        yield JudgedLine(
            control=f"{first.criterion.role}: {first.measure}",
            line=line,
            judged=str(sum(row.verdict != Verdict.NOT_JUDGED for row in rows)),
            found=" to ".join(ends) or "no value",
            allowed=allowed(first),
            outside=str(sum(row.verdict == Verdict.OUTSIDE for row in rows) or ""),
            source=first.criterion.source,
        )


def _failures(groups: Iterable["FailureGroup"]) -> Iterator[FailureLine]:
    for group in groups:
        for row in group.rows:
            outcome = row.failure.outcome
            acceptance = None if row.failure.is_open else outcome.acceptance
            yield FailureLine(
                position=str(outcome.position.number),
                control=str(outcome.position.role),
                line="every line" if group.every_line else str(outcome.line),
                found=observed(outcome),
                allowed=allowed(outcome),
                touches=row.touches or "no sample",
                accepted=f"{acceptance.made_by}: {acceptance.reason}" if acceptance else "",
            )


def _repeats(group: RepeatGroup) -> RepeatLine:
    first = group.first
    state = "waits"
    if first.later:
        state = f"in {first.later}"
    elif first.let_stand:
        state = f"let stand by {first.let_stand.made_by}: {first.let_stand.reason}"
    return RepeatLine(
        label=labels_in_words([repeat.position.label for repeat in group.repeats]),
        position=ranges([repeat.position.number for repeat in group.repeats]),
        cause=", ".join([str(first.cause), *first.lines[:6]]),
        how=f"{first.kind}, × {factor(first.factor)}" if group.shows_factor else str(first.kind),
        why=first.why,
        state=state,
    )


def _positions(positions: Sequence["Position"]) -> Iterator[PositionLine]:
    """Neighbours that are samples, alike but for their number, stand in one row; control samples stand alone."""
    for (role, what, dilution), some in groupby(positions, key=lambda p: (p.role, what_stood_there(p), p.dilution)):
        rows = list(some)
        for row in [rows] if role == Role.SAMPLE else ([each] for each in rows):
            yield PositionLine(
                number=str(row[0].number) if len(row) == 1 else f"{row[0].number}–{row[-1].number}",
                place=" to ".join(dict.fromkeys(filter(None, map(_place, (row[0], row[-1]))))),
                label=labels_in_words([position.label for position in row]),
                what=what,
                dilution="" if dilution == 1 else f"× {factor(dilution)}",
                is_control=role not in {Role.SAMPLE, *CALIBRATING},
            )


def _place(position: "Position") -> str:
    return "" if position.cup is None else f"rack {position.rack}, cup {position.cup}"
