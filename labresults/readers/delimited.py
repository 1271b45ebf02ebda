"""Text tables: bytes to rows of text, to the letter."""

import codecs
import csv
import io
from collections.abc import Iterator, Sequence
from itertools import count, islice

from labresults.readers.fixed_width import cut_rows
from labresults.readers.layout import DELIMITERS, FIXED, SNIFF, Layout, is_encoding
from labresults.readers.limits import LONGEST_CELL, MOST_COLUMNS, MOST_ROWS
from labresults.readers.problem import Problem
from labresults.readers.table import Headings, RawRow, RawTable, from_columns

_MARKS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))
_SEARCHED = 200  # rows in which headings are looked for where the layout does not say theirs


def read_delimited(content: bytes, layout: Layout) -> RawTable:
    """Return the rows of a text table; a file that cannot be decoded has no rows and a problem."""
    decoded = decode(content, layout.encoding)
    if isinstance(decoded, Problem):
        return RawTable((), (decoded,))
    text, encoding = decoded
    if layout.delimiter == FIXED:
        rows, problems = cut_rows(text, layout.column_starts, layout.heading_row)
        return RawTable(rows, problems, encoding, FIXED)
    delimiter = layout.delimiter if layout.delimiter != SNIFF else _sniffed(text, layout)
    rows, problems = rows_of(text, delimiter)
    return RawTable(rows, problems, encoding, delimiter)


def decode(content: bytes, encoding: str) -> tuple[str, str] | Problem:
    """Return the text and the name of its encoding, or the place where it cannot be decoded.

    With "sniff" a byte-order mark decides, and without one only UTF-8 is tried: other encodings are asked for.
    """
    marked = next((name for mark, name in _MARKS if content.startswith(mark)), None)
    wanted = (marked or "utf-8") if encoding == SNIFF else encoding
    if not is_encoding(wanted):
        what = f"the encoding “{wanted}” is unknown."
        return Problem(None, None, what, "Give utf-8, cp1252 or utf-16.", wanted, "an encoding")
    if marked and codecs.lookup(wanted).name not in {marked, "utf-8", "utf-16", "utf-16-le", "utf-16-be"}:
        return Problem(
            1,
            None,
            f"the file begins with the mark of {marked}, the layout says {encoding}.",
            "Correct the layout.",
            found=marked,
            expected=encoding,
        )
    try:
        text = content.decode(wanted)
    except UnicodeDecodeError as problem:
        row = content.count(b"\n", 0, problem.start) + 1
        return Problem(
            row,
            None,
            f"the bytes at place {problem.start} are not {wanted}.",
            "Name the encoding in the layout: cp1252 for many older programs, utf-16 for some exports.",
            found=content[problem.start : problem.start + 4].hex(" "),
            expected=wanted,
        )
    if "\0" in text:
        row = text.count("\n", 0, text.index("\0")) + 1
        what = f"the text has zero bytes: it is not {wanted}."
        return Problem(row, None, what, "Name the encoding in the layout.", "zero bytes", wanted)
    return text.removeprefix("\ufeff"), wanted


def rows_of(text: str, delimiter: str, most: int = MOST_ROWS) -> tuple[tuple[RawRow, ...], tuple[Problem, ...]]:
    """Return at most so many rows of a text, and a problem where its quotation marks or its size stop the reading."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    cells: list[list[str]] = []
    try:
        cells += islice(reader, most)  # those before an error are kept
        problems = (_too_many(most),) if most == MOST_ROWS and next(reader, None) is not None else ()
    except csv.Error as problem:
        problems = (_broken(len(cells) + 1, str(problem)),)
    if cells and max(map(len, cells)) > MOST_COLUMNS:
        return (), (_too_wide(next(row for row, of in enumerate(cells, start=1) if len(of) > MOST_COLUMNS)),)
    return tuple(from_columns(RawRow, count(1), map(tuple, cells))), problems


def _broken(row: int, why: str) -> Problem:
    if "field larger" in why:
        what = f"a cell of this row has more than {LONGEST_CELL} letters; nothing after it was read."
        return Problem(row, None, what, "Look for a quotation mark that is not closed.", expected="a shorter cell")
    what = f"the quotation marks of this row do not close as they should ({why}); nothing after it was read."
    remedy = "Correct the row in the program that wrote it, or copy the file once more if it was cut off."
    return Problem(row, None, what, remedy, expected="closed quotation marks")


def _too_many(most: int) -> Problem:
    return Problem(
        most + 1,
        None,
        f"the file has more than {most} rows.",
        "Part it into several files.",
        expected=f"at most {most} rows",
    )


def _too_wide(row: int) -> Problem:
    what = f"the row has more than {MOST_COLUMNS} cells."
    return Problem(row, None, what, "Name the delimiter in the layout, or look at the file.")


def first_lines(text: str, most: int) -> Iterator[str]:
    """Yield the first lines of a text, without their ends."""
    return (line.rstrip("\r\n") for line in islice(io.StringIO(text, newline=""), most))


def _sniffed(text: str, layout: Layout) -> str:
    """Return the delimiter by which the heading row has the headings of the layout; then the one that parts most."""
    candidates = [sign for sign in DELIMITERS if sign != layout.decimal_sign]
    lines = list(first_lines(text, layout.heading_row or _SEARCHED))
    searched = lines[layout.heading_row - 1 : layout.heading_row] if layout.heading_row else lines
    wanted = layout.headings()
    return max(candidates, key=lambda sign: max((_fit(line, sign, wanted) for line in searched), default=(0, 0)))


def _fit(heading: str, sign: str, wanted: Sequence[str]) -> tuple[int, int]:
    try:
        cells = next(csv.reader([heading], delimiter=sign), [])
    except csv.Error:
        return (0, 0)
    found = Headings(1, tuple(cell.strip() for cell in cells))
    return sum(bool(found.all_of(name)) for name in wanted), len(cells)
