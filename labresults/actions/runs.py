"""Runs: planned with the control samples that the method asks for; their files of readings are taken whole."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from labresults import bulk
from labresults.actions.numbering import next_number
from labresults.acts import BadInput, Done, WrongState, act, require_task
from labresults.chain import digest_rows
from labresults.models import (
    Equipment,
    Layout,
    Line,
    Lot,
    MethodVersion,
    Person,
    PlannedControl,
    Position,
    Reading,
    ReadingFile,
    Run,
    TestPortion,
    Weighing,
)
from labresults.queries.materials import current_lot, is_overdue
from labresults.readers.layout import Layout as LayoutSpecification
from labresults.readers.read import read
from labresults.readers.reading import ReadFile
from labresults.readers.run_check import check_against_run
from labresults.terms import Role, Task

READING_COLUMNS = (
    "run", "position", "line", "file", "file_row", "replicates", "mean", "sd", "count", "missing", "saturated",
)  # fmt: skip


@dataclass
class _Place:
    """A position while the run list is being made."""

    role: Role
    label: str
    lot: Lot | None = None
    portion: TestPortion | None = None
    parent: "_Place | None" = None
    dilution: float = 1.0
    repeat_cause: str = ""
    row: Position = field(default_factory=Position)


@act("plan_run")
def plan_run(
    *,
    by: Person,
    at: datetime,
    reason: str,
    method_version: MethodVersion,
    portions: Sequence[TestPortion],
    instrument: Equipment,
    dilutions: Mapping[int, float] | None = None,
) -> Done[Run]:
    """Plan a run: blank and standards, the checks that the method asks for at their places, and the test solutions.

    dilutions: made at the instrument, by key of the portion. The reason is the cause of each repeat, recorded before it
    is read. Raises BadInput for a portion of another method, one that was not weighed, no valid lot, or an overdue
    instrument without a reason.
    """
    require_task(by, Task.MEASURE, method_version.method, at.date())
    _refuse_bad_plan(method_version, portions, instrument, reason, at)
    repeats = _repeats(portions, dilutions or {})
    if repeats and not reason:
        named = ", ".join(portion.label for portion in portions if portion.pk in repeats)[:80]
        raise BadInput(f"Read before, or diluted at the instrument: {named}. Give the cause before it is measured.")
    places = _places(method_version, portions, dilutions or {}, dict.fromkeys(repeats, reason), at)
    run = Run.objects.create(
        number=next_number("R", at), method_version=method_version, instrument=instrument, made_by=by, made_at=at
    )
    for number, place in enumerate(places, start=1):
        place.row = Position.objects.create(
            run=run,
            number=number,
            role=place.role,
            label=place.label,
            lot=place.lot,
            portion=place.portion,
            parent=place.parent.row if place.parent else None,
            dilution=place.dilution,
            repeat_cause=place.repeat_cause,
        )
    return Done(
        run,
        subject=("run", run.number),
        after={
            "method": str(method_version),
            "instrument": instrument.code,
            "positions": [[n, str(p.role), p.label, p.lot.number if p.lot else None] for n, p in enumerate(places, 1)],
        },
    )


def _parsed(
    *, run: Run, content: bytes, filename: str, layout: Layout, by: Person, at: datetime, reason: str, **_: object
) -> ReadFile:
    """Read the file before the lock: understanding a large one may take seconds."""
    return read(content, filename, LayoutSpecification.from_json(layout.specification))


@act("import_readings", prepare=_parsed)
def import_readings(
    *,
    by: Person,
    at: datetime,
    reason: str,
    run: Run,
    content: bytes,
    filename: str,
    layout: Layout,
    measured_from: datetime | None = None,
    measured_to: datetime | None = None,
    prepared: ReadFile,
) -> Done[ReadingFile]:
    """Take a file of readings: all of it, or nothing; the bytes are kept with their SHA-256.

    Raises BadInput with every problem at its row and column; WrongState when the same bytes were taken before (it names
    where), or the readings of these lines are there already.
    """
    require_task(by, Task.MEASURE, run.method_version.method, at.date())
    sha256 = hashlib.sha256(content).hexdigest()
    _refuse_same_bytes(sha256)
    lines = {str(row.line): row.line for row in run.method_version.lines.select_related("line")}
    positions = list(run.positions.all())
    _refuse_bad_file(run, filename, prepared, positions, lines)
    file = ReadingFile.objects.create(
        run=run,
        name=filename[-255:],
        sha256=sha256,
        content=content,
        size_bytes=len(content),
        layout=layout,
        unit=prepared.unit,
        measured_from=measured_from or at,
        measured_to=measured_to or measured_from or at,
        made_by=by,
        made_at=at,
    )
    rows = _reading_rows(file, prepared, positions, lines)
    bulk.insert(Reading, READING_COLUMNS, rows)
    return Done(
        file,
        subject=("run", run.number),
        after={
            "file": filename,
            "sha256": sha256,
            "bytes": len(content),
            "layout": str(layout),
            "readings": len(rows),
            "digest of readings": digest_rows(row[4:] for row in rows),
        },
    )


def _repeats(portions: Sequence[TestPortion], dilutions: Mapping[int, float]) -> set[int]:
    """Keys of the portions that are measured again: another run holds them, or they are diluted for this one."""
    read = set(Position.objects.filter(portion__in=portions).values_list("portion_id", flat=True))
    return read | {key for key, factor in dilutions.items() if factor != 1.0}


def _refuse_same_bytes(sha256: str) -> None:
    same = ReadingFile.objects.filter(sha256=sha256).select_related("run").first()
    if same:
        raise WrongState(
            f"This file was taken before, as {same.name} of run {same.run.number},"
            f" on {same.made_at:%d %b %Y %H:%M} UTC."
        )


def _refuse_bad_file(
    run: Run, filename: str, read_file: ReadFile, positions: Sequence[Position], lines: Mapping[str, Line]
) -> None:
    """Refuse a file with any problem of its own or beside the plan, and one for lines that are read already."""
    there = {str(line) for line in Line.objects.filter(pk__in=run.readings.values("line"))}
    if there >= set(lines):
        raise WrongState(f"{run} has its readings already. A second measurement is a run of its own.")
    problems = read_file.problems or check_against_run(
        read_file, [(p.number, p.label) for p in positions], sorted(set(lines) - there)
    )
    if problems:
        raise BadInput(f"{len(problems)} problems in {filename}; nothing was taken.", tuple(problems))


def _reading_rows(
    file: ReadingFile, read_file: ReadFile, positions: Sequence[Position], lines: Mapping[str, Line]
) -> list[tuple[Any, ...]]:
    """Rows of readings in the order of `READING_COLUMNS`; a file without position numbers goes by its labels."""
    numbered = {position.number: position.pk for position in positions}
    labelled = {position.label: position.pk for position in positions}
    return [
        (
            file.run_id,
            labelled[reading.label] if reading.position is None else numbered[reading.position],
            lines[reading.line].pk,
            file.pk,
            reading.row,
            list(reading.replicates),
            reading.mean,
            reading.sd,
            reading.count,
            reading.missing,
            reading.saturated,
        )
        for reading in read_file.readings
    ]


def _refuse_bad_plan(
    version: MethodVersion, portions: Sequence[TestPortion], instrument: Equipment, reason: str, at: datetime
) -> None:
    if not portions:
        raise BadInput("A run needs at least one test solution.")
    foreign = [p.label for p in portions if p.batch.method_version.method_id != version.method_id]
    if foreign:
        raise BadInput(f"Prepared by another method: {', '.join(foreign[:5])}.")
    weighed = set(Weighing.objects.filter(portion__in=portions).values_list("portion_id", flat=True))
    missing = [p.label for p in portions if p.pk not in weighed]
    if missing:
        raise BadInput(f"Nothing is recorded yet of {', '.join(missing[:5])}: mass and volume first.")
    if is_overdue(instrument, at.date()) and not reason:
        raise BadInput(f"{instrument} is overdue for its check. Have it checked, or give a reason that goes on record.")


def _places(
    version: MethodVersion,
    portions: Sequence[TestPortion],
    dilutions: Mapping[int, float],
    causes: Mapping[int, str],
    at: datetime,
) -> list[_Place]:
    """The run list: standards, checks at the start, test solutions with checks among them, checks at the end."""
    controls = list(version.controls.filter(in_batch=False).select_related("material").order_by("ordinal"))
    lots = {
        material.pk: current_lot(material, at.date())
        for material in [c.material for c in controls if c.material]
        + [s.material for s in version.standards.select_related("material")]
    }
    places = [
        _Place(
            Role.CALIBRATION_STANDARD if ordinal else Role.CALIBRATION_BLANK,
            f"STD {ordinal}" if ordinal else "STD 0",
            lot=lots[standard.material_id],
        )
        for ordinal, standard in enumerate(version.standards.order_by("ordinal"))
    ]
    counts: dict[str, int] = {}
    for control in controls:
        if control.at_start:
            places.append(_check(control, lots, counts, None))
    by_portion: dict[int, _Place] = {}
    for solution, portion in enumerate(portions, start=1):
        factor = dilutions.get(portion.pk, 1.0)
        place = _Place(
            Role(portion.role),
            portion.label,
            lot=portion.lot,
            portion=portion,
            parent=by_portion.get(portion.parent_id) if portion.parent_id else None,
            dilution=factor,
            repeat_cause=causes.get(portion.pk, ""),
        )
        places.append(place)
        by_portion[portion.pk] = place
        more = solution < len(portions)
        for control in controls:
            if control.every and solution % control.every == 0 and (more or not control.at_end):
                places.append(_check(control, lots, counts, _last_sample(places)))
    places += [_check(control, lots, counts, _last_sample(places)) for control in controls if control.at_end]
    _make_labels_unique(places)
    return places


def _check(control: PlannedControl, lots: Mapping[int, Lot], counts: dict[str, int], parent: _Place | None) -> _Place:
    """A control sample made at the instrument; a repeat or serial dilution is of the sample before it."""
    short = {
        Role.INITIAL_VERIFICATION: "ICV",
        Role.CONTINUING_VERIFICATION: "CCV",
        Role.BLANK_CHECK: "CCB",
        Role.LOW_LEVEL_CHECK: "LLC",
        Role.DUPLICATE: "RR",
        Role.SERIAL_DILUTION: "SD",
        Role.RINSE: "RINSE",
    }.get(Role(control.role), "QC")
    counts[short] = counts.get(short, 0) + 1
    of_sample = control.role in {Role.DUPLICATE, Role.SERIAL_DILUTION}
    if of_sample and parent is None:
        raise BadInput(f"A {control.role} needs a sample before it in the run.")
    return _Place(
        Role(control.role),
        f"{parent.label} {short}" if of_sample and parent else f"{short} {counts[short]}",
        lot=lots[control.material_id] if control.material_id else None,
        portion=parent.portion if of_sample and parent else None,
        parent=parent if of_sample else None,
        dilution=(parent.dilution if parent and of_sample else 1.0) * (control.dilution or 1.0),
    )


def _last_sample(places: Sequence[_Place]) -> _Place | None:
    return next((place for place in reversed(places) if place.role == Role.SAMPLE), None)


def _make_labels_unique(places: Sequence[_Place]) -> None:
    """Two portions of one sample may meet in a run: the batch's number tells them apart."""
    seen: set[str] = set()
    for place in places:
        if place.label in seen and place.portion:
            place.label = f"{place.label} {place.portion.batch.number}"
        seen.add(place.label)
