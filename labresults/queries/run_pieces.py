"""Pieces of a run that only some of its positions have: single replicates, times, additions."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from math import fsum, isclose, isfinite, nan

from django.db.models import Q

from labresults.calculation.units import factor
from labresults.models import Content, Position, Reading, Run
from labresults.readers.layout import Layout
from labresults.readers.numbers import read_number
from labresults.terms import CALIBRATING


@dataclass(frozen=True)
class LoadedFile:
    """What a run's file says beside its readings: how it is laid out, and when positions were read."""

    layout: Layout
    times: Mapping[str, str]  # position number to ISO 8601


def files_of(run: Run) -> dict[int, LoadedFile]:
    """The files of a run by key, in the order in which they came; one query."""
    rows = run.files.order_by("pk").values_list("pk", "layout__specification", "position_times")
    return {key: LoadedFile(Layout.from_json(text), times) for key, text, times in rows}


def whole_readings(run: Run, also: tuple[int, int] | None = None) -> list[Reading]:
    """Readings of the calibration solutions at every line, each with its position, line and file; one query.

    also: position and line (keys) of another that is wanted with them. The bytes of the files are left out.
    """
    wanted = Q(position__role__in=CALIBRATING)
    if also is not None:
        wanted |= Q(position=also[0], line=also[1])
    related = Reading.objects.select_related("position", "line", "file__made_by", "file__layout")
    rows = related.defer("file__content").filter(wanted, run=run)
    return list(rows.order_by("position__number", "line__element_id", "line__label"))


def replicates_of_standards(
    readings: Iterable[Reading], files: Mapping[int, LoadedFile]
) -> dict[tuple[int, str], tuple[float, ...]]:
    """Single replicates of the calibration solutions, in the file's unit, by position number and line; no query.

    As long as the file's list: NaN where it has a word for missing. A reading of which the file has only the mean, or
    that was read once, is not there; nor is one that is over range.
    """
    found = {}
    for row in readings:
        if row.position.role not in CALIBRATING or row.saturated or row.count <= 1:
            continue
        values = [_value(text, files[row.file_id].layout) for text in row.replicates]
        if len(values) > 1 and row.mean is not None:
            found[row.position.number, str(row.line)] = _in_unit_of(row.mean, values)
    return found


def _value(text: str, layout: Layout) -> float:
    value = read_number(text, layout.decimal_sign, layout.thousands_sign)
    return value if isinstance(value, float) else nan


def _in_unit_of(mean: float, values: Sequence[float]) -> tuple[float, ...]:
    """Return values in the unit of their mean: a column may be written in another unit than the file's."""
    known = [value for value in values if isfinite(value)]
    own = fsum(known) / len(known) if known else nan
    if isclose(own, mean, rel_tol=1e-9, abs_tol=1e-9 * max(map(abs, known), default=0.0)) or not own:
        return tuple(values)
    return tuple(value * (mean / own) for value in values)


def times_of(files: Mapping[int, LoadedFile], positions: Sequence[Position]) -> tuple[float | None, ...]:
    """When each position was read, in seconds from the earliest; empty where no file says; no query.

    Of several files the first counts. A time without a zone is taken in UTC, as the run's own times are stored.
    """
    said: dict[str, str] = {}
    for file in files.values():
        said = {**file.times, **said}
    moments = [_moment(said.get(str(position.number))) for position in positions]
    known = [moment for moment in moments if moment is not None]
    if not known:
        return ()
    first = min(known)
    return tuple(None if moment is None else (moment - first).total_seconds() for moment in moments)


def _moment(text: str | None) -> datetime | None:
    if text is None:
        return None
    moment = datetime.fromisoformat(text)
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def added_to(position: Position, contents: Mapping[str, Content], solution_unit: str) -> dict[str, float]:
    """What was added to a test solution at the instrument, by element, in the solution unit; no query.

    The volume added is part of the volume made up. Raises UnlikeUnits for a lot in a unit that does not lead there.
    """
    if position.added_mL is None or position.made_up_mL is None:
        return {}
    share = position.added_mL / position.made_up_mL
    return {
        element: content.value * float(factor(content.unit, solution_unit)) * share
        for element, content in sorted(contents.items())
    }
