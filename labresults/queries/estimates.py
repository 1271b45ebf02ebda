"""What the laboratory's own runs say of a method's lines. Each function says how many database queries it makes."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import OuterRef, QuerySet, Subquery

from labresults.models import (
    Calibration,
    ControlOutcome,
    Evaluation,
    InterferenceEstimate,
    LimitEstimate,
    MethodLine,
    MethodVersion,
)
from labresults.terms import LimitQuantity, Role

BLANKS = (Role.METHOD_BLANK, Role.BLANK_CHECK)
"""Roles whose concentrations say what nothing looks like."""

LOW = (Role.LOW_LEVEL_CHECK, Role.CONTROL_SAMPLE)
"""Roles that may have been spiked near the limit."""

MOST = 200
"""Values offered of one kind, the newest first."""


@dataclass(frozen=True)
class FoundValue:
    """What was found at a position of a run, in the solution unit; `key` is that of the position."""

    key: int
    run: str
    number: int
    label: str
    role: str
    found: float
    on: date


def found_values(version: MethodVersion, line: int, roles: Collection[Role]) -> list[FoundValue]:
    """What control samples of these roles were found to hold at a line in evaluated runs of this method version.

    The newest run first; of each run its newest evaluation. One query.
    """
    rows = (
        of_newest_evaluations(ControlOutcome.objects.all(), version)
        .filter(line=line, position__role__in=roles, found__isnull=False)
        .order_by("-evaluation__run__pk", "position__number")
        .values_list(
            "position",
            "evaluation__run__number",
            "position__number",
            "position__label",
            "position__role",
            "found",
            "evaluation__made_at",
        )
        .distinct()[:MOST]
    )
    by_position = {row[0]: FoundValue(*row[:6], row[6].date()) for row in rows}
    return list(by_position.values())


def calibrations_of(version: MethodVersion, line: int) -> list[Calibration]:
    """Curves of a line in the newest evaluations of this method version's runs, the newest first; one query."""
    rows = of_newest_evaluations(Calibration.objects.filter(problem="", line=line), version)
    return list(rows.select_related("evaluation__run").order_by("-pk")[:20])


def points_above_zero(calibration: Calibration) -> tuple[list[float], list[float]]:
    """Concentrations and signals of the points in use but for blanks: DIN 32645 leaves them out; no query."""
    used = [point for point in calibration.points if point[6] and point[1] and point[2] is not None]
    return [point[1] for point in used], [point[2] for point in used]


def limit_estimates(version: MethodVersion) -> list[LimitEstimate]:
    """Every limit that was estimated for a method version, by line, the newest first; one query."""
    rows = version.limit_estimates.select_related("line", "made_by")
    return list(rows.order_by("line__element_id", "line__label", "-pk"))


def newest_estimates(estimates: Sequence[LimitEstimate]) -> dict[tuple[int, LimitQuantity], LimitEstimate]:
    """The newest estimate of each line and quantity; no query."""
    found: dict[tuple[int, LimitQuantity], LimitEstimate] = {}
    for row in sorted(estimates, key=lambda each: each.pk):
        found[row.line_id, LimitQuantity(row.quantity)] = row
    return found


@dataclass(frozen=True)
class Coefficient:
    """What an element was found to pretend at a line, beside what the method has now."""

    row: InterferenceEstimate
    line: MethodLine
    now: float  # 0 where the method corrects nothing
    is_newest: bool  # of this line and element

    @property
    def is_significant(self) -> bool:
        """At least three standard uncertainties (common practice, no source)."""
        return self.row.u is not None and abs(self.row.apparent) >= 3.0 * self.row.u

    @property
    def is_changed(self) -> bool:
        """More than a tenth away from what the method has (EPA Method 200.7, revision 4.4 (1994), 7.13)."""
        return abs(self.row.apparent - self.now) > 0.1 * abs(self.now)


def coefficients_of(version: MethodVersion, lines: Sequence[MethodLine]) -> list[Coefficient]:
    """What single-element solutions showed in runs of a method, the newest first; one query."""
    by_line = {line.line_id: line for line in lines}
    rows = InterferenceEstimate.objects.filter(
        evaluation__run__method_version__method=version.method_id, line__in=by_line
    ).select_related("line", "position", "evaluation__run", "made_by")
    seen: set[tuple[int, str]] = set()
    found = []
    for row in rows.order_by("-pk"):
        line = by_line[row.line_id]
        key = (row.line_id, row.element_id)
        found.append(Coefficient(row, line, float(line.interferences.get(row.element_id, 0.0)), key not in seen))
        seen.add(key)
    return found


def runs_with_checks(version: MethodVersion) -> list[Evaluation]:
    """Newest evaluations of runs of this version that hold interference checks and no coefficients yet; one query."""
    newest = Evaluation.objects.filter(run=OuterRef("run")).order_by("-version").values("pk")[:1]
    rows = Evaluation.objects.filter(
        pk=Subquery(newest),
        run__method_version=version,
        run__positions__role=Role.INTERFERENCE_CHECK,
        interference_estimates__isnull=True,
    )
    return list(rows.select_related("run").order_by("-pk").distinct())


def of_newest_evaluations(rows: QuerySet[Any], version: MethodVersion) -> QuerySet[Any]:
    """Rows of evaluations that are the newest of a run of this method version; no query by itself."""
    newest = Evaluation.objects.filter(run=OuterRef("evaluation__run")).order_by("-version").values("pk")[:1]
    return rows.filter(evaluation__run__method_version=version, evaluation=Subquery(newest))
