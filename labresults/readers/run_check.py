"""A file that was understood, beside the run that it should belong to."""

from collections import Counter
from collections.abc import Sequence

from labresults.readers.problem import Problem
from labresults.readers.reading import ReadFile, Reading


def check_against_run(
    read_file: ReadFile, expected_positions: Sequence[tuple[int, str]], expected_lines: Sequence[str]
) -> tuple[Problem, ...]:
    """Return every position and line that the run does not know or that the file lacks, and every other label.

    expected_positions: (number, label) of the plan; expected_lines: names such as "Cu 324.754". A file without
    position numbers is matched by its labels, which then must be there once each. Nothing is matched by likeness.
    """
    plan = dict(expected_positions)
    if any(reading.position is None for reading in read_file.readings):
        places = _by_label(read_file, expected_positions)
    else:
        places = _by_number(read_file, plan)
    return (*places, *_lines(read_file, expected_lines), *_gaps(read_file, expected_lines))


def _by_number(read_file: ReadFile, plan: dict[int, str]) -> list[Problem]:
    first: dict[int, Reading] = {}
    for reading in read_file.readings:
        if reading.position is not None:
            first.setdefault(reading.position, reading)
    problems = [
        Problem(reading.row, None, f"the run has no position {number} (“{reading.label}”).", _LOOK)
        for number, reading in first.items()
        if number not in plan
    ]
    problems += [
        Problem(
            reading.row, None, f"position {number} is “{reading.label}” here and “{plan[number]}” in the plan.", _WHICH
        )
        for number, reading in first.items()
        if reading.label and plan.get(number, reading.label) != reading.label
    ]
    return problems + [
        Problem(None, None, f"position {number} (“{label}”) is not in the file.", _LACKING)
        for number, label in plan.items()
        if number not in first
    ]


def _by_label(read_file: ReadFile, expected: Sequence[tuple[int, str]]) -> list[Problem]:
    planned = Counter(label for _, label in expected)
    first: dict[str, Reading] = {}
    for reading in read_file.readings:
        first.setdefault(reading.label, reading)
    problems = [
        Problem(reading.row, None, f"the run has no position “{label}”.", _LOOK)
        for label, reading in first.items()
        if label not in planned
    ]
    problems += [
        Problem(None, None, f"“{label}” stands at {count} positions of the run, and the file numbers none.", _NUMBERS)
        for label, count in planned.items()
        if count > 1
    ]
    return problems + [
        Problem(None, None, f"position {number} (“{label}”) is not in the file.", _LACKING)
        for number, label in expected
        if label not in first
    ]


def _lines(read_file: ReadFile, expected: Sequence[str]) -> list[Problem]:
    rows = {reading.line: reading.row for reading in reversed(read_file.readings)}
    problems = [
        Problem(rows.get(line), line, "the method of this run does not have this line.", _LINE)
        for line in read_file.lines
        if line not in expected
    ]
    return problems + [
        Problem(None, line, "this line of the method is not in the file.", _LACKING)
        for line in expected
        if line not in read_file.lines
    ]


def _gaps(read_file: ReadFile, expected: Sequence[str]) -> list[Problem]:
    """Name each position that has some lines of the method and lacks others that the file has elsewhere."""
    wanted = [line for line in expected if line in read_file.lines]
    found: dict[tuple[int | None, str], set[str]] = {}
    rows: dict[tuple[int | None, str], int] = {}
    for reading in read_file.readings:
        key = (reading.position, reading.label if reading.position is None else "")
        found.setdefault(key, set()).add(reading.line)
        rows.setdefault(key, reading.row)
    return [
        Problem(rows[key], line, f"{_place(key)} was not read at this line.", _LACKING)
        for key, lines in found.items()
        for line in wanted
        if line not in lines
    ]


def _place(key: tuple[int | None, str]) -> str:
    return f"“{key[1]}”" if key[0] is None else f"position {key[0]}"


_LOOK = "Choose the run that this file belongs to, or add the position to the run."
_WHICH = "Correct the plan if another solution stood there; do not change the file."
_LACKING = "Measure it, or take it out of the run with a reason."
_NUMBERS = "Have the instrument write position numbers, or say in the layout that rows stand in the order of the run."
_LINE = "Put it among the ignored in the layout, or choose the method version that has it."
