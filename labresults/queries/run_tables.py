"""A run and its method version as the calculation needs them. Nothing is computed here.

`load` makes about 14 queries, whatever the size of the run.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from labresults.calculation.run import (
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
from labresults.models import MethodLine, MethodVersion, Reading, Run
from labresults.models import Position as PositionRow
from labresults.queries.run_portions import KnownPortions, Seen, known_portions
from labresults.readers.layout import Applied, Layout
from labresults.terms import (
    BlankRule,
    Curve,
    Measure,
    Reach,
    Role,
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
    criterion_ids: dict[str, int]  # by criterion key
    sample_ids: dict[int, int | None]  # by position number: the sample that its portion was taken of
    known: KnownPortions  # what its portions stand on: the newest that it could see
    applied: frozenset[Applied]  # what is in the readings already


def load(run: Run, *, left_out: LeftOut = (), seen: Seen | None = None) -> LoadedRun:
    """Load a run with its readings, portions, standards and criteria.

    left_out: (position number, line key) of calibration points not to use. seen: see nothing later (for computing an
    old evaluation again); None sees all.
    """
    version = run.method_version
    line_rows = list(version.lines.select_related("line__element").order_by("rank", "line__element_id", "line__label"))
    keys = tuple(str(row.line) for row in line_rows)
    positions = list(
        run.positions.select_related("portion__batch", "portion__subsample__sample", "lot", "parent").order_by("number")
    )
    known = known_portions(run, positions, seen)
    table = _table(run, positions, keys, left_out, known)
    criteria = list(version.criteria.order_by("pk"))
    applied = _applied(run)
    return LoadedRun(
        table=table,
        method=_specification(version, line_rows, criteria, Applied.CALIBRATION in applied),
        positions={row.number: row for row in positions},
        line_ids={str(row.line): row.line_id for row in line_rows},
        criterion_ids={_criterion_key(row.pk): row.pk for row in criteria},
        sample_ids={
            row.number: row.portion.subsample.sample_id if row.portion and row.portion.subsample else None
            for row in positions
        },
        known=known,
        applied=applied,
    )


def _table(
    run: Run,
    positions: Sequence[PositionRow],
    keys: tuple[str, ...],
    left_out: LeftOut,
    known: KnownPortions,
) -> RunTable:
    shape = (len(positions), len(keys))
    signal, spread, count = (np.full(shape, np.nan), np.full(shape, np.nan), np.zeros(shape))
    saturated = np.zeros(shape, dtype=bool)
    row_of = {p.pk: index for index, p in enumerate(positions)}
    column_of = {key: index for index, key in enumerate(keys)}
    for reading in Reading.objects.filter(run=run).select_related("line"):
        at = row_of[reading.position_id], column_of[str(reading.line)]
        if reading.mean is not None:
            signal[at] = reading.mean
        if reading.sd is not None:
            spread[at] = reading.sd
        count[at] = reading.count
        saturated[at] = reading.saturated
    elements = sorted({key.partition(" ")[0] for key in keys})
    return RunTable(
        positions=tuple(_position(p, known, elements) for p in positions),
        line_keys=keys,
        signal=signal,
        spread=spread,
        count=count,
        saturated=saturated,
        left_out=frozenset(left_out),
    )


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
    )


def _specification(
    version: MethodVersion, line_rows: Sequence[MethodLine], criteria: Sequence[CriterionRow], calibrated: bool
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
    )


def _criterion_key(pk: int) -> str:
    return f"criterion {pk}"


def _applied(run: Run) -> frozenset[Applied]:
    """What the layouts of the run's files say is in the numbers already; one query."""
    layouts = run.files.values_list("layout__specification", flat=True)
    return frozenset(step for text in layouts for step in Layout.from_json(text).applied)
