"""The one entry: bytes of a file and a layout in, readings and problems out."""

from labresults.readers.assemble import grouped, readings
from labresults.readers.delimited import read_delimited
from labresults.readers.layout import Layout, Shape
from labresults.readers.observations import (
    long_observations,
    numbered_in_order,
    places,
    table_rows,
    wide_observations,
)
from labresults.readers.problem import Problem
from labresults.readers.reading import ReadFile
from labresults.readers.table import Headings, RawTable
from labresults.readers.workbook import OLD_SIGNATURE, SIGNATURE, read_workbook


def read(content: bytes, filename: str, layout: Layout) -> ReadFile:
    """Return everything that the layout understands of a file, and every problem by row and column.

    What kind of file it is, its first bytes decide; `filename` is only named in problems. No file makes this fail:
    what cannot be read is a problem. Nothing may be stored while there is one.
    """
    if not content.strip():
        what, remedy = f"{filename} is empty.", "Write it again from the instrument."
        return _nothing(layout, RawTable((), (Problem(None, None, what, remedy),)))
    if content.startswith(OLD_SIGNATURE):
        what, remedy = f"{filename} is a workbook of the old kind, or has a password.", "Save it as XLSX or as CSV."
        return _nothing(layout, RawTable((), (Problem(None, None, what, remedy),)))
    table = (read_workbook if content.startswith(SIGNATURE) else read_delimited)(content, layout)
    if table.rows:
        return _understood(table, layout)
    what, remedy = f"{filename} has no rows.", "Write it again, or name the sheet that has them in the layout."
    return _nothing(layout, table, *(() if table.problems else (Problem(None, None, what, remedy),)))


def _understood(table: RawTable, layout: Layout) -> ReadFile:
    if len(table.rows) < layout.heading_row or table.rows[layout.heading_row - 1].is_blank:
        what = "the heading row is not there or is blank."
        blank = Problem(layout.heading_row, None, what, "Correct the number of the heading row in the layout.")
        return _nothing(layout, table, blank)
    headings = Headings.of(table.rows[layout.heading_row - 1])
    wanted = layout.headings()
    wrong = headings.missing(wanted) + headings.repeated([name for name in wanted if name not in layout.replicates])
    if wrong:
        return _nothing(layout, table, *wrong)
    return _read_rows(table, layout, headings)


def _read_rows(table: RawTable, layout: Layout, headings: Headings) -> ReadFile:
    rows, wrong_rows = table_rows(table, layout, headings)
    found, wrong_places = places(rows, layout, headings)
    observe = long_observations if layout.shape is Shape.LONG else wide_observations
    observations, wrong_lines = observe(found, layout, headings)
    if layout.position_from_order:
        observations = numbered_in_order(observations, layout)
    single, duplicates = grouped(observations, layout)
    understood, wrong_cells = readings(single, layout)
    problems = [*table.problems, *wrong_rows, *wrong_places, *wrong_lines, *duplicates, *wrong_cells]
    if not rows and not problems:
        problems.append(Problem(headings.row, None, "there is nothing under the headings.", "Write the file again."))
    return ReadFile(
        readings=tuple(understood),
        problems=tuple(sorted(problems, key=lambda problem: problem.row or 0)),
        rows=len(rows),
        lines=tuple(dict.fromkeys(reading.line for reading in understood)),
        unit=layout.unit,
        encoding=table.encoding,
        delimiter=table.delimiter,
    )


def _nothing(layout: Layout, table: RawTable, *problems: Problem) -> ReadFile:
    return ReadFile((), table.problems + problems, 0, (), layout.unit, table.encoding, table.delimiter)
