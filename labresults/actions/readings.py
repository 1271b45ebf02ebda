"""Files of readings are taken whole, with their bytes; or not at all."""

import hashlib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from labresults import bulk
from labresults.acts import BadInput, Done, WrongState, act, require_task
from labresults.models import Laboratory, Layout, Line, Person, Reading, ReadingFile, Run
from labresults.queries.run_imports import Plan, plan_of, understood
from labresults.readers.problem import Problem, named
from labresults.readers.reading import ReadFile
from labresults.readers.reading import Reading as ReadReading
from labresults.readers.run_check import plan_numbers
from labresults.terms import Task, WayIn

READING_COLUMNS = (
    "run", "position", "line", "file", "file_row", "replicates", "mean", "sd", "count", "missing", "saturated",
    "instrument_concentration", "instrument_unit",
)  # fmt: skip


@dataclass(frozen=True)
class _Prepared:
    """What was found before the lock: understanding a large file may take seconds."""

    sha256: str
    plan: Plan
    file: ReadFile
    problems: tuple[Problem, ...]
    numbers: tuple[int | None, ...]  # of the plan, for each reading
    digest: str


def _prepared(
    *,
    run: Run,
    content: bytes,
    filename: str,
    layout: Layout,
    struck: Mapping[int, str] | None = None,
    matched: Mapping[str, int] | None = None,
    **_: object,
) -> _Prepared:
    plan = plan_of(run)
    file, problems = understood(plan, content, filename, layout, struck=struck or {}, matched=matched)
    sha256 = hashlib.sha256(content).hexdigest()
    if problems:
        return _Prepared(sha256, plan, file, problems, (), "")
    numbers = plan_numbers(file, plan.positions, matched or {})
    return _Prepared(sha256, plan, file, (), numbers, _digest(file.readings, numbers))


@act("import_readings", prepare=_prepared)
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
    struck: Mapping[int, str] | None = None,
    matched: Mapping[str, int] | None = None,
    way: WayIn = WayIn.BROWSER,
    prepared: _Prepared,
) -> Done[ReadingFile]:
    """Take a file of readings: all of it but the rows that are struck by name, or nothing; its bytes are kept.

    struck: row of the file to why it is left out. matched: what the file calls a position, to its number in the run,
    where only a person can say it. measured_from, measured_to: else the times of the file, else now.

    Raises BadInput with every problem at its row and column; WrongState when the same bytes were taken before (it names
    where), or the readings of these lines are there already.
    """
    require_task(by, Task.MEASURE, run.method_version.method, at.date())
    _refuse_same_bytes(prepared.sha256)
    _refuse_bad_file(run, filename, struck or {}, prepared)
    times = _times(prepared)
    start, end = _measured(times.values(), measured_from, measured_to, at)
    file = ReadingFile.objects.create(
        run=run,
        name=filename[-255:],
        sha256=prepared.sha256,
        content=content,
        size_bytes=len(content),
        layout=layout,
        unit=prepared.file.unit,
        measured_from=start,
        measured_to=end,
        way=way,
        struck=[[row, why] for row, why in sorted((struck or {}).items())],
        matched=dict(matched or {}),
        text_units=_text_units(prepared),
        position_times={str(number): time.isoformat() for number, time in sorted(times.items())},
        made_by=by,
        made_at=at,
    )
    count = bulk.insert(Reading, READING_COLUMNS, _reading_rows(file, prepared))
    return Done(file, subject=("run", run.number), after=_said(file, layout, count, prepared.digest))


def _said(file: ReadingFile, layout: Layout, count: int, digest: str) -> dict[str, Any]:
    """What the event says; what was struck and matched stands there only where something was."""
    said = {
        "file": file.name,
        "sha256": file.sha256,
        "bytes": file.size_bytes,
        "layout": str(layout),
        "way": str(file.way),
        "readings": count,
        "digest of readings": digest,
    }
    choices = {"rows left out": file.struck, "positions as answered": file.matched}
    return said | {what: value for what, value in choices.items() if value}


def _refuse_same_bytes(sha256: str) -> None:
    same = ReadingFile.objects.filter(sha256=sha256).select_related("run").defer("content").first()
    if same:
        raise WrongState(
            f"This file was taken before, as {same.name} of run {same.run.number},"
            f" on {same.made_at:%d %b %Y %H:%M} UTC."
        )


