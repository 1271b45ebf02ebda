"""Which column means what: data, not code. A layout describes one kind of file that an instrument writes."""

import codecs
import json
from dataclasses import asdict, dataclass, fields
from enum import StrEnum
from typing import Any

from labresults.readers.template import LineTemplate

SNIFF = "sniff"
DELIMITERS = ("\t", ";", ",", "|")


class BadLayout(ValueError):
    """A layout that cannot be applied: says every setting that is wrong, and what to do."""


class Shape(StrEnum):
    """One row for a position and a line, or one row for a position with a column for each line."""

    LONG = "long"
    WIDE = "wide"


class Applied(StrEnum):
    """What is in the number already. Applying it a second time is refused by whoever computes."""

    CALIBRATION = "calibration"  # the numbers are concentrations already
    DILUTION = "dilution"
    PORTION = "portion"
    BLANK = "blank"
    INTERNAL_STANDARD = "internal standard"
    DRIFT = "drift"


@dataclass(frozen=True)
class Layout:
    """One kind of file. Headings are compared to the letter, spaces at both ends left out.

    Position: `position` is the heading of its number, `label` that of its name; one of them is needed. With
    `position_from_order` positions are numbered 1, 2, 3 as they appear, for files that number none.
    Line, long: `line` is the heading of its name, read by `line_template`, or `element` and `wavelength` are two.
    Line, wide: every heading that fits `line_template`. Names of another kind stand in `line_names`: (name, line).
    Readings, long: `replicates` are headings; one that occurs several times stands for all of them, and "Reading {n}"
    for Reading 1, Reading 2, ...; or `mean`, with `sd` and `count` where the file has them.
    count_of_mean: how many replicates a mean is of, in a file that does not say.
    repeated_rows: several rows with the same position (and line) are its replicates.
    ignored: headings of a wide file that are neither a line nor named here; an unknown heading is asked about.
    missing, over_range: words in place of a number, whatever their case; an empty cell is missing when "" is there.
    end_word: a row that begins with it ends the table.
    """

    name: str
    version: int
    shape: Shape
    unit: str
    position: str = ""
    label: str = ""
    position_from_order: bool = False
    line: str = ""
    element: str = ""
    wavelength: str = ""
    line_template: str = "{element} {wavelength}"
    line_names: tuple[tuple[str, str], ...] = ()
    replicates: tuple[str, ...] = ()
    mean: str = ""
    sd: str = ""
    count: str = ""
    count_of_mean: int = 1
    repeated_rows: bool = False
    ignored: tuple[str, ...] = ()
    heading_row: int = 1
    delimiter: str = SNIFF
    decimal_sign: str = "."
    thousands_sign: str = ""
    encoding: str = SNIFF
    sheet: str = ""  # "": the first one
    missing: tuple[str, ...] = ("",)
    over_range: tuple[str, ...] = ()
    end_word: str = ""
    applied: frozenset[Applied] = frozenset()

    def __post_init__(self) -> None:
        wrong = [*_wrong_signs(self), *_wrong_places(self), *_wrong_readings(self)]
        if wrong:
            raise BadLayout(f"Layout “{self.name}”: {'; '.join(wrong)}.")

    def to_json(self) -> str:
        """Return the layout as text with sorted keys."""
        raw = asdict(self) | {"applied": sorted(self.applied)}
        return json.dumps(raw, ensure_ascii=False, sort_keys=True)

    @classmethod
    def from_json(cls, source: str) -> "Layout":
        """Read `to_json` back. Raises BadLayout when a setting is unknown, missing or cannot be applied."""
        try:
            raw: dict[str, Any] = json.loads(source)
            unknown = set(raw) - {field.name for field in fields(cls)}
            if unknown:
                raise BadLayout(f"Unknown settings: {', '.join(sorted(unknown))}. Take them out, or correct them.")
            return cls(**{key: _rebuilt(key, value) for key, value in raw.items()})
        except BadLayout:
            raise
        except (ValueError, TypeError) as problem:
            raise BadLayout(f"The layout cannot be read ({problem}). Correct the setting that is named.") from problem

    def headings(self) -> tuple[str, ...]:
        """Return every heading that the file must have; numbered and repeated ones as the layout writes them."""
        single = (self.position, self.label, self.line, self.element, self.wavelength, self.mean, self.sd, self.count)
        return tuple(heading for heading in (*single, *self.replicates) if heading)


