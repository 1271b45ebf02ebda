"""What is wrong with a file, where, and what to do about it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from labresults.readers.harmless import as_csv, protected


@dataclass(frozen=True)
class Asks:
    """What a person can answer: which position of the plan `name` is, as the file calls it.

    free: (number, label) of the positions that nothing else in the file is, the likeliest first.
    """

    name: str
    free: tuple[tuple[int, str], ...]


@dataclass(frozen=True)
class Problem:
    """A finding in words. `row` counts from 1 as a spreadsheet does; `column` is the heading, or its letter.

    found, expected: what stands there and what should, where that can be said. file: its name. asks: what a person
    could answer to settle it.
    """

    row: int | None
    column: str | None
    what: str
    what_to_do: str
    found: str = ""
    expected: str = ""
    file: str = ""
    asks: Asks | None = None

    def __str__(self) -> str:
        place = ", ".join(
            part
            for part in (f"row {self.row}" if self.row else "", f"column {self.column}" if self.column else "")
            if part
        )
        return f"{place + ': ' if place else ''}{self.what} {self.what_to_do}"


PROBLEM_HEADINGS = ("file", "row", "column", "what is wrong", "found", "expected", "what to do")


def named(problems: Sequence[Problem], filename: str) -> tuple[Problem, ...]:
    """Return the problems with the name of their file."""
    return tuple(replace(problem, file=filename) for problem in problems)


def problems_csv(problems: Sequence[Problem]) -> bytes:
    """Return the problems as CSV with headings, UTF-8 with its mark, so that spreadsheets open it as it is meant.

    What a spreadsheet would take for a formula has an apostrophe before it.
    """
    lines: list[Iterable[object]] = [PROBLEM_HEADINGS]
    for p in problems:
        texts = map(protected, (p.column or "", p.what, p.found, p.expected, p.what_to_do))
        lines.append([protected(p.file), p.row, *texts])
    return as_csv(lines).encode("utf-8-sig")
