"""The one entry: bytes of a file and a layout in, readings and problems out."""

import gc
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace

from labresults.readers.assemble import readings
from labresults.readers.blocks import part
from labresults.readers.delimited import read_delimited
from labresults.readers.layout import Layout
from labresults.readers.limits import LARGEST_FILE_BYTES
from labresults.readers.observations import observe
from labresults.readers.problem import Problem, named
from labresults.readers.reading import ReadFile
from labresults.readers.table import RawTable
from labresults.readers.workbook import OLD_SIGNATURE, SIGNATURE, read_workbook


def read(content: bytes, filename: str, layout: Layout, struck: frozenset[int] = frozenset()) -> ReadFile:
    """Return everything that the layout understands of a file, and every problem by row and column.

    What kind of file it is, its first bytes decide; `filename` is only named in problems. struck: rows that a person
    left out; they are not read, and one that is not there is a problem. No file makes this fail: what cannot be read
    is a problem. Nothing may be stored while there is one.
    """
    with _no_search_for_cycles():
        return _read(content, filename, layout, struck)


def _read(content: bytes, filename: str, layout: Layout, struck: frozenset[int]) -> ReadFile:
    trouble = unreadable(content, filename)
    table = RawTable((), (trouble,)) if trouble else table_of(content, layout)
    if not table.rows and not table.problems:
        remedy = "Write it again, or name the sheet that has them in the layout."
        table = replace(
            table, problems=(Problem(None, None, f"{filename} has no rows.", remedy, "no rows", "a table"),)
        )
    if not table.rows:
        return _result(layout, table, filename, table.problems)
    parted = part(table, layout, struck)
    observations, wrong = observe(parted.blocks, layout)
    found, contradictions = readings(observations, layout)
    problems = [*table.problems, *parted.problems, *wrong, *contradictions]
    problems += [_not_there(row) for row in sorted(struck - parted.left_out)]
    rows = sum(len(block.rows) for block in parted.blocks)
    if not rows and not problems:
        row = parted.blocks[0].headings.row
        what = "there is nothing under the headings."
        problems.append(Problem(row, None, what, "Write the file again.", "no rows", "rows with readings"))
    return replace(
        _result(layout, table, filename, sorted(problems, key=lambda problem: problem.row or 0)),
        readings=tuple(found),
        rows=rows,
        lines=tuple(dict.fromkeys([reading.line for reading in found])),
        struck=tuple(sorted(parted.left_out)),
    )


@contextmanager
def _no_search_for_cycles() -> Iterator[None]:
    """A run makes a million small tuples and no cycle: the collector would walk them again and again, and find nothing.

    It costs more than half of the time to read a large file.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def unreadable(content: bytes, filename: str) -> Problem | None:
    """Return why a file cannot be read whatever is in it, or None."""
    if not content.strip():
        return Problem(None, None, f"{filename} is empty.", "Write it again from the instrument.", "nothing", "a table")
    if len(content) > LARGEST_FILE_BYTES:
        what = f"{filename} has {len(content):,} bytes, and at most {LARGEST_FILE_BYTES:,} are read."
        found, most = f"{len(content)} bytes", f"at most {LARGEST_FILE_BYTES} bytes"
        return Problem(None, None, what, "Part it into several files.", found, most)
    if content.startswith(OLD_SIGNATURE):
        what = f"{filename} is a workbook of the old kind, or has a password."
        return Problem(None, None, what, "Save it as XLSX or as CSV.", "another kind of file", "XLSX or text")
    return None


def table_of(content: bytes, layout: Layout) -> RawTable:
    """Return the rows of a file as cells, before anything in them is understood."""
    return (read_workbook if content.startswith(SIGNATURE) else read_delimited)(content, layout)


def _not_there(row: int) -> Problem:
    return Problem(row, None, f"the table has no row {row} that could be struck.", "Take it out of the struck rows.")


def _result(layout: Layout, table: RawTable, filename: str, problems: Sequence[Problem]) -> ReadFile:
    return ReadFile((), named(problems, filename), 0, (), layout.unit, table.encoding, table.delimiter)
