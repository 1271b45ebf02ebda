"""Text tables: bytes to rows of text, to the letter."""

import codecs
import csv
import io
from collections.abc import Sequence

from labresults.readers.layout import DELIMITERS, SNIFF, Layout
from labresults.readers.problem import Problem
from labresults.readers.table import Headings, RawRow, RawTable

_MARKS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))


def read_delimited(content: bytes, layout: Layout) -> RawTable:
    """Return the rows of a text table; a file that cannot be decoded has no rows and a problem."""
    decoded = decode(content, layout.encoding)
    if isinstance(decoded, Problem):
        return RawTable((), (decoded,))
    text, encoding = decoded
    delimiter = layout.delimiter if layout.delimiter != SNIFF else _sniffed(text, layout)
    rows, problems = _rows(text, delimiter)
    return RawTable(rows, problems, encoding, delimiter)


def decode(content: bytes, encoding: str) -> tuple[str, str] | Problem:
    """Return the text and the name of its encoding, or the place where it cannot be decoded.

    With "sniff" a byte-order mark decides, and without one only UTF-8 is tried: other encodings are asked for.
    """
    marked = next((name for mark, name in _MARKS if content.startswith(mark)), None)
    wanted = (marked or "utf-8") if encoding == SNIFF else encoding
    if marked and codecs.lookup(wanted).name not in {marked, "utf-8", "utf-16-le", "utf-16-be"}:
        return Problem(
            1, None, f"the file begins with the mark of {marked}, the layout says {encoding}.", "Correct the layout."
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
        )
    if "\0" in text:
        row = text.count("\n", 0, text.index("\0")) + 1
        return Problem(row, None, f"the text has zero bytes: it is not {wanted}.", "Name the encoding in the layout.")
    return text.removeprefix("\ufeff"), wanted


def _rows(text: str, delimiter: str) -> tuple[tuple[RawRow, ...], tuple[Problem, ...]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows: list[RawRow] = []
    try:
        for cells in reader:
            rows.append(RawRow(len(rows) + 1, tuple(cells)))
    except csv.Error as problem:
        broken = Problem(
            len(rows) + 1,
            None,
            f"the quotation marks of this row do not close as they should ({problem}); nothing after it was read.",
            "Correct the row in the program that wrote it.",
        )
        return tuple(rows), (broken,)
    return tuple(rows), ()


def _sniffed(text: str, layout: Layout) -> str:
    """Return the delimiter by which the heading row has the headings of the layout; then the one that parts most."""
    candidates = [sign for sign in DELIMITERS if sign != layout.decimal_sign]
    lines = text.splitlines()
    heading = lines[layout.heading_row - 1] if len(lines) >= layout.heading_row else ""
    return max(candidates, key=lambda sign: _fit(heading, sign, layout.headings()))


def _fit(heading: str, sign: str, wanted: Sequence[str]) -> tuple[int, int]:
    try:
        cells = next(csv.reader([heading], delimiter=sign), [])
    except csv.Error:
        return (0, 0)
    found = Headings(1, tuple(cell.strip() for cell in cells))
    return sum(bool(found.all_of(name)) for name in wanted), len(cells)
