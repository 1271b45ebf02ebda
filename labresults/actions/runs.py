"""Runs: planned with the control samples that the method asks for; their files of readings are taken whole."""

import hashlib
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from labresults import bulk
from labresults.actions.numbering import next_number
from labresults.acts import BadInput, Done, WrongState, act, require_task
from labresults.chain import digest_rows
from labresults.models import (
    DiscardedPortion,
    Equipment,
    Layout,
    Line,
    MethodVersion,
    Person,
    Position,
    Reading,
    ReadingFile,
    Run,
    TestPortion,
    Weighing,
)
from labresults.queries.materials import is_overdue
from labresults.queries.run_order import run_order
from labresults.readers.layout import Layout as LayoutSpecification
from labresults.readers.read import read
from labresults.readers.reading import ReadFile
from labresults.readers.run_check import check_against_run
from labresults.terms import Task

READING_COLUMNS = (
    "run", "position", "line", "file", "file_row", "replicates", "mean", "sd", "count", "missing", "saturated",
)  # fmt: skip


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
    places = run_order(method_version, portions, dilutions or {}, dict.fromkeys(repeats, reason), at)
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
    gone = DiscardedPortion.objects.filter(portion__in=portions).order_by("pk").values_list("portion__label", flat=True)
    if gone:
        raise BadInput(f"Discarded: {', '.join(gone[:5])}. Plan the portion that was taken instead.")
    foreign = [p.label for p in portions if p.batch.method_version.method_id != version.method_id]
    if foreign:
        raise BadInput(f"Prepared by another method: {', '.join(foreign[:5])}.")
    weighed = set(Weighing.objects.filter(portion__in=portions).values_list("portion_id", flat=True))
    missing = [p.label for p in portions if p.pk not in weighed]
    if missing:
        raise BadInput(f"Nothing is recorded yet of {', '.join(missing[:5])}: mass and volume first.")
    if is_overdue(instrument, at.date()) and not reason:
        raise BadInput(f"{instrument} is overdue for its check. Have it checked, or give a reason that goes on record.")
