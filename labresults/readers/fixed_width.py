"""Text in columns of fixed width: lines cut at the places that a layout names."""

import io
from collections.abc import Sequence

from labresults.readers.limits import LONGEST_CELL, MOST_ROWS
from labresults.readers.problem import Problem
from labresults.readers.table import RawRow


def cut_rows(text: str, starts: Sequence[int], heading_row: int = 1) -> tuple[tuple[RawRow, ...], tuple[Problem, ...]]:
    """Return the rows with the spaces round each cell left out, and a problem for each line that cannot be cut.

    starts: where each column begins, from 1 on. From the heading row on, a word that runs over the border of two
    columns is a problem, since its parts would be taken for two, and so is a tab, whose width nobody knows.
    """
    rows, problems = [], []
    bounds = [start - 1 for start in starts]
    for number, ended in enumerate(io.StringIO(text, newline=""), start=1):
        line = ended.rstrip("\r\n")
        if number > MOST_ROWS or len(line) > LONGEST_CELL:
            what = "the file has more lines, or a longer line, than can be read."
            problems.append(Problem(number, None, what, "Look at the file, or part it into several."))
            break
        rows.append(RawRow(number, _cut(line, bounds)))
        if number >= heading_row and (trouble := _uncut(number, line, bounds)):
            problems.append(trouble)
    return tuple(rows), tuple(problems)


def _cut(line: str, bounds: Sequence[int]) -> tuple[str, ...]:
    if not line.strip():
        return ("",)
    ends = [*bounds[1:], max(len(line), bounds[-1])]
    return tuple(line[start:end].strip() for start, end in zip(bounds, ends, strict=True))


def _uncut(number: int, line: str, bounds: Sequence[int]) -> Problem | None:
    if "\t" in line:
        return Problem(number, None, "the line has a tab.", "Name the tab as the delimiter, or write spaces.", "a tab")
    if line[: bounds[0]].strip():
        found = line[: bounds[0]].strip()
        what = f"“{found[:40]}” stands before the first column."
        return Problem(number, None, what, "Correct the places of the columns in the layout.", found[:40])
    for bound in bounds[1:]:
        if bound < len(line) and not line[bound - 1].isspace() and not line[bound].isspace():
            word = line[:bound].rsplit(maxsplit=1)[-1] + line[bound:].split(maxsplit=1)[0]
            what = f"“{word[:40]}” runs over the border of two columns at place {bound + 1}."
            return Problem(number, None, what, "Correct the places of the columns in the layout.", word[:40])
    return None