def _wrong_signs(layout: Layout) -> list[str]:
    wrong = []
    if layout.decimal_sign not in (".", ","):
        wrong.append("the decimal sign must be a point or a comma")
    if layout.thousands_sign == layout.decimal_sign:
        wrong.append("the thousands sign and the decimal sign are the same")
    if layout.delimiter != SNIFF and (len(layout.delimiter) != 1 or layout.delimiter == layout.decimal_sign == ","):
        wrong.append("the delimiter must be one sign, and not the decimal sign")
    if layout.encoding != SNIFF and not is_encoding(layout.encoding):
        wrong.append(f"the encoding “{layout.encoding}” is unknown: give utf-8, cp1252 or utf-16")
    if {word.casefold() for word in layout.missing} & {word.casefold() for word in layout.over_range}:
        wrong.append("a word cannot mean both missing and over range")
    return wrong


def _wrong_places(layout: Layout) -> list[str]:
    wrong = []
    if not layout.name or layout.version < 1 or not layout.unit:
        wrong.append("it needs a name, a version from 1 on, and the unit of the readings")
    if not (layout.position or layout.label):
        wrong.append("name the heading of the position, of the label, or of both")
    if layout.position and layout.position_from_order:
        wrong.append("positions come from their column or from their order, not from both")
    if layout.heading_row < 1:
        wrong.append("rows count from 1, so the heading row must be 1 or more")
    named = [heading for heading in layout.headings() if heading not in layout.replicates]
    if len(set(named)) < len(named) or set(named) & set(layout.replicates):
        wrong.append("one heading cannot mean two things")
    return wrong


def _wrong_readings(layout: Layout) -> list[str]:
    wrong = []
    try:
        LineTemplate.parse(layout.line_template)
    except ValueError as problem:
        wrong.append(str(problem))
    if layout.count_of_mean < 1 or (layout.count_of_mean > 1 and layout.repeated_rows):
        wrong.append("count_of_mean must be 1 or more, and 1 where rows are repeated")
    if layout.shape is Shape.WIDE:
        if layout.replicates or layout.mean or layout.sd or layout.count or layout.line or layout.element:
            wrong.append(
                "a wide layout has its readings under the lines: leave replicates, mean, sd, count and line out"
            )
        return wrong
    if bool(layout.line) == bool(layout.element and layout.wavelength):
        wrong.append("name the heading of the line, or those of element and wavelength")
    if bool(layout.replicates) == bool(layout.mean):
        wrong.append("name the headings of the replicates, or that of their mean")
    if (layout.sd or layout.count) and (not layout.mean or layout.repeated_rows):
        wrong.append("standard deviation and count belong to a mean, of one row")
    if layout.sd and not layout.count and layout.count_of_mean < 2:
        wrong.append("a standard deviation needs the count of its replicates: its heading, or count_of_mean")
    return wrong


def is_encoding(name: str) -> bool:
    """Return whether `name` is that of an encoding of text."""
    try:
        return codecs.lookup(name)._is_text_encoding
    except LookupError:
        return False


def _rebuilt(key: str, value: Any) -> Any:
    """Give back the types that JSON does not know."""
    if key == "shape":
        return Shape(value)
    if key == "applied":
        return frozenset(Applied(item) for item in value)
    if isinstance(value, list):
        return tuple(tuple(item) if isinstance(item, list) else item for item in value)
    return value
