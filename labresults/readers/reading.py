"""The neutral record that every reader yields."""

from dataclasses import dataclass
from typing import NamedTuple

from labresults.readers.problem import Problem


class Reading(NamedTuple):  # a tuple, since a run has tens of thousands of them
    """One position at one line: its replicates exactly as the file has them, and what they say.

    replicates: the texts as received; mean and sd in `unit`, computed from the replicates where the file has them,
    else taken from the file; None where missing or over range. instrument_concentration: what the instrument made of
    the signals, in instrument_unit; time: when it was read, ISO 8601; both empty where the file does not say.
    text_unit: of the texts, as the file has it, where mean and sd were converted from it.
    """

    row: int
    position: int | None  # its number in the run, where the file has one
    label: str
    line: str  # "Cu 324.754"
    replicates: tuple[str, ...]
    mean: float | None
    sd: float | None
    count: int  # type: ignore[assignment]  # shadows a method of tuples that nobody needs here
    missing: bool
    saturated: bool
    instrument_concentration: float | None = None
    instrument_unit: str = ""
    time: str = ""
    text_unit: str = ""


@dataclass(frozen=True)
class ReadFile:
    """All that a reader understood, and all that it did not. Nothing of it is stored while there is a problem."""

    readings: tuple[Reading, ...]
    problems: tuple[Problem, ...]
    rows: int
    lines: tuple[str, ...]
    unit: str
    encoding: str
    delimiter: str
    struck: tuple[int, ...] = ()  # rows that a person left out
