"""Numbers as people and instruments write them. What could be read in two ways is asked, never guessed."""

import math
import re
from dataclasses import dataclass

_MINUS = "\u2212"
_SPACES = " \t\u00a0\u202f\u2009"
PLAIN = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]+)?")
"""A number with a decimal point and nothing else."""


@dataclass(frozen=True)
class Unread:
    """Why a text is not a number, and what to do."""

    what: str
    what_to_do: str
    expected: str = "a number"


def read_number(text: str, decimal_sign: str = ".", thousands_sign: str = "") -> float | Unread:
    """Return the number that `text` names, or why it names none.

    decimal_sign: "." or ","; thousands_sign: "" where none is used. Spaces around the number are left out; units,
    signs such as <, and the words for infinity are no numbers.
    """
    plain = plain_number(text, decimal_sign, thousands_sign)
    return plain if isinstance(plain, Unread) else float(plain)


def plain_number(text: str, decimal_sign: str = ".", thousands_sign: str = "") -> str | Unread:
    """Return the number that `text` names with a decimal point and nothing between thousands, as `read_number`."""
    bare = text.strip(_SPACES).replace(_MINUS, "-")
    if not bare:
        return Unread("the cell is empty.", "Fill it in, or take the row out.")
    other = "," if decimal_sign == "." else "."
    if other in bare and thousands_sign != other:
        return _ambiguous(text, bare, decimal_sign, thousands_sign)
    grouped = _ungrouped(bare, thousands_sign, decimal_sign)
    if grouped is None:
        return Unread(f"“{text}” has thousands signs at odd places.", "Look at the number in the file and correct it.")
    if not PLAIN.fullmatch(grouped):
        return Unread(f"“{text}” is not a number.", _hint(bare))
    if not math.isfinite(float(grouped)):
        return Unread(f"“{text}” is too large for a number.", "Look at the number in the file and correct it.")
    return grouped


def read_count(text: str) -> int | Unread:
    """Return a whole number such as a position, also when a spreadsheet wrote it as 7.0."""
    number = read_number(text)
    if isinstance(number, Unread):
        return number
    if number != int(number):
        return Unread(f"“{text}” is not a whole number.", "Give the position as 1, 2, 3.", "a whole number")
    return int(number)


def _ambiguous(text: str, bare: str, decimal_sign: str, thousands: str) -> Unread:
    other = "," if decimal_sign == "." else "."
    sign = "comma" if decimal_sign == "," else "point"
    what = f"“{text}” can be read as {bare.replace(other, '.')} or as {bare.replace(other, '')}"
    if bare.count(other) > 1 or decimal_sign in bare:
        what = f"“{text}” has signs that part thousands"
    return Unread(
        f"{what}; this layout has a decimal {sign}{f' and {thousands!r} between thousands' if thousands else ''}.",
        "Say in the layout which sign is the decimal sign, and which, if any, parts the thousands.",
        f"a number with a decimal {sign}",
    )


def _ungrouped(bare: str, thousands_sign: str, decimal_sign: str) -> str | None:
    """Return the number with a point and without thousands signs; None where these do not part threes."""
    whole, point, rest = bare.partition(decimal_sign)
    if thousands_sign and thousands_sign in whole:
        first, *groups = whole.split(thousands_sign)
        if not 1 <= len(first.lstrip("+-")) <= 3 or any(len(group) != 3 or not group.isdigit() for group in groups):
            return None
        whole = first + "".join(groups)
    return whole + ("." if point else "") + rest


def _hint(bare: str) -> str:
    if bare[0] in "<>":
        return "Have the instrument write the reading itself; limits are applied here."
    if bare[0].isdigit() and bare[-1].isalpha():
        return "Take the unit out of the cell: it belongs to the layout."
    return "Correct it, or name it in the layout as a word for missing or for over range."
