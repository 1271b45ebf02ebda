"""A run and its method version as the calculation needs them. Nothing is computed here.

`load` makes about 14 queries, whatever the size of the run.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from labresults.calculation.run import (
    RULES,
    Array,
    Criterion,
    Determination,
    Expected,
    Interference,
    LineSpecification,
    MethodSpecification,
    Position,
    RunTable,
)
from labresults.models import Criterion as CriterionRow
from labresults.models import Line, MethodLine, MethodVersion, Reading, Run
from labresults.models import Position as PositionRow
from labresults.queries.run_pieces import (
    LoadedFile,
    added_to,
    files_of,
    replicates_of_standards,
    times_of,
    whole_readings,
)
from labresults.queries.run_portions import KnownPortions, Seen, known_portions
from labresults.readers.layout import Applied
from labresults.terms import (
    BlankRule,
    Curve,
    DriftRule,
    FitOn,
    Measure,
    Reach,
    Repeat,
    Role,
    UncertaintyRule,
    Weighting,
)

LeftOut = Collection[tuple[int, str]]


@dataclass(frozen=True)
class LoadedRun:
    """What `load` gives: the two inputs of the evaluation, and the database keys behind their names."""

    table: RunTable
    method: MethodSpecification
    positions: dict[int, PositionRow]  # by number
    line_ids: dict[str, int]  # by line key
    lines: dict[int, Line]  # by key
    criteria: dict[int, CriterionRow]  # by key
    criterion_ids: dict[str, int]  # by criterion key
    sample_ids: dict[int, int | None]  # by position number: the sample that its portion was taken of
    known: KnownPortions  # what its portions stand on: the newest that it could see
    applied: frozenset[Applied]  # what is in the readings already
    readings: list[Reading]  # of the calibration solutions, and the one that was asked for with them


def load(
    run: Run,
    *,
    left_out: LeftOut = (),
    seen: Seen | None = None,
    rules: int = RULES,
    related: Sequence[str] = (),
    also: tuple[int, int] | None = None,
) -> LoadedRun:
    """Load a run with its readings, portions, standards and criteria.

    left_out: (position number, line key) of calibration points not to use. seen: see nothing later (for computing an
    old evaluation again); None sees all. rules: the edition of the rules of evaluation that it was made by.
    related: what else is loaded with the positions; a query for each step of it. also: position and line (keys) of a
    reading that is wanted whole: for one result; its run's batches come in one query with the positions then.
    """
    version = run.method_version
    line_rows = list(version.lines.select_related("line__element").order_by("rank", "line__element_id", "line__label"))
    line_ids = {str(row.line): row.line_id for row in line_rows}
    positions = _positions(run, related, joined=also is not None)
    known = known_portions(run, positions, seen)
    files = files_of(run)
    readings = whole_readings(run, also) if also or (files and rules > 1) else []
    replicates = replicates_of_standards(readings, files) if rules > 1 else {}
    table = _table(run, positions, line_ids, left_out, known, files if rules > 1 else {}, replicates)
    criteria = list(version.criteria.order_by("pk"))
    applied = frozenset(step for file in files.values() for step in file.layout.applied)
    return LoadedRun(
        table=table,
        method=_specification(version, line_rows, criteria, Applied.CALIBRATION in applied, rules),
        positions={row.number: row for row in positions},
        line_ids=line_ids,
        lines={row.line_id: row.line for row in line_rows},
        criteria={row.pk: row for row in criteria},
        criterion_ids={_criterion_key(row.pk): row.pk for row in criteria},
        sample_ids={
            row.number: row.portion.subsample.sample_id if row.portion and row.portion.subsample else None
            for row in positions
        },
        known=known,
        applied=applied,
        readings=readings,
    )


def _positions(run: Run, related: Sequence[str], *, joined: bool) -> list[PositionRow]:
    """Positions in order, with portion, sample, lot and parent; batches are few, and each is loaded once, or joined."""
    rows = run.positions.select_related("portion__subsample__sample", "lot__material", "parent")
    rows = rows.select_related("portion__batch") if joined else rows.prefetch_related("portion__batch")
    return list(rows.prefetch_related(*related).order_by("number"))


def _table(
    run: Run,
    positions: Sequence[PositionRow],
    line_ids: Mapping[str, int],
    left_out: LeftOut,
    known: KnownPortions,
    files: Mapping[int, LoadedFile],
    replicates: Mapping[tuple[int, str], tuple[float, ...]],
) -> RunTable:
    signal, spread, count, saturated = _readings(run, positions, list(line_ids.values()))
    elements = sorted({key.partition(" ")[0] for key in line_ids})
    return RunTable(
        positions=tuple(_position(p, known, elements) for p in positions),
        line_keys=tuple(line_ids),
        signal=signal,
        spread=spread,
        count=count,
        saturated=saturated,
        left_out=frozenset(left_out),
        replicates=replicates,
        times_s=times_of(files, positions),
    )


def _readings(
    run: Run, positions: Sequence[PositionRow], line_ids: Sequence[int]
) -> tuple[Array, Array, Array, NDArray[np.bool_]]:
    """Means, standard deviations, counts and what was saturated, each [position x line]; one query."""
    readings = Reading.objects.filter(run=run)
    rows = list(readings.values_list("position_id", "line_id", "mean", "sd", "count", "saturated"))
    shape = (len(positions), len(line_ids))
    signal, spread, count = (np.full(shape, np.nan), np.full(shape, np.nan), np.zeros(shape))
    saturated = np.zeros(shape, dtype=bool)
    if rows:
        row_of = {p.pk: index for index, p in enumerate(positions)}
        column_of = {key: index for index, key in enumerate(line_ids)}
        place, line, mean, sd, count_of, over = zip(*rows, strict=True)
        at = [row_of[key] for key in place], [column_of[key] for key in line]
        signal[at], spread[at] = np.array(mean, dtype=np.float64), np.array(sd, dtype=np.float64)
        count[at], saturated[at] = count_of, over
    return signal, spread, count, saturated


def _position(row: PositionRow, known: KnownPortions, elements: Sequence[str]) -> Position:
    held = known.contents.get(row.lot_id, {}) if row.lot_id else {}
    expected = {element: Expected(c.value, c.unit, c.u) for element, c in held.items()}
    if row.role == Role.CALIBRATION_BLANK and not expected:
        expected = {element: Expected(0.0, known.version.solution_unit) for element in elements}
    return Position(
        number=row.number,
        role=Role(row.role),
        label=row.label,
        block=row.block,
        expected=expected,
        portion=known.portion(row) if row.portion_id else None,
        dilution=row.dilution,
        parent=row.parent.number if row.parent else None,
        is_repeat=row.repeat != Repeat.NONE,
        added=added_to(row, known.contents.get(row.added_lot_id or 0, {}), known.version.solution_unit),
    )


def _specification(
    version: MethodVersion,
    line_rows: Sequence[MethodLine],
    criteria: Sequence[CriterionRow],
    calibrated: bool,
    rules: int,
) -> MethodSpecification:
    return MethodSpecification(
        code=str(version),
        solution_unit=version.solution_unit,
        signal_unit=version.signal_unit,
        lines=tuple(_line(row) for row in line_rows),
        determinations=tuple(
            Determination(row.element_id, row.reported_as, row.unit, reporting_limit=row.reporting_limit)
            for row in version.determinations.order_by("ordinal")
        ),
        criteria=tuple(_criterion(row) for row in criteria),
        blank_rule=BlankRule(version.blank_rule),
        dilution_steps=tuple(float(step) for step in version.dilution_steps),
        coverage_factor=version.coverage_factor,
        internal_standard=str(version.internal_standard) if version.internal_standard_id else None,
        instrument_calibrates=calibrated,
        drift_rule=DriftRule(version.drift_rule),
        drift_limit_percent=version.drift_limit_percent,
        lines_agree_percent=version.lines_agree_percent,
        by_additions=version.by_additions,
        uncertainty_rule=UncertaintyRule(version.uncertainty_rule),
        u_mass_g=version.u_mass_g or 0.0,
        u_volume_relative=version.u_volume_relative or 0.0,
        u_dilution_relative=version.u_dilution_relative or 0.0,
        rules=rules,
    )


def _line(row: MethodLine) -> LineSpecification:
    return LineSpecification(
        key=str(row.line),
        element=row.line.element_id,
        rank=row.rank,
        curve=Curve(row.curve),
        weighting=Weighting(row.weighting),
        range_top=row.range_top,
        detection_limit=row.detection_limit,
        quantification_limit=row.quantification_limit,
        u_floor=row.u_floor,
        u_relative=row.u_relative,
        interferences=tuple(Interference(element, float(x)) for element, x in sorted(row.interferences.items())),
        fit_on=FitOn(row.fit_on),
        carry_over=row.carry_over,
        u_precision=row.u_precision or 0.0,
        u_bias=row.u_bias or 0.0,
    )


def _criterion(row: CriterionRow) -> Criterion:
    return Criterion(
        key=_criterion_key(row.pk),
        role=Role(row.role),
        measure=Measure(row.measure),
        low=row.low,
        high=row.high,
        reach=Reach(row.reach),
        remedy=row.remedy,
        element=row.element_id,
        spares_times_blank=row.spares_times_blank,
        near_limit_times=row.near_limit_times,
        near_limit_high=row.near_limit_high,
        least_share=row.least_share,
        least_times=row.least_times,
    )


def _criterion_key(pk: int) -> str:
    return f"criterion {pk}"
