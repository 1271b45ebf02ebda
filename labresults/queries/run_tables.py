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
    Portion,
    Position,
    RunTable,
)
from labresults.models import Content, MethodLine, MethodVersion, Reading, Request, Run, Weighing
from labresults.models import Criterion as CriterionRow
from labresults.models import Position as PositionRow
from labresults.readers.layout import Applied, Layout
from labresults.terms import (
    Basis,
    BlankRule,
    Curve,
    Measure,
    Reach,
    Role,
    SolutionKind,
    State,
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
    weighings: dict[int, Weighing]  # by portion: the newest that it could see
    last_weighing: int
    last_request: int
    applied: frozenset[Applied]  # what is in the readings already


def load(
    run: Run, *, left_out: LeftOut = (), last_weighing: int | None = None, last_request: int | None = None
) -> LoadedRun:
    """Load a run with its readings, portions, standards and criteria.

    left_out: (position number, line key) of calibration points not to use. last_weighing, last_request: see nothing
    later than these keys (for computing an old evaluation again); None sees all.
    """
    version = run.method_version
    line_rows = list(version.lines.select_related("line__element").order_by("rank", "line__element_id", "line__label"))
    keys = tuple(str(row.line) for row in line_rows)
    positions = list(
        run.positions.select_related("portion__batch", "portion__subsample__sample", "lot", "parent").order_by("number")
    )
    weighings = _newest_weighings(positions, last_weighing)
    contents = _contents(positions, weighings, version)
    requests = _requests(positions, last_request)
    bases = {submission: Basis(request.basis) for submission, request in requests.items()}
    table = _table(run, positions, keys, left_out, weighings, contents, bases, version)
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
        weighings=weighings,
        last_weighing=max((w.pk for w in weighings.values()), default=0),
        last_request=max((r.pk for r in requests.values()), default=0),
        applied=applied,
    )


def _newest_weighings(positions: Sequence[PositionRow], last: int | None) -> dict[int, Weighing]:
    rows = Weighing.objects.filter(portion__in=[p.portion_id for p in positions if p.portion_id])
    if last is not None:
        rows = rows.filter(pk__lte=last)
    related = rows.select_related("made_by", "balance", "spike_lot")
    return {row.portion_id: row for row in related.order_by("version")}


def _contents(
    positions: Sequence[PositionRow], weighings: dict[int, Weighing], version: MethodVersion
) -> dict[int, dict[str, Content]]:
    """Contents by lot and element: of solutions, and as certified under the method version's dissolution."""
    lots = {p.lot_id for p in positions if p.lot_id} | {w.spike_lot_id for w in weighings.values() if w.spike_lot_id}
    found: dict[int, dict[str, Content]] = {}
    for row in Content.objects.filter(lot__in=lots, dissolution__in=["", version.dissolution]):
        found.setdefault(row.lot_id, {})[row.element_id] = row
    return found


def _requests(positions: Sequence[PositionRow], last: int | None) -> dict[int, Request]:
    """The newest request of each submission in the run, which says what its samples are reported on; one query."""
    submissions = {p.portion.subsample.sample.submission_id for p in positions if p.portion and p.portion.subsample}
    rows = Request.objects.filter(submission__in=submissions)
    if last is not None:
        rows = rows.filter(pk__lte=last)
    return {row.submission_id: row for row in rows.order_by("version")}


def _table(
    run: Run,
    positions: Sequence[PositionRow],
    keys: tuple[str, ...],
    left_out: LeftOut,
    weighings: dict[int, Weighing],
    contents: dict[int, dict[str, Content]],
    bases: dict[int, Basis],
    version: MethodVersion,
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
        positions=tuple(_position(p, weighings, contents, bases, version, elements) for p in positions),
        line_keys=keys,
        signal=signal,
        spread=spread,
        count=count,
        saturated=saturated,
        left_out=frozenset(left_out),
    )


def _position(
    row: PositionRow,
    weighings: dict[int, Weighing],
    contents: dict[int, dict[str, Content]],
    bases: dict[int, Basis],
    version: MethodVersion,
    elements: Sequence[str],
) -> Position:
    held = contents.get(row.lot_id, {}) if row.lot_id else {}
    expected = {element: Expected(c.value, c.unit, c.u) for element, c in held.items()}
    if row.role == Role.CALIBRATION_BLANK and not expected:
        expected = {element: Expected(0.0, version.solution_unit) for element in elements}
    return Position(
        number=row.number,
        role=Role(row.role),
        label=row.label,
        block=row.block,
        expected=expected,
        portion=_portion(row, weighings, contents, bases, version) if row.portion_id else None,
        dilution=row.dilution,
        parent=row.parent.number if row.parent else None,
    )


def _portion(
    row: PositionRow,
    weighings: dict[int, Weighing],
    contents: dict[int, dict[str, Content]],
    bases: dict[int, Basis],
    version: MethodVersion,
) -> Portion:
    portion, weighing = row.portion, weighings[row.portion_id]
    sample = portion.subsample.sample if portion.subsample else None
    spiked = contents.get(weighing.spike_lot_id, {}) if weighing.spike_lot_id else {}
    return Portion(
        key=portion.label,
        batch=portion.batch.number,
        kind=SolutionKind(version.solution_kind),
        mass_g=weighing.mass_g,
        volume_mL=weighing.volume_mL,
        aliquot_mL=weighing.aliquot_mL,
        solvent_g=weighing.solvent_g,
        dilution=weighing.dilution,
        state=State(weighing.state),
        moisture_percent=weighing.moisture_percent,
        density_kg_per_L=sample.density_kg_per_L if sample else None,
        # mL of a solution in mg/L: thousandths of a litre
        added_mg={element: c.value * (weighing.spike_mL or 0.0) / 1000 for element, c in spiked.items()},
        basis=bases.get(sample.submission_id) if sample else None,
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
