"""From the blocks of a table to observations: what stood at which position and line, its cells read as numbers."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from decimal import Decimal
from itertools import chain, repeat
from typing import NamedTuple

from labresults.readers.blocks import Block
from labresults.readers.cells import CellReader, NumberColumn
from labresults.readers.columns import Factors, LineColumns, factors_of, long_columns, wide_columns
from labresults.readers.layout import Blocks, Layout, Shape
from labresults.readers.places import Places, place_rows
from labresults.readers.problem import Problem
from labresults.readers.table import from_columns


class Observation(NamedTuple):  # a tuple, since a file has tens of thousands of them
    """The cells of one position at one line in one row.

    texts and values: of the replicates; over: whether one of them is over range. mean, mean_text, mean_over, sd,
    sd_text, replicate_count: what the file says of a mean. scale: what a number as written is multiplied by.
    column: of the first cell, as problems name it; block: its number in the file, from 0.
    """

    row: int
    position: int | None
    label: str
    line: str
    time: str
    texts: tuple[str, ...]
    values: tuple[float | None, ...]
    over: bool
    mean: float | None
    mean_text: str
    mean_over: bool
    sd: float | None
    sd_text: str
    replicate_count: int
    concentration: float | None
    concentration_unit: str
    scale: float
    column: str
    block: int


def observe(blocks: Sequence[Block], layout: Layout) -> tuple[list[Observation], list[Problem]]:
    """Return the observations of all blocks in the order of the file, and every problem in their cells."""
    found: list[Observation] = []
    problems: list[Problem] = []
    numbered = 0
    for number, block in enumerate(blocks):
        wrong = _wrong_headings(block, layout)
        if wrong:
            problems += wrong
            continue
        places, wrong = place_rows(block, layout, numbered)
        numbered = max((place for place in places.positions if place), default=numbered)
        if layout.blocks is Blocks.POSITION:
            numbered = number + 1
        reader = _BlockReader(block, number, layout, places)
        found += reader.long() if layout.shape is Shape.LONG else reader.wide()
        problems += wrong + reader.problems
    return found, problems


def _wrong_headings(block: Block, layout: Layout) -> list[Problem]:
    wanted = layout.headings()
    alone = [name for name in wanted if name not in layout.replicates]
    return [*block.headings.missing(wanted), *block.headings.repeated(alone)]


class _BlockReader:
    """Reads the cells of one block, a whole column at a time."""

    def __init__(self, block: Block, number: int, layout: Layout, places: Places) -> None:
        self._block, self._number, self._layout, self._places = block, number, layout, places
        self._rows, self._cells = places.rows, places.cells
        self._reader = CellReader(layout)
        self._wrong: list[Problem] = []

    @property
    def problems(self) -> list[Problem]:
        """What was not understood."""
        return self._wrong + self._reader.problems

    def long(self) -> Iterable[Observation]:
        """One observation for each row."""
        return self._of_line(long_columns(self._layout, self._block), self._places.lines)

    def wide(self) -> Iterable[Observation]:
        """One observation for each row and line, row by row."""
        lines, wrong = wide_columns(self._layout, self._block)
        self._wrong += wrong
        by_line = [self._of_line(columns, [columns.line] * len(self._rows)) for columns in lines]
        return chain.from_iterable(zip(*by_line, strict=True))

    def _of_line(self, columns: LineColumns, lines: Sequence[str]) -> list[Observation]:
        if not self._rows:
            return []
        signal, of_concentration, units = self._factors(columns)
        replicates = [self._numbers(index, signal) for index in columns.replicates]
        concentration = (
            None if columns.concentration is None else self._numbers(columns.concentration, of_concentration)
        )
        mean = None if columns.mean is None else self._numbers(columns.mean, signal)
        sd = None if columns.sd is None else self._spreads(columns.sd, signal)
        count = len(self._rows)
        texts = zip(*(column.texts for column in replicates), strict=True) if replicates else repeat((), count)
        values = zip(*(column.values for column in replicates), strict=True) if replicates else repeat((), count)
        return list(
            from_columns(
                Observation,
                self._rows,
                self._places.positions,
                self._places.labels,
                lines,
                self._places.times,
                texts,
                values,
                _over(replicates, count),
                mean.values if mean else repeat(None),
                mean.texts if mean else repeat(""),
                _over([mean] if mean else [], count),
                sd.values if sd else repeat(None),
                sd.texts if sd else repeat(""),
                self._counts(columns, mean),
                concentration.values if concentration else repeat(None),
                units,
                [float(factor) for factor in signal] if signal else repeat(1.0),
                repeat(self._name((*columns.of_signal(), 0)[0])),
                repeat(self._number),
            )
        )

    def _factors(self, columns: LineColumns) -> tuple[list[Decimal], list[Decimal], list[str]]:
        """What the signals and the concentrations of each row are multiplied by (empty: by one), and the unit of the
        concentrations. Each unit is looked at once."""
        above = self._block.above.get("unit", (0, ""))[1]
        said = self._places.units if self._layout.unit_column else [above] * len(self._rows)
        known: dict[str, Factors] = {}
        for unit in dict.fromkeys(said):
            found = factors_of(columns, self._layout, self._block, unit)
            known[unit] = Factors() if isinstance(found, list) else found
            self._wrong += self._at_row(found, said.index(unit)) if isinstance(found, list) else []
        signal = [] if all(f.signal == 1 for f in known.values()) else [known[unit].signal for unit in said]
        one = all(f.concentration == 1 for f in known.values())
        return (
            signal,
            [] if one else [known[unit].concentration for unit in said],
            [known[unit].concentration_unit for unit in said],
        )

    def _at_row(self, problems: list[Problem], at: int) -> list[Problem]:
        """Problems with a unit that a row says, at its place."""
        if not self._layout.unit_column:
            return problems
        return [replace(problem, row=self._rows[at], column=self._layout.unit_column) for problem in problems]

    def _name(self, index: int) -> str:
        return self._block.headings.name(index)

    def _numbers(self, index: int, factors: Sequence[Decimal]) -> NumberColumn:
        return self._reader.numbers(self._name(index), self._cells[index], self._rows, factors)

    def _spreads(self, index: int, factors: Sequence[Decimal]) -> NumberColumn:
        return self._reader.spreads(self._name(index), self._cells[index], self._rows, factors)

    def _counts(self, columns: LineColumns, mean: NumberColumn | None) -> Iterable[int]:
        if columns.count is None:
            return repeat(self._layout.count_of_mean)
        needed = [value is not None for value in mean.values] if mean else [True] * len(self._rows)
        return self._reader.counts(self._name(columns.count), self._cells[columns.count], self._rows, needed)


def _over(columns: Sequence[NumberColumn], count: int) -> Iterable[bool]:
    over = frozenset[int]().union(*(column.over for column in columns))
    return [index in over for index in range(count)] if over else repeat(False)
