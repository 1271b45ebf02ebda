"""The neutral record that every reader yields."""

from dataclasses import dataclass

from labresults.readers.problem import Problem


@dataclass(frozen=True)
class Reading:
    """One position at one line: its replicates exactly as the file has them, and what they say.

    replicates: the texts as received; mean and sd in `unit`, computed from the replicates where the file has them,
    else taken from the file; None where missing or over range.
    """

    row: int
    position: int | None  # its number in the run, where the file has one
    label: str
    line: str  # "Cu 324.754"
    replicates: tuple[str, ...]
    mean: float | None
    sd: float | None
    count: int
    missing: bool
    saturated: bool


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
