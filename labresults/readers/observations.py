"""From the blocks of a table to observations: what stood at which position and line, its cells read as numbers."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from decimal import Decimal
from itertools import chain, repeat
from typing import NamedTuple, TypeVar

from labresults.readers.blocks import Block
from labresults.readers.cells import CellReader, NumberColumn
from labresults.readers.columns import Factors, LineColumns, factors_of, long_columns, wide_columns
from labresults.readers.layout import Blocks, Layout, Shape
from labresults.readers.places import Places, place_rows
from labresults.readers.problem import Problem
from labresults.readers.table import from_columns

T = TypeVar("T")


class Observation(NamedTuple):  # a tuple, since a file has tens of thousands of them
    """The cells of one position at one line in one row.

    texts and values: of the replicates; over: whether one of them is over range. mean, mean_text, mean_over, sd,
    sd_text, replicate_count: what the file says of a mean. scale: what a number as written is multiplied by.
    column: of the first cell, as problems name it; block: its number in the file, from 0. text_unit: of the texts, as
    the file has it, where they are converted.
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
    text_unit: str


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
        reader = _BlockReader(block, number, layout, places, alone=len(blocks) == 1)
        found += reader.long() if layout.shape is Shape.LONG else reader.wide()
        problems += wrong + reader.problems
    return found, problems


def _wrong_headings(block: Block, layout: Layout) -> list[Problem]:
    wanted = layout.headings()
    alone = [name for name in wanted if name not in layout.replicates]
    return [*block.headings.missing(wanted), *block.headings.repeated(alone)]


class _BlockReader:
    """Reads the cells of one block, a whole column at a time."""

    def __init__(self, block: Block, number: int, layout: Layout, places: Places, *, alone: bool) -> None:
        self._block, self._number, self._layout, self._places = block, number, layout, places
        self._rows, self._cells = places.rows, places.cells
        self._reader = CellReader(layout)
        self._wrong: list[Problem] = []
        self._alone = alone

    @property
    def problems(self) -> list[Problem]:
        """What was not understood."""
        return self._wrong + self._reader.problems

    def long(self) -> Iterable[Observation]:
        """One observation for each row."""
        return self._of_line(long_columns(self._layout, self._block), self._places.lines)

    def wide(self) -> Iterable[Observation]:
        """One observation for each row and line, row by row; rows that are only replicates of a place are one."""
        lines, wrong = wide_columns(self._layout, self._block)
        self._wrong += wrong
        turns = _rows_of_each_place(self._places) if self._may_join_rows(lines) else 1
        by_line = [self._of_line(columns, [columns.line] * len(self._rows), turns) for columns in lines]
        return chain.from_iterable(zip(*by_line, strict=True))

    def _may_join_rows(self, lines: Sequence[LineColumns]) -> bool:
        layout = self._layout
        is_plain = layout.repeated_rows and not layout.unit_column and not any(self._places.times)
        return self._alone and is_plain and all(map(_only_replicates, lines))

    def _of_line(self, columns: LineColumns, lines: Sequence[str], turns: int = 1) -> list[Observation]:
        """turns: so many rows one after the other are one observation; more than 1 only of columns of replicates."""
        if not self._rows:
            return []
        signal, of_concentration, units, written = self._factors(columns)
        replicates = [self._numbers(index, signal) for index in columns.replicates]
        concentration = (
            None if columns.concentration is None else self._numbers(columns.concentration, of_concentration)
        )
        mean = None if columns.mean is None else self._numbers(columns.mean, signal)
        sd = None if columns.sd is None else self._spreads(columns.sd, signal)
        count = len(self._rows)
        texts = _in_turn([column.texts for column in replicates], turns) if replicates else repeat((), count)
        values = _in_turn([column.values for column in replicates], turns) if replicates else repeat((), count)
        return list(
            from_columns(
                Observation,
                self._rows[::turns],
                self._places.positions[::turns],
                self._places.labels[::turns],
                lines[::turns],
                self._places.times[::turns],
                texts,
                values,
                _over(replicates, count, turns),
                mean.values if mean else repeat(None),
                mean.texts if mean else repeat(""),
                _over([mean] if mean else [], count),
                sd.values if sd else repeat(None),
                sd.texts if sd else repeat(""),
                self._counts(columns, mean),
                concentration.values if concentration else repeat(None),
                units[::turns],
                [float(factor) for factor in signal[::turns]] if signal else repeat(1.0),
                repeat(self._name((*columns.of_signal(), 0)[0])),
                repeat(self._number),
                written[::turns] if signal else repeat(""),
            )
        )

    def _factors(self, columns: LineColumns) -> tuple[list[Decimal], list[Decimal], list[str], list[str]]:
        """What the signals and the concentrations of each row are multiplied by (empty: by one), the unit of the
        concentrations, and that of converted signals as written. Each unit is looked at once."""
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
            [known[unit].written for unit in said] if signal else [],
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


def _over(columns: Sequence[NumberColumn], count: int, turns: int = 1) -> Iterable[bool]:
    over = {index // turns for index in frozenset[int]().union(*(column.over for column in columns))}
    return [index in over for index in range(count // turns)] if over else repeat(False)


def _in_turn(columns: Sequence[Sequence[T]], turns: int) -> Iterable[tuple[T, ...]]:
    """The cells of each row, or of so many rows one after the other."""
    return zip(*(column[turn::turns] for turn in range(turns) for column in columns), strict=True)


def _only_replicates(columns: LineColumns) -> bool:
    return (columns.mean, columns.sd, columns.count, columns.concentration) == (None, None, None, None)


def _rows_of_each_place(places: Places) -> int:
    """How many rows one after the other each place has, where all have equally many; else 1.

    They would be put together later, one by one, with the same outcome (`grouping`).
    """
    names = list(zip(places.positions, places.labels, strict=True))
    turns = next((at for at, name in enumerate(names) if name != names[0]), len(names)) or 1
    is_regular = len(names) % turns == 0 and all(names[turn::turns] == names[::turns] for turn in range(1, turns))
    return turns if is_regular else 1
