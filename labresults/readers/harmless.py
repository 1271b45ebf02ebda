"""Tables of text that people open with a spreadsheet: CSV by RFC 4180 of which nothing that was written is calculated.

A spreadsheet may part a line where this file does not: where its list separator is the semicolon it parts a file of
commas at each semicolon, and sees no quotes that stand within what it takes for a field. So text is quoted where a
spreadsheet might part it (that helps those which part at several signs), and besides gets an apostrophe at each place
where a field could begin so and would be calculated. Whoever takes one apostrophe away at the beginning and behind each
semicolon, comma, tab or line break, other than the file's own delimiter, has the text to the letter.
"""

import re
from collections.abc import Iterable

_SEPARATORS = ",;\t"
_CALCULATED = "=+@\\-\t\r\n'"
"""What makes a formula, or is taken away, at the beginning of a field; the apostrophe is our own."""

_BEGINNINGS = {
    delimiter: re.compile(f'(^|[{_SEPARATORS.replace(delimiter, "")}\r\n])(?="*[{_CALCULATED}])')
    for delimiter in _SEPARATORS
}
_APART = re.compile(f'["\r\n{_SEPARATORS}]|^[{_CALCULATED}]')
_NUMBER = re.compile(r"[<>]?[-+−]?\d+(?:[.,]\d+)?")


def protected(text: str, delimiter: str = ",") -> str:
    """Return text of which no spreadsheet takes any part for a formula, for a file with this delimiter."""
    return _BEGINNINGS[delimiter].sub(r"\1'", text)


def as_csv(lines: Iterable[Iterable[object]], delimiter: str = ",") -> str:
    """Return lines of cells as CSV; numbers are to their last bit. What may be calculated is `protected` by the caller,
    who knows which text is a number with its sign.
    """
    return "".join(as_line(cells, delimiter) for cells in lines)


def as_line(cells: Iterable[object], delimiter: str = ",") -> str:
    """Return one line of it, with its end."""
    return delimiter.join(_field(cell, delimiter) for cell in cells) + "\r\n"


def _field(cell: object, delimiter: str) -> str:
    if not isinstance(cell, str):
        return "" if cell is None else str(cell)
    if _APART.search(cell) is None or (_NUMBER.fullmatch(cell) and delimiter not in cell):
        return cell
    return '"' + cell.replace('"', '""') + '"'
