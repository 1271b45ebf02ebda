"""Which column means what: data, not code. A layout describes one kind of file that an instrument writes."""

import codecs
import json
from dataclasses import asdict, dataclass, fields
from enum import StrEnum
from typing import Any

from labresults.readers.template import LineTemplate

SNIFF = "sniff"
FIXED = "fixed"
DELIMITERS = ("\t", ";", ",", "|")
SAID_ABOVE = ("position", "label", "time", "line", "unit")
"""What a line above a table can say of all its rows."""
DAY_FIRST, MONTH_FIRST = "day first", "month first"


class BadLayout(ValueError):
    """A layout that cannot be applied: says every setting that is wrong, and what to do."""


class Shape(StrEnum):
    """One row for a position and a line, or one row for a position with a column for each line."""

    LONG = "long"
    WIDE = "wide"


class Blocks(StrEnum):
    """Whether the headings come again further down, and what a block under them is then."""

    ONE = "one"
    MORE = "more rows or lines"
    POSITION = "one position"
    REPLICATE = "one replicate of all"


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
    for Reading 1, Reading 2, ...; or `mean`, with `sd` and `count` where the file has them. Beside replicates a mean
    and a standard deviation are only checked against them.
    Readings, wide: `line_template`, with {n} where the replicates of a line have columns of their own; `mean`, `sd`,
    `count` and `concentration` are templates too, such as "{element} {wavelength} SD".
    concentration: what the instrument made of the signals, kept beside them in `concentration_unit`.
    Units: `units_row` says that units stand under the headings; {unit} in a template, or `unit_column` in a long file,
    name them too. Concentrations are converted exactly to `unit`; `unit_names` says what a word means: (word, unit).
    count_of_mean: how many replicates a mean is of, in a file that does not say.
    repeated_rows: several rows with the same position (and line) are its replicates; repeated_columns: so are columns.
    time: when a row was read; where it is a clock only, a line above says the day on which the table begins.
    above: (word, one of SAID_ABOVE) of lines such as "Position: 12" above the table, or above each block.
    blocks: whether the headings come again. Positions from their order begin anew in each block of one replicate, and
    are the blocks themselves where each is one position.
    ignored: headings of a wide file that are neither a line nor named here; an unknown heading is asked about.
    missing, over_range: words in place of a number, whatever their case; an empty cell is missing when "" is there.
    end_word: a row that begins with it ends the table. heading_row: 0 where the first row with all headings is it.
    column_starts: of a text in columns of fixed width (delimiter FIXED), places counted from 1.
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
    units_row: bool = False
    unit_column: str = ""
    unit_names: tuple[tuple[str, str], ...] = ()
    concentration: str = ""
    concentration_unit: str = ""
    time: str = ""
    date_order: str = ""  # DAY_FIRST, MONTH_FIRST, or "" where no date can be read in two ways
    above: tuple[tuple[str, str], ...] = ()
    blocks: Blocks = Blocks.ONE
    repeated_columns: bool = False
    column_starts: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        wrong = [*_wrong_signs(self), *_wrong_places(self), *_wrong_rows(self), *_wrong_readings(self)]
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
        except (ValueError, TypeError, AttributeError) as problem:
            raise BadLayout(f"The layout cannot be read ({problem}). Correct the setting that is named.") from problem

    def headings(self) -> tuple[str, ...]:
        """Return every heading that the file must have; numbered and repeated ones as the layout writes them."""
        found = [self.position, self.label, self.time, self.unit_column]
        if self.shape is Shape.LONG:
            found += [self.line, self.element, self.wavelength, self.mean, self.sd, self.count, self.concentration]
        return tuple(heading for heading in (*found, *self.replicates) if heading)

    def says_above(self, meaning: str) -> bool:
        """Whether lines above the table say this of its rows."""
        return any(said == meaning for _, said in self.above)


def _wrong_signs(layout: Layout) -> list[str]:
    wrong = []
    if layout.decimal_sign not in (".", ","):
        wrong.append("the decimal sign must be a point or a comma")
    if layout.thousands_sign == layout.decimal_sign:
        wrong.append("the thousands sign and the decimal sign are the same")
    named = layout.delimiter in (SNIFF, FIXED)
    if not named and (len(layout.delimiter) != 1 or layout.delimiter == layout.decimal_sign == ","):
        wrong.append("the delimiter must be one sign, and not the decimal sign")
    starts = layout.column_starts
    if (layout.delimiter == FIXED) != bool(starts) or list(starts) != sorted({*starts}) or any(s < 1 for s in starts):
        wrong.append("columns of fixed width need the place where each begins, from 1 on and rising, and only they do")
    if layout.encoding != SNIFF and not is_encoding(layout.encoding):
        wrong.append(f"the encoding “{layout.encoding}” is unknown: give utf-8, cp1252 or utf-16")
    if {word.casefold() for word in layout.missing} & {word.casefold() for word in layout.over_range}:
        wrong.append("a word cannot mean both missing and over range")
    if layout.date_order not in ("", DAY_FIRST, MONTH_FIRST):
        wrong.append("dates have the day first or the month first, or can be read in one way only")
    return wrong