def _refuse_bad_file(run: Run, filename: str, struck: Mapping[int, str], prepared: _Prepared) -> None:
    """Refuse a file with any problem of its own or beside the plan, and one for lines that are read already."""
    later = Run.objects.filter(replaces=run).first()
    if later:
        raise WrongState(f"{run} was planned anew, as {later}: what is read is read of that one.")
    there = {str(line) for line in Line.objects.filter(pk__in=run.readings.values("line"))}
    if there >= set(prepared.plan.lines):
        raise WrongState(f"{run} has its readings already. A second measurement is a run of its own.")
    if there != prepared.plan.there:
        raise WrongState(f"Another file of {run} was taken at this moment. Look at this one again.")
    without = [row for row, why in sorted(struck.items()) if not why.strip()]
    if without:
        raise BadInput(f"Say why row {without[0]} is left out: a reader of the record must know.")
    if prepared.problems:
        count = len(prepared.problems)
        said = f"{count} problem{'s' if count > 1 else ''} in {filename}; nothing was taken."
        raise BadInput(said, named(prepared.problems, filename))


def _reading_rows(file: ReadingFile, prepared: _Prepared) -> list[tuple[Any, ...]]:
    """Rows of readings in the order of `READING_COLUMNS`."""
    run, key = file.run_id, file.pk
    positions: Mapping[int | None, int] = {number: key for number, key in prepared.plan.keys.items()}
    lines = prepared.plan.lines
    return [
        (run, positions[number], lines[line], key, row, replicates, mean, sd, count, missing, saturated, own, unit)
        for number, (row, _, _, line, replicates, mean, sd, count, missing, saturated, own, unit, _, _) in zip(
            prepared.numbers, prepared.file.readings, strict=True
        )
    ]


def _digest(readings: Sequence[ReadReading], numbers: Sequence[int | None]) -> str:
    """One SHA-256 [hex] over all readings as they were understood, column by column: texts a line each in UTF-8,
    numbers as little-endian 64-bit integers and binary64 (writing out 80,000 floats takes longer than reading them).
    """
    sha = hashlib.sha256()
    columns = list(zip(*readings, strict=True)) or [()] * len(ReadReading._fields)
    row, _, label, line, replicates, mean, sd, count, missing, saturated, own, unit, time, _ = columns
    for texts in (label, line, map(";".join, replicates), unit, time):
        sha.update("\n".join(texts).encode())
    for whole in (row, numbers, count, missing, saturated):
        sha.update(np.array(whole, dtype="<i8").tobytes())
    for floats in (mean, sd, own):
        sha.update(np.array(floats, dtype="<f8").tobytes())  # None is not a number
    return sha.hexdigest()


def _text_units(prepared: _Prepared) -> dict[str, Any]:
    """The unit of a line's texts where they were converted: one word, or that of each position by its number."""
    readings = prepared.file.readings
    found: dict[str, dict[str, str]] = {}
    for number, reading in zip(prepared.numbers, readings, strict=True) if any(r.text_unit for r in readings) else ():
        found.setdefault(reading.line, {})[str(number)] = reading.text_unit
    return {
        line: next(iter(units.values())) if len(set(units.values())) == 1 else units
        for line, units in found.items()
        if any(units.values())
    }


def _times(prepared: _Prepared) -> dict[int, datetime]:
    """When each position was first read, by its number, where the file says so.

    Times without a zone are those of the laboratory's clocks. The hour that is there twice when summer time ends is
    told by the order of the file: a clock that went back is in the second of them.
    """
    readings = prepared.file.readings
    first: dict[int, str] = {}
    for number, reading in zip(prepared.numbers, readings, strict=True):
        if reading.time and number is not None:
            first.setdefault(number, reading.time)
    zone = ZoneInfo(Laboratory.objects.values_list("time_zone", flat=True).get(pk=1)) if first else UTC
    found: dict[int, datetime] = {}
    last = None
    for number, text in first.items():
        found[number] = last = _moment(text, zone, last)
    return found


def _moment(text: str, zone: tzinfo, after: datetime | None) -> datetime:
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=zone)
        if after is not None and moment.astimezone(UTC) < after.astimezone(UTC):
            moment = moment.replace(fold=1)
    return moment.astimezone(UTC)


def _measured(
    times: Collection[datetime], start: datetime | None, end: datetime | None, at: datetime
) -> tuple[datetime, datetime]:
    """From when to when was measured: what a person said, else what the file says, else now."""
    first = start or min(times, default=at)
    last = end or (first if start else max(times, default=first))
    return first, max(first, last)
