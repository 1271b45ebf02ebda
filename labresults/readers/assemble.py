"""From observations to readings: cells become numbers, rows of one place become its replicates."""

import math
from collections.abc import Sequence
from dataclasses import replace

from labresults.readers.layout import Layout
from labresults.readers.numbers import Unread, read_count, read_number
from labresults.readers.observations import Observation, Written
from labresults.readers.problem import Problem
from labresults.readers.reading import Reading
from labresults.readers.table import CellError, as_text


def grouped(observations: Sequence[Observation], layout: Layout) -> tuple[list[Observation], list[Problem]]:
    """Return one observation for each place and line: rows are put together as replicates, or are duplicates."""
    first: dict[tuple[int | None, str, str], Observation] = {}
    problems = []
    for o in observations:
        # A numbered position is one place whatever it is called.
        key = (o.position, o.label if o.position is None else "", o.line)
        known = first.setdefault(key, o)
        if known is o:
            continue
        if not layout.repeated_rows:
            problems.append(_duplicate(o, known))
        elif o.label != known.label:
            problems.append(_other_label(o, known))
        else:
            first[key] = replace(known, replicates=known.replicates + o.replicates)
    return list(first.values()), problems


def readings(observations: Sequence[Observation], layout: Layout) -> tuple[list[Reading], list[Problem]]:
    """Return a reading for each observation, and a problem for each cell that is not understood."""
    reader = _CellReader(layout)
    found = [
        _of_mean(o, o.mean, reader, layout) if o.mean is not None else _of_replicates(o, reader) for o in observations
    ]
    return found, reader.problems


class _CellReader:
    """Reads cells by one layout and keeps what it did not understand."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._missing = frozenset(word.casefold() for word in layout.missing)
        self._over_range = frozenset(word.casefold() for word in layout.over_range)
        self.problems: list[Problem] = []

    def is_over_range(self, written: Written) -> bool:
        return isinstance(written.cell, str) and written.cell.strip().casefold() in self._over_range

    def number(self, written: Written | None) -> float | None:
        """Return the number of a cell; None where it is missing, over range, or not understood (a problem then)."""
        if written is None:
            return None
        cell = written.cell
        if isinstance(cell, int | float):
            return float(cell)
        if isinstance(cell, CellError):
            self._unread(
                written, Unread(f"the cell shows {cell.shown}.", "Correct the formula, or put its value there.")
            )
            return None
        word = cell.strip().casefold()
        if word in self._missing or word in self._over_range:
            return None
        number = read_number(cell, self._layout.decimal_sign, self._layout.thousands_sign)
        if isinstance(number, Unread):
            self._unread(written, number)
            return None
        return number

    def spread(self, written: Written | None) -> float | None:
        """Return a standard deviation: a number that is not below zero."""
        sd = self.number(written)
        if written is not None and sd is not None and sd < 0:
            self._unread(written, Unread(f"a standard deviation of {sd} is below zero.", "Look at the column."))
            return None
        return sd

    def count(self, written: Written) -> int:
        """Return how many replicates there were; 0 where it is not understood (a problem then)."""
        number = read_count(as_text(written.cell))
        if isinstance(number, int) and number >= 1:
            return number
        trouble = (
            number if isinstance(number, Unread) else Unread(f"{number} replicates cannot have a mean.", "Correct it.")
        )
        self._unread(written, trouble)
        return 0

    def _unread(self, written: Written, trouble: Unread) -> None:
        self.problems.append(Problem(written.row, written.column, trouble.what, trouble.what_to_do))


def _of_replicates(o: Observation, reader: _CellReader) -> Reading:
    """Mean and standard deviation (n − 1) of what was read; one replicate over range leaves no mean."""
    values = [number for number in map(reader.number, o.replicates) if number is not None]
    saturated = any(reader.is_over_range(written) for written in o.replicates)
    mean, sd = (None, None) if saturated else _mean_and_sd(values)
    return Reading(
        row=o.row,
        position=o.position,
        label=o.label,
        line=o.line,
        replicates=tuple(as_text(written.cell) for written in o.replicates),
        mean=mean,
        sd=sd,
        count=len(values),
        missing=not values and not saturated,
        saturated=saturated,
    )


def _of_mean(o: Observation, written: Written, reader: _CellReader, layout: Layout) -> Reading:
    mean, saturated = reader.number(written), reader.is_over_range(written)
    sd = reader.spread(o.sd)
    known = mean is not None
    count = layout.count_of_mean if o.count is None or not known else reader.count(o.count)
    return Reading(
        row=o.row,
        position=o.position,
        label=o.label,
        line=o.line,
        replicates=(),
        mean=mean,
        sd=sd if known and count > 1 else None,
        count=count if known else 0,
        missing=not known and not saturated,
        saturated=saturated,
    )


def _mean_and_sd(values: Sequence[float]) -> tuple[float | None, float | None]:
    if not values:
        return None, None
    mean = math.fsum(values) / len(values)
    if len(values) < 2:
        return mean, None
    return mean, math.sqrt(math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1))


def _duplicate(o: Observation, first: Observation) -> Problem:
    place = f"position {o.position}" if o.position is not None else f"“{o.label}”"
    return Problem(
        o.row,
        o.replicates[0].column if o.replicates else (o.mean.column if o.mean else None),
        f"{place} has {o.line} already in row {first.row}.",
        "Take one of them out, or say in the layout that repeated rows are replicates.",
    )


def _other_label(o: Observation, first: Observation) -> Problem:
    return Problem(
        o.row,
        None,
        f"position {o.position} is “{o.label}” here and “{first.label}” in row {first.row}.",
        "Correct the one that is wrong: replicates have one position and one label.",
    )