def _wrong_places(layout: Layout) -> list[str]:
    wrong = []
    if not layout.name or layout.version < 1 or not layout.unit:
        wrong.append("it needs a name, a version from 1 on, and the unit of the readings")
    above = [said for said in ("position", "label") if layout.says_above(said)]
    if not (layout.position or layout.label or above) and (not layout.position_from_order or layout.repeated_rows):
        wrong.append("name the heading of the position, of the label, or of both")
    if layout.position_from_order and (layout.position or "position" in above):
        wrong.append("positions come from their column or from their order, not from both")
    if layout.heading_row < 0:
        wrong.append("rows count from 1, so the heading row must be 1 or more, or 0 where it is looked for")
    if layout.heading_row == 0 and not layout.headings():
        wrong.append("a heading row can only be looked for by headings that are named")
    named = [heading for heading in layout.headings() if heading not in layout.replicates]
    if len(set(named)) < len(named) or set(named) & set(layout.replicates):
        wrong.append("one heading cannot mean two things")
    return wrong


def _wrong_rows(layout: Layout) -> list[str]:
    wrong = []
    meanings = [said for _, said in layout.above]
    twice = len(set(meanings)) < len(meanings) or len({word for word, _ in layout.above}) < len(meanings)
    if twice or set(meanings) - set(SAID_ABOVE) or not all(word.strip() for word, _ in layout.above):
        wrong.append(f"a line above the table has a word of its own and says one of {', '.join(SAID_ABOVE)}")
    columns = {"position": layout.position, "label": layout.label, "time": layout.time, "unit": layout.unit_column}
    both = [said for said in meanings if columns.get(said) and said != "time"]
    wrong += [f"the {said} stands above the table or in a column, not in both" for said in both]
    if layout.blocks is Blocks.POSITION and layout.position:
        wrong.append("where a block is one position, its number stands above it or is the block's own")
    if layout.unit_column and layout.shape is Shape.WIDE:
        wrong.append("a column of units belongs to a long layout")
    return wrong


def _wrong_readings(layout: Layout) -> list[str]:
    wrong = _wrong_template(layout.line_template)
    if layout.count_of_mean < 1 or (layout.count_of_mean > 1 and layout.repeated_rows):
        wrong.append("count_of_mean must be 1 or more, and 1 where rows are repeated")
    if layout.shape is Shape.WIDE:
        return wrong + _wrong_wide(layout)
    above = layout.says_above("line")
    if [bool(layout.line), bool(layout.element and layout.wavelength), above].count(True) != 1:
        wrong.append("name the heading of the line, or those of element and wavelength")
    if not layout.replicates and not layout.mean:
        wrong.append("name the headings of the replicates, or that of their mean")
    if (layout.sd or layout.count) and (not layout.mean or layout.repeated_rows):
        wrong.append("standard deviation and count belong to a mean, of one row")
    if layout.sd and not (layout.count or layout.replicates) and layout.count_of_mean < 2:
        wrong.append("a standard deviation needs the count of its replicates: its heading, or count_of_mean")
    return wrong


def _wrong_wide(layout: Layout) -> list[str]:
    wrong = [
        f"in a wide layout {trouble}"
        for template in (layout.mean, layout.sd, layout.count, layout.concentration)
        for trouble in (_wrong_template(template) if template else [])
    ]
    if layout.replicates or layout.line or layout.element or layout.says_above("line"):
        wrong.append("a wide layout has its readings under the lines: leave replicates and line out")
    if layout.count_of_mean > 1 and (layout.repeated_columns or "{n}" in layout.line_template):
        wrong.append("count_of_mean belongs to one column of means for each line")
    return wrong


def _wrong_template(template: str) -> list[str]:
    try:
        LineTemplate.parse(template)
    except ValueError as problem:
        return [str(problem)]
    return []


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
    if key == "blocks":
        return Blocks(value)
    if key == "applied":
        return frozenset(Applied(item) for item in value)
    if isinstance(value, list):
        return tuple(tuple(item) if isinstance(item, list) else item for item in value)
    return value
