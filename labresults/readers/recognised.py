"""What a file of readings seems to be: offered to a person who makes a layout, never decided."""

from dataclasses import dataclass
from enum import StrEnum

from labresults.readers.layout import FIXED
from labresults.readers.problem import Problem


class Meaning(StrEnum):
    """What a column, or a line above the table, can be. The words are shown as they stand."""

    POSITION = "position"
    LABEL = "label"
    TIME = "time"
    LINE = "line"
    ELEMENT = "element"
    WAVELENGTH = "wavelength"
    UNIT = "unit"
    REPLICATE = "replicate"
    MEAN = "mean"
    SD = "standard deviation"
    COUNT = "count of replicates"
    CONCENTRATION = "concentration by the instrument"
    LINE_READING = "readings of a line"
    LINE_MEAN = "mean of a line"
    LINE_SD = "standard deviation of a line"
    LINE_COUNT = "count of a line"
    LINE_CONCENTRATION = "concentration of a line by the instrument"
    IGNORED = "ignored"


YES, NO = "yes", "no"
"""Answers to a question that has no others."""

# What cannot be typed or seen well is answered by its word.
DELIMITERS_BY_WORD = {"tab": "\t", "semicolon": ";", "comma": ",", "upright stroke": "|", "fixed width": FIXED}
DECIMALS_BY_WORD = {"point": ".", "comma": ","}
THOUSANDS_BY_WORD = {
    "none": "",
    "comma": ",",
    "point": ".",
    "space": " ",
    "apostrophe": "'",
    "narrow space": "\u202f",
    "no-break space": "\u00a0",
}

OF_A_LINE = frozenset(
    {Meaning.LINE_READING, Meaning.LINE_MEAN, Meaning.LINE_SD, Meaning.LINE_COUNT, Meaning.LINE_CONCENTRATION}
)
"""Columns of a wide table: the line stands in their heading."""

ABOVE = (Meaning.POSITION, Meaning.LABEL, Meaning.TIME, Meaning.LINE, Meaning.UNIT, Meaning.IGNORED)
"""What a line above the table can say of all rows below it."""


@dataclass(frozen=True)
class Column:
    """One column under the headings, with its first values and what it may be, the likeliest first.

    key: of its answer, "column 0". unit: from the row of units or the heading, "" where there is none. line: what a
    heading of a wide table seems to name, "Cu 324.754". doubt: a sentence where its numbers can be meant otherwise.
    """

    key: str
    letter: str
    heading: str
    unit: str
    line: str
    values: tuple[str, ...]
    offers: tuple[Meaning, ...]
    doubt: str = ""


@dataclass(frozen=True)
class Above:
    """A line above the table such as "Position: 12". key: of its answer, "above 3" with the number of its row."""

    key: str
    row: int
    word: str
    value: str
    offers: tuple[Meaning, ...]


@dataclass(frozen=True)
class Seen:
    """What one setting seems to be, and by what it is known. `sure` is False where something else is possible."""

    value: str
    evidence: str
    sure: bool = True


@dataclass(frozen=True)
class Recognised:
    """A file as it seems to be written.

    settings: by the key of the setting (`layout_form.SETTINGS`). headings: rows that may hold the headings, the
    likeliest first: (number, their texts). first_rows: the file as cells from its first row on, to be shown.
    problems: why it cannot be read at all.
    """

    filename: str
    settings: dict[str, Seen]
    headings: tuple[tuple[int, tuple[str, ...]], ...]
    columns: tuple[Column, ...]
    above: tuple[Above, ...]
    sheets: tuple[str, ...]
    first_rows: tuple[tuple[int, tuple[str, ...]], ...]
    doubts: tuple[str, ...]
    problems: tuple[Problem, ...] = ()

    def answers(self) -> dict[str, str]:
        """Return the answers of the first offers, to fill a form with: each is shown before it counts."""
        meant = {column.key: str(column.offers[0]) for column in self.columns}
        meant |= {line.key: str(line.offers[0]) for line in self.above}
        return {key: seen.value for key, seen in self.settings.items()} | meant
