"""The rows of an evaluation: curves, judged control samples, results. Parts of the act, under its lock."""

from collections.abc import Mapping, Sequence
from functools import cache
from json import dumps
from math import isfinite
from typing import Any

import numpy as np
from django.db.models import Model
from numpy.typing import NDArray

from labresults import bulk
from labresults.calculation.result_table import marks_of
from labresults.calculation.run import CurveQuality
from labresults.calculation.run import Evaluation as Evaluated
from labresults.models import Calibration, ControlOutcome, DiscardedPortion, Evaluation, Result
from labresults.queries.run_tables import LoadedRun
from labresults.terms import Role


def _number(value: float | None) -> float | None:
    """A database has no NaN on SQLite: what is not a number is nothing."""
    return float(value) if value is not None and isfinite(value) else None


Columns = Mapping[str, Sequence[Any]]
"""Rows of one table, column by column."""


def store(evaluation: Evaluation, loaded: LoadedRun, evaluated: Evaluated) -> None:
    """Keep everything that an evaluation gave."""
    for model, columns in rows_of(evaluation, loaded, evaluated).items():
        bulk.insert_columns(model, columns)


def rows_of(evaluation: Evaluation, loaded: LoadedRun, evaluated: Evaluated) -> dict[type[Model], Columns]:
    """What is stored of an evaluation, by table; one query."""
    return {
        Calibration: _curves(evaluation, loaded, evaluated),
        ControlOutcome: _outcomes(evaluation, loaded, evaluated),
        Result: _results(evaluation, loaded, evaluated),
    }


def _curves(evaluation: Evaluation, loaded: LoadedRun, evaluated: Evaluated) -> Columns:
    """A row for each fitted curve, with how good it is."""
    names = (
        "evaluation block line curve weighting b0 b1 b2 se_b0 se_b1 se_b2 residual_sd r count low high points problem"
        " fit_on bottom top standard_error_percent lowest_error_percent lack_of_fit_f lack_of_fit_p"
    )
    qualities = {(quality.block, quality.line): quality for quality in evaluated.qualities}
    rows = []
    for curve in evaluated.curves:
        points = [
            [p.position, *map(_number, (p.x, p.y, p.weight, p.read_back, p.residual_percent)), p.used]
            for p in curve.points
        ]
        rows.append(
            (
                evaluation.pk,
                curve.block,
                loaded.line_ids[curve.line],
                str(curve.curve),
                str(curve.weighting),
                *map(_number, curve.coefficients),
                *map(_number, curve.standard_errors),
                _number(curve.residual_sd),
                _number(curve.r),
                curve.n,
                _number(curve.low),
                _number(curve.high),
                points,
                curve.problem or "",
                str(curve.fit_on),
                *_of_quality(qualities.get((curve.block, curve.line))),
            )
        )
    return _by_column(names.split(), rows)


def _by_column(names: Sequence[str], rows: Sequence[Sequence[Any]]) -> Columns:
    return dict(zip(names, zip(*rows, strict=True), strict=True)) if rows else {name: () for name in names}


def _of_quality(quality: CurveQuality | None) -> list[float | None]:
    """What is stored of how good a curve is; nothing of an evaluation by the first edition of the rules."""
    if quality is None:
        return [None] * 6
    errors = (quality.standard_error_percent, quality.lowest_error_percent)
    return [*map(_number, (quality.bottom, quality.top, *errors, quality.lack_of_fit_f, quality.lack_of_fit_p))]


def _outcomes(evaluation: Evaluation, loaded: LoadedRun, evaluated: Evaluated) -> Columns:
    """A row for each control sample judged at a line."""
    names = "evaluation position line criterion measure observed expected found verdict reach why touches"
    return _by_column(
        names.split(),
        [
            (
                evaluation.pk,
                loaded.positions[o.position].pk,
                loaded.line_ids[o.line],
                loaded.criterion_ids[o.criterion],
                str(o.measure),
                _number(o.observed),
                _number(o.expected),
                _number(o.found),
                str(o.verdict),
                str(o.reach),
                o.why,
                list(o.touches),
            )
            for o in evaluated.outcomes
        ],
    )


def _results(evaluation: Evaluation, loaded: LoadedRun, evaluated: Evaluated) -> Columns:
    """A row for each result, made column by column: a run may have tens of thousands."""
    table = evaluated.results
    rows, columns = (index.tolist() for index in np.nonzero(table.kept))
    numbers = [position.number for position in table.positions]
    lines, determined = table.lines, table.determinations
    # What was lost after the run was planned may have been read, but never stands for its sample.
    lost = DiscardedPortion.objects.filter(portion__positions__run=evaluation.run_id, made_at__lte=evaluation.made_at)
    discarded = set(lost.values_list("portion_id", flat=True))
    of_rows = {
        "position": [loaded.positions[number].pk for number in numbers],
        "sample": [loaded.sample_ids[number] for number in numbers],
        "is_candidate": [
            row.role == Role.SAMPLE and row.portion_id not in discarded
            for row in (loaded.positions[number] for number in numbers)
        ],
    }
    of_columns = {
        "line": [loaded.line_ids[line.key] for line in lines],
        "element": [line.element for line in lines],
        "rank": [line.rank for line in lines],
        "reported_as": [each.reported_as for each in determined],
        "unit": [each.unit for each in determined],
        "reporting_limit": [_number(each.reporting_limit) for each in determined],
    }
    of_cells = ("value", "detection_limit", "quantification_limit", "upper_limit", "u", "u_reading", "expanded_u")
    count = len(rows)
    return {
        "evaluation": [evaluation.pk] * count,
        **{name: [values[row] for row in rows] for name, values in of_rows.items()},
        **{name: [values[column] for column in columns] for name, values in of_columns.items()},
        **{name: _or_nothing(getattr(table, name)[table.kept]) for name in (*of_cells, "solution")},
        "basis": [str(basis) for basis in table.bases()],
        "coverage_factor": [table.coverage_factor] * count,
        "marks": [_marks_as_json(bits) for bits in table.marks[table.kept].tolist()],
        "why_no_value": [table.why.get(place, "") for place in zip(rows, columns, strict=True)],
    }


@cache
def _marks_as_json(bits: int) -> bulk.Json:
    return bulk.Json(dumps([str(mark) for mark in marks_of(bits)], ensure_ascii=False))


def _or_nothing(values: NDArray[Any]) -> list[float | None]:
    """As `_number`, of many."""
    found: list[float | None] = values.tolist()
    for place in np.flatnonzero(~np.isfinite(values)).tolist():
        found[place] = None
    return found
