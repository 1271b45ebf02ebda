"""A file that was understood, beside the run that it should belong to."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from labresults.readers.problem import Asks, Problem
from labresults.readers.reading import ReadFile, Reading

_NO_ANSWERS: Mapping[str, int] = {}


def name_in_file(reading: Reading) -> str:
    """Return what the file calls the position of a reading: its number as text, or its label where it numbers none."""
    return reading.label.strip() if reading.position is None else str(reading.position)


def check_against_run(
    read_file: ReadFile,
    expected_positions: Sequence[tuple[int, str]],
    expected_lines: Sequence[str],
    answers: Mapping[str, int] = _NO_ANSWERS,
) -> tuple[Problem, ...]:
    """Return every position and line that the run does not know or that the file lacks, and every other label.

    expected_positions: (number, label) of the plan; expected_lines: names such as "Cu 324.754". answers: what the file
    calls a position (`name_in_file`) to its number in the plan, where a person said so; an answer with the number that
    the file has already says that the number is right and the label is not. A file without position numbers is matched
    by its labels, which then must be there once each. Nothing is matched by likeness: what does not match is asked.
    """
    match = _Match.of(read_file, expected_positions, answers)
    return (*match.problems, *_lines(read_file, expected_lines), *_gaps(read_file, expected_lines))


def plan_numbers(
    read_file: ReadFile, expected_positions: Sequence[tuple[int, str]], answers: Mapping[str, int] = _NO_ANSWERS
) -> tuple[int | None, ...]:
    """Return for each reading, in order, the number of its position in the plan; None for one that does not match."""
    found = _Match.of(read_file, expected_positions, answers).numbers
    return tuple([found.get(name_in_file(reading)) for reading in read_file.readings])


@dataclass
class _Match:
    """What the file calls its positions, beside the plan. numbers: name in the file to number in the plan."""

    plan: dict[int, str]
    first: dict[str, Reading]  # the first reading of each name
    numbers: dict[str, int] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    several: list[Problem] = field(default_factory=list)  # labels that stand more than once in the plan

    @classmethod
    def of(cls, read_file: ReadFile, expected: Sequence[tuple[int, str]], answers: Mapping[str, int]) -> "_Match":
        first: dict[str, Reading] = {}
        for reading in read_file.readings:
            first.setdefault(name_in_file(reading), reading)
        match = cls(dict(expected), first)
        match._answer(answers)
        by_label = any(reading.position is None for reading in first.values())
        unmatched = match._match_labels(expected) if by_label else match._match_numbers()
        again = match._read_again(unmatched)
        match.problems += [match._asked(name, by_label) for name in unmatched if name not in again]
        match._lacking(by_label)
        return match

    def _answer(self, answers: Mapping[str, int]) -> None:
        """Take what a person said, and say what of it cannot be."""
        for name, number in answers.items():
            if name not in self.first:
                what = f"an answer is about “{name}”, and nothing in the file is called so."
                self.problems.append(Problem(None, None, what, "Take the answer back.", found=name))
            elif number not in self.plan:
                what = f"“{name}” is answered as position {number}, which the run does not have."
                self.problems.append(Problem(self.first[name].row, None, what, "Choose a position of the run."))
            elif number in self.numbers.values():
                what = f"“{name}” is answered as position {number}, and so is another."
                self.problems.append(Problem(self.first[name].row, None, what, "Choose one position for each."))
            else:
                self.numbers[name] = number

    def _match_numbers(self) -> list[str]:
        """Match by number where the label does not speak against it; return what does not match."""
        taken, unmatched = set(self.numbers.values()), []
        for name, reading in self.first.items():
            number = reading.position or 0
            if name in self.numbers:
                continue
            label = reading.label.strip()
            if number in taken or number not in self.plan or (label and label != self.plan[number].strip()):
                unmatched.append(name)
            else:
                self.numbers[name] = number
        return unmatched

    def _match_labels(self, expected: Sequence[tuple[int, str]]) -> list[str]:
        """Match by label; return what does not match. A label at several positions is a problem of its own."""
        counted = Counter(label.strip() for _, label in expected)
        known = {label.strip(): number for number, label in expected if counted[label.strip()] == 1}
        taken, unmatched = set(self.numbers.values()), []
        for name in self.first:
            if name in self.numbers or counted[name] > 1:
                continue
            if name in known and known[name] not in taken:
                self.numbers[name] = known[name]
            else:
                unmatched.append(name)
        self.several += [
            Problem(
                None, None, f"“{label}” stands at {count} positions of the run, and the file numbers none.", _NUMBERS
            )
            for label, count in counted.items()
            if count > 1
        ]
        return unmatched

    def _read_again(self, unmatched: Sequence[str]) -> set[str]:
        """Say where solutions that were read already come again, one after the other, as in a second calibration."""
        earlier: dict[str, Reading] = {}
        for reading in self.first.values():
            earlier.setdefault(reading.label.strip(), reading)
        group: list[str] = []
        found: set[str] = set()
        apart = set(unmatched)
        for name, read in [*self.first.items(), ("", None)]:
            if read and name in apart and read.label.strip() and earlier[read.label.strip()] is not read:
                group.append(name)
                continue
            if len(group) > 1:
                found |= set(group)
                self.problems.append(self._again([self.first[one] for one in group], earlier))
            group = []
        return found

    def _again(self, readings: Sequence[Reading], earlier: Mapping[str, Reading]) -> Problem:
        first, last = readings[0], readings[-1]
        before = [earlier[reading.label.strip()] for reading in readings]
        labels = ", ".join(f"“{reading.label.strip()}”" for reading in readings[:3])
        more = f" and {len(readings) - 3} more" if len(readings) > 3 else ""
        what = (
            f"positions {first.position} to {last.position} (from row {first.row} to {last.row}) are {labels}{more}"
            f" again, as positions {before[0].position} to {before[-1].position} were: a second calibration,"
            " or these solutions read twice, that the plan does not have."
        )
        return Problem(first.row, None, what, _SECOND, found=labels, expected="each solution as often as planned")

    def _asked(self, name: str, by_label: bool) -> Problem:
        reading = self.first[name]
        label = reading.label.strip()
        number = reading.position
        where = [place for place, planned in self.plan.items() if planned.strip() == label]
        asks = Asks(name, self._free(where, number))
        if by_label:
            expected = "a label of the plan"
            return Problem(reading.row, None, f"the run has no position “{label}”.", _ASK, label, expected, asks=asks)
        if number not in self.plan:
            what = f"the run has no position {number} (“{label}”)."
            return Problem(reading.row, None, what, _ASK, str(number), "a number of the plan", asks=asks)
        planned = self.plan[number]
        elsewhere = f"; “{label}” is position {where[0]} of the plan" if where else ""
        swapped = self.first.get(str(where[0])) if where else None
        if swapped and swapped.label.strip() == planned.strip():
            elsewhere += f", which is “{planned}” here: the two are swapped"
        what = f"position {number} is “{label}” here and “{planned}” in the plan{elsewhere}."
        return Problem(reading.row, None, what, _WHICH, label, planned, asks=asks)

    def _free(self, likely: Sequence[int], own: int | None) -> tuple[tuple[int, str], ...]:
        taken = set(self.numbers.values())
        first = [place for place in (*likely, own) if place in self.plan]
        order = dict.fromkeys([*(place for place in first if place is not None), *self.plan])
        return tuple((place, self.plan[place]) for place in order if place not in taken)

    def _lacking(self, by_label: bool) -> None:
        """Say which positions of the plan the file does not have."""
        self.problems += self.several
        known = set(self.numbers.values())
        open_ones = [reading for name, reading in self.first.items() if name not in self.numbers]
        if not by_label:
            labels = {reading.label.strip() for reading in open_ones}
            known |= {reading.position or 0 for reading in open_ones}
            known |= {number for number, label in self.plan.items() if label.strip() in labels}
        self.problems += [
            Problem(
                None,
                None,
                f"position {number} (“{label}”) is not in the file.",
                _LACKING,
                expected=label,
            )
            for number, label in self.plan.items()
            if number not in known
        ]


def _lines(read_file: ReadFile, expected: Sequence[str]) -> list[Problem]:
    rows = {reading.line: reading.row for reading in reversed(read_file.readings)}
    wanted = ", ".join(expected)
    problems = [
        Problem(rows.get(line), line, "the method of this run does not have this line.", _LINE, line, wanted)
        for line in read_file.lines
        if line not in expected
    ]
    return problems + [
        Problem(None, line, "this line of the method is not in the file.", _LACKING, expected=line)
        for line in expected
        if line not in read_file.lines
    ]


def _gaps(read_file: ReadFile, expected: Sequence[str]) -> list[Problem]:
    """Name each position that has some lines of the method and lacks others that the file has elsewhere."""
    wanted = [line for line in expected if line in read_file.lines]
    found: dict[str, set[str]] = {}
    rows: dict[str, Reading] = {}
    for reading in read_file.readings:
        key = name_in_file(reading)
        found.setdefault(key, set()).add(reading.line)
        rows.setdefault(key, reading)
    return [
        Problem(rows[key].row, line, f"{_place(rows[key])} was not read at this line.", _LACKING, expected=line)
        for key, lines in found.items()
        if len(lines) < len(read_file.lines)
        for line in wanted
        if line not in lines
    ]


def _place(reading: Reading) -> str:
    return f"“{reading.label}”" if reading.position is None else f"position {reading.position}"


_ASK = "Say which position it is, choose the run that this file belongs to, or strike its rows."
_WHICH = "Say which position it is, or correct the plan if another solution stood there; do not change the file."
_LACKING = "Measure it, or take it out of the run with a reason."
_NUMBERS = "Have the instrument write position numbers, or say in the layout that rows stand in the order of the run."
_LINE = "Put it among the ignored in the layout, or choose the method version that has it."
_SECOND = "Plan the run with a second calibration, or strike these rows with the reason why they were read again."
