"""What failed in a run, gathered by criterion; lines that disagree; what curves are worth.

No database query: everything comes from a `RunPage`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from labresults.calculation.run import CurveQuality, Disagreement, FittedCurve
from labresults.models import Criterion, Position
from labresults.queries.run_answers import listed, ranges
from labresults.queries.run_pages import Failure, RunPage
from labresults.terms import OF_POSITIONS

SHOWN = 20
"""So many rows of a group stand on the page; all of them where the group is asked for."""


@dataclass(frozen=True)
class FailedRow:
    """One failure in its group: what it touches, in words."""

    failure: Failure
    touches: str  # "10 samples, positions 32–39, 43 and 44"; empty where no sample stands on it


@dataclass(frozen=True)
class FailureGroup:
    """Failures of one criterion, apart by whether somebody accepted them. rows: those shown, of `total`."""

    criterion: Criterion
    is_open: bool
    rows: list[FailedRow]
    total: int
    lines: str
    samples: int
    every_line: bool  # a failure touches all lines of a position

    @property
    def more(self) -> int:
        """How many are not shown."""
        return self.total - len(self.rows)

    @property
    def one(self) -> FailedRow | None:
        """The failure, where it is the only one."""
        return self.rows[0] if self.total == 1 else None


@dataclass(frozen=True)
class ShownCurve:
    """A curve with its quality; none under the rules before there were any."""

    curve: FittedCurve
    quality: CurveQuality | None


@dataclass(frozen=True)
class Disagreeing:
    """Two lines of one element that disagree, with the position where they do."""

    disagreement: Disagreement
    position: Position


def failure_groups(page: RunPage, opened: int | None = None, *, every: bool = False) -> list[FailureGroup]:
    """Failures by criterion: open ones first, then those that touch most samples.

    opened: key of a criterion that is shown whole; every: all of them are.
    """
    found: dict[tuple[bool, int], list[Failure]] = {}
    for failure in page.failures:
        found.setdefault((failure.is_open, failure.outcome.criterion_id), []).append(failure)
    groups = [_group(rows, every or rows[0].outcome.criterion_id == opened) for rows in found.values()]
    return sorted(groups, key=lambda group: (not group.is_open, -group.samples))


def shown_curves(page: RunPage, most: int | None = None) -> list[ShownCurve]:
    """The curves, those without a fit first, then by their relative standard error, the largest first."""
    qualities = {(q.block, q.line): q for q in page.evaluated.qualities} if page.evaluated else {}
    curves = [ShownCurve(curve, qualities.get((curve.block, curve.line))) for curve in page.curves]
    return sorted(curves, key=_worth)[:most]


def disagreements(page: RunPage) -> list[Disagreeing]:
    """Lines of one element that disagree, the farthest apart first."""
    by_number = {position.number: position for position in page.positions}
    rows = page.evaluated.disagreements if page.evaluated else ()
    found = [Disagreeing(row, by_number[row.position]) for row in rows]
    return sorted(found, key=lambda each: -each.disagreement.difference_percent)


def _group(failures: Sequence[Failure], is_opened: bool) -> FailureGroup:
    first = failures[0].outcome
    lines = list(dict.fromkeys(str(failure.outcome.line) for failure in failures))
    shown = failures if is_opened or len(failures) <= SHOWN + 5 else failures[:SHOWN]
    return FailureGroup(
        criterion=first.criterion,
        is_open=failures[0].is_open,
        rows=[FailedRow(failure, _touches(failure)) for failure in shown],
        total=len(failures),
        lines=listed(lines, 6),
        samples=len({sample.pk for failure in failures for sample in failure.samples}),
        every_line=first.measure in OF_POSITIONS,
    )


def _touches(failure: Failure) -> str:
    if not failure.positions:
        return ""
    count, places = len(failure.samples), len(failure.positions)
    return (
        f"{count} sample{'s' if count != 1 else ''}, position{'s' if places != 1 else ''} {ranges(failure.positions)}"
    )


def _worth(shown: ShownCurve) -> tuple[bool, bool, float]:
    quality = shown.quality
    error = quality.standard_error_percent if quality else None
    return shown.curve.problem is None, not (quality and quality.shrunk), -(error or 0.0)
