"""From what a page knows to its drawings. Texts inside are escaped by the drawings themselves."""

from collections.abc import Mapping
from dataclasses import dataclass

from django.utils.safestring import SafeString, mark_safe

from labresults.plots.axes import written
from labresults.plots.calibration import calibration_plot, residual_plot
from labresults.plots.code import code_plot
from labresults.plots.internal_standard import finding, track_plot
from labresults.plots.matrix import Matrix, State, counted, mark_of, matrix_plot
from labresults.plots.sequence import finding as finding_of_checks
from labresults.plots.sequence import sequence_plot
from labresults.plots.small import small_calibration
from labresults.queries.run_answers import largest_residual
from labresults.queries.run_pictures import RunPictures


@dataclass(frozen=True)
class Picture:
    """A drawing and its finding in words."""

    finding: str
    drawing: SafeString


@dataclass(frozen=True)
class Small:
    """A line among all: its drawing in small, or why it has no curve."""

    line: str
    drawing: SafeString
    problem: str
    is_shown: bool


@dataclass(frozen=True)
class LineDrawings:
    """The drawings of one line in one block, and what else can be drawn. before, after: the lines beside it."""

    line: str
    block: int
    lines: tuple[str, ...]
    blocks: tuple[int, ...]
    before: str
    after: str
    problem: str
    largest: str
    calibration: SafeString
    residuals: SafeString
    tracks: list[Picture]  # the checks, the internal standard, the drift


@dataclass(frozen=True)
class Legend:
    """A mark of the picture of all readings, what it means and how often it is there."""

    mark: SafeString
    words: str
    count: int


@dataclass(frozen=True)
class AllReadings:
    """The picture of all readings."""

    drawing: SafeString
    legend: list[Legend]
    is_large: bool


def line_drawings(pictures: RunPictures, asked: str = "", block: int | None = None) -> LineDrawings | None:
    """Curve, residuals and checks of the line that was asked for, else of the first that failed; no query."""
    lines, blocks = pictures.lines, pictures.blocks
    if not lines:
        return None
    line = asked if asked in lines else pictures.most_telling()
    shown = block if block in blocks else blocks[0]
    at, curve = lines.index(line), pictures.curve(line, shown)
    drawn = pictures.drawn(curve) if curve and curve.problem is None else None
    largest = largest_residual([curve]) if curve else None
    return LineDrawings(
        line=line,
        block=shown,
        lines=lines,
        blocks=blocks,
        before=lines[at - 1] if at else "",
        after=lines[at + 1] if at + 1 < len(lines) else "",
        problem=(curve.problem or "") if curve else "it has no standards in this block.",
        largest=written(abs(largest[1].residual_percent or 0.0), 2) if largest else "",
        calibration=safe(calibration_plot(drawn) if drawn else ""),
        residuals=safe(residual_plot(drawn) if drawn and largest else ""),
        tracks=_tracks(pictures, line),
    )


def small_drawings(pictures: RunPictures, shown: LineDrawings | None) -> list[Small]:
    """Every line's curve in small, of the block that is shown; no query."""
    curves = [(line, pictures.curve(line, shown.block)) for line in shown.lines] if shown else []
    return [
        Small(
            line,
            safe(small_calibration(pictures.drawn(curve)) if curve.problem is None else ""),
            curve.problem or "",
            shown is not None and line == shown.line,
        )
        for line, curve in curves
        if curve is not None
    ]


def all_readings(pictures: RunPictures, addresses: Mapping[str, str]) -> AllReadings:
    """What each reading says, as a picture. addresses: of the lines; no query."""
    matrix = pictures.matrix(addresses)
    return AllReadings(safe(matrix_plot(matrix)), _legend(matrix), len(matrix.positions) > LARGE)


LARGE = 160
"""A picture of more positions than this scrolls in a window of its own."""


def _legend(matrix: Matrix) -> list[Legend]:
    return [Legend(safe(mark_of(State(state))), state, count) for state, count in counted(matrix).items()]


def _tracks(pictures: RunPictures, line: str) -> list[Picture]:
    found = []
    checks = pictures.checks(line)
    if checks is not None:
        drawing = sequence_plot(checks.subject, checks.others, checks.low, checks.high, checks.touched)
        words = finding_of_checks(checks.subject, checks.low, checks.high)
        if checks.failed_at is not None:
            words += f" The band is what position {checks.failed_at} touches."
        found.append(Picture(words, safe(drawing)))
    for track in (pictures.internal_standard(), pictures.drift(line)):
        if track is not None and (drawing := track_plot(track)):
            found.append(Picture(f"{finding(track)}.", safe(drawing)))
    return found


def code_drawing(text: str) -> SafeString:
    """A two-dimensional code that a telephone reads; no query."""
    return safe(code_plot(text, "Code for a program for one-time codes"))


def safe(drawing: str) -> SafeString:
    """A drawing as it may stand in a page."""
    return mark_safe(drawing)  # every text in it was escaped where it was drawn
