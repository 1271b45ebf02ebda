"""From rows of cells to observations: what stood at which position and line. Numbers are not read yet."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from labresults.readers.layout import Layout
from labresults.readers.numbers import Unread, read_count
from labresults.readers.problem import Problem
from labresults.readers.table import CellError, CellValue, Headings, RawRow, RawTable, as_text
from labresults.readers.template import LineNames


@dataclass(frozen=True)
class Written:
    """One cell and where it stands."""

    row: int
    column: str
    cell: CellValue


@dataclass(frozen=True)
class Observation:
    """The cells of one position at one line: replicates, or a mean with what belongs to it."""

    row: int
    position: int | None
    label: str
    line: str
    replicates: tuple[Written, ...] = ()
    mean: Written | None = None
    sd: Written | None = None
    count: Written | None = None


@dataclass(frozen=True)
class Place:
    """Where a row stands in the run."""

    row: RawRow
    position: int | None
    label: str


def table_rows(table: RawTable, layout: Layout, headings: Headings) -> tuple[list[RawRow], list[Problem]]:
    """Return the rows under the headings that have their fields, and a problem for each that has not."""
    rows, problems, after_blank = [], [], False
    for row in table.rows[headings.row :]:
        if row.is_blank:
            after_blank = True
        elif layout.end_word and as_text(row.cells[0]).strip().startswith(layout.end_word):
            break
        elif trouble := _wrong_fields(row, len(headings.texts), is_text=bool(table.delimiter)):
            problems.append(_after_end(row) if after_blank else trouble)
        else:
            rows.append(RawRow(row.number, _padded(row.cells, len(headings.texts))))
    return rows, problems


def places(rows: Sequence[RawRow], layout: Layout, headings: Headings) -> tuple[list[Place], list[Problem]]:
    """Return where each row stands; a row whose position or label cannot be told is left out, with its problem."""
    label_at = headings.all_of(layout.label)[0] if layout.label else None
    position_at = headings.all_of(layout.position)[0] if layout.position else None
    found, problems = [], []
    for row in rows:
        label = as_text(row.cells[label_at]) if label_at is not None else ""
        position = _position(row, position_at, headings)
        trouble = _no_label(row, label_at, headings)
        problems += [trouble] if trouble else []
        problems += [position] if isinstance(position, Problem) else []
        if not trouble and not isinstance(position, Problem):
            found.append(Place(row, position, label))
    return found, problems


def long_observations(
    table_places: Sequence[Place], layout: Layout, headings: Headings
) -> tuple[list[Observation], list[Problem]]:
    """Return one observation for each row of a long table."""
    columns = _LongColumns.of(layout, headings)
    names = LineNames(layout.line_template if layout.line else "{element} {wavelength}", layout.line_names)
    observations, problems = [], []
    for place in table_places:
        line = columns.line(place.row, names)
        if isinstance(line, Problem):
            problems.append(line)
        else:
            observations.append(columns.observation(place, line, layout))
    return observations, problems


def wide_observations(
    table_places: Sequence[Place], layout: Layout, headings: Headings
) -> tuple[list[Observation], list[Problem]]:
    """Return one observation for each row and line column of a wide table; an unknown heading is asked about."""
    lines, problems = _line_columns(layout, headings)
    names = {index: headings.name(index) for index in lines}
    return [
        _wide_observation(place, line, Written(place.row.number, names[index], place.row.cells[index]), layout)
        for place in table_places
        for index, line in lines.items()
    ], problems


def numbered_in_order(observations: Sequence[Observation], layout: Layout) -> list[Observation]:
    """Return the observations with positions numbered as they appear.

    A new position begins where the label changes and, unless rows are repeated as replicates, where a new row of a
    wide table begins, or where a line comes again in a long one.
    """
    return list(_numbered(observations, layout))


def _numbered(observations: Sequence[Observation], layout: Layout) -> Iterator[Observation]:
    number, label, seen = 0, None, set[str]()
    for o in observations:
        if o.label != label or (not layout.repeated_rows and o.line in seen):
            number, label, seen = number + 1, o.label, set()
        seen.add(o.line)
        yield Observation(o.row, number, o.label, o.line, o.replicates, o.mean, o.sd, o.count)


@dataclass(frozen=True)
class _LongColumns:
    """Where a long table has its line and its readings: column numbers from 0, found once."""

    names: tuple[str, ...]  # of every column, as problems call it
    line_at: tuple[int, ...]
    replicates: tuple[int, ...]
    mean: int | None
    sd: int | None
    count: int | None

    @classmethod
    def of(cls, layout: Layout, headings: Headings) -> "_LongColumns":
        def one(heading: str) -> int | None:
            return headings.all_of(heading)[0] if heading else None

        return cls(
            names=tuple(headings.name(index) for index in range(len(headings.texts))),
            line_at=tuple(i for h in (layout.line, layout.element, layout.wavelength) if (i := one(h)) is not None),
            replicates=tuple(index for heading in layout.replicates for index in headings.all_of(heading)),
            mean=one(layout.mean),
            sd=one(layout.sd),
            count=one(layout.count),
        )

    def line(self, row: RawRow, names: LineNames) -> str | Problem:
        """Return the name of the line of one row."""
        cells = [row.cells[index] for index in self.line_at]
        text = " ".join(as_text(cell).strip() for cell in cells)
        line = None if any(isinstance(cell, CellError) for cell in cells) else names.line(text)
        if line is not None:
            return line
        what = f"“{text}” does not name a line." if text.strip() else "the line is blank."
        where = self.names[self.line_at[0]]
        return Problem(row.number, where, what, "Correct it, or say in the layout which line it is.")

    def observation(self, place: Place, line: str, layout: Layout) -> Observation:
        """Return the cells of one row; a mean without spread and count is its own only replicate."""
        row = place.row
        replicates = tuple(self._written(row, index) for index in self.replicates)
        mean, sd, count = (
            None if index is None else self._written(row, index) for index in (self.mean, self.sd, self.count)
        )
        if mean and not (sd or count) and layout.count_of_mean == 1:
            replicates, mean = (mean,), None
        return Observation(row.number, place.position, place.label, line, replicates, mean, sd, count)

    def _written(self, row: RawRow, index: int) -> Written:
        return Written(row.number, self.names[index], row.cells[index])


def _wide_observation(place: Place, line: str, written: Written, layout: Layout) -> Observation:
    if layout.count_of_mean > 1:
        return Observation(place.row.number, place.position, place.label, line, mean=written)
    return Observation(place.row.number, place.position, place.label, line, replicates=(written,))


def _line_columns(layout: Layout, headings: Headings) -> tuple[dict[int, str], list[Problem]]:
    known = {*layout.headings(), *layout.ignored}
    names = LineNames(layout.line_template, layout.line_names)
    lines: dict[int, str] = {}
    problems = []
    for index, heading in enumerate(headings.texts):
        if heading in known:
            continue
        line = names.line(heading)
        if line is None:
            what = "the heading is neither a line nor named in the layout."
            problems.append(
                Problem(headings.row, headings.name(index), what, "Name its line, or put it among the ignored.")
            )
        elif line in lines.values():
            what = f"the line {line} has more than one column."
            problems.append(Problem(headings.row, headings.name(index), what, "Put one of them among the ignored."))
        else:
            lines[index] = line
    return lines, problems + _no_lines(lines, headings)


def _no_lines(lines: dict[int, str], headings: Headings) -> list[Problem]:
    if lines:
        return []
    return [Problem(headings.row, None, "no heading names a line.", "Correct the template of line headings.")]


def _position(row: RawRow, index: int | None, headings: Headings) -> int | Problem | None:
    if index is None:
        return None
    cell = row.cells[index]
    number = read_count(as_text(cell)) if not isinstance(cell, CellError) else _shown(cell)
    if isinstance(number, Unread):
        return Problem(row.number, headings.name(index), number.what, number.what_to_do)
    if number < 1:
        return Problem(row.number, headings.name(index), f"there is no position {number}.", "Positions count from 1.")
    return number


def _no_label(row: RawRow, index: int | None, headings: Headings) -> Problem | None:
    if index is None:
        return None
    cell = row.cells[index]
    if isinstance(cell, CellError):
        shown = _shown(cell)
        return Problem(row.number, headings.name(index), shown.what, shown.what_to_do)
    if not as_text(cell).strip():
        return Problem(row.number, headings.name(index), "the label is blank.", "Fill it in, or take the row out.")
    return None


def _shown(cell: CellError) -> Unread:
    return Unread(f"the cell shows {cell.shown}.", "Correct the formula, or put its value there.")


def _wrong_fields(row: RawRow, wanted: int, is_text: bool) -> Problem | None:
    filled = len(row.cells)
    while filled > wanted and not as_text(row.cells[filled - 1]).strip():
        filled -= 1
    if filled == wanted or (filled < wanted and not is_text):
        return None
    what = f"the row has {filled} fields, the headings are {wanted}."
    return Problem(row.number, None, what, "Look for a delimiter too many or too few, or a decimal comma.")


def _after_end(row: RawRow) -> Problem:
    shown = as_text(row.cells[0]).strip()[:40]
    return Problem(
        row.number,
        None,
        f"after the end of the table stands “{shown}”.",
        "Take it out, or give its first word in the layout as the word that ends the table.",
    )


def _padded(cells: tuple[CellValue, ...], wanted: int) -> tuple[CellValue, ...]:
    return cells[:wanted] + ("",) * (wanted - len(cells))
