"""A file of readings as it was understood, before anything of it is stored."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet

from labresults.acts import BadInput
from labresults.models import Layout, Line, ReadingFile, Run
from labresults.readers.layout import BadLayout
from labresults.readers.layout import Layout as LayoutSpecification
from labresults.readers.limits import LARGEST_FILE_BYTES
from labresults.readers.problem import Problem, named, problems_csv
from labresults.readers.read import read
from labresults.readers.reading import ReadFile, Reading
from labresults.readers.run_check import check_against_run

MOST_BYTES = LARGEST_FILE_BYTES

FIRST = 12
"""Readings shown of a file, so that a person sees whether it was understood."""

SHOWN = 200
"""Problems shown of a file; all of them can be downloaded."""


@dataclass(frozen=True)
class Plan:
    """What a run expects of its files: positions and lines, and what was read of it before."""

    run: str
    positions: tuple[tuple[int, str], ...]  # number and label
    keys: Mapping[int, int]  # of positions, by number
    lines: Mapping[str, int]  # keys of lines, by name
    there: frozenset[str]  # lines that have their readings

    @property
    def is_read(self) -> bool:
        """Whether every line has its readings."""
        return self.there >= set(self.lines)


@dataclass(frozen=True)
class Preview:
    """What a reader understood of a file, what is wrong with it, and whether its bytes were taken before."""

    size_bytes: int
    file: ReadFile
    problems: tuple[Problem, ...]
    same_as: ReadingFile | None
    heading_row: int

    @property
    def can_be_taken(self) -> bool:
        """Whether nothing speaks against it that the file itself shows."""
        return not self.problems and self.same_as is None

    @property
    def first(self) -> tuple[Reading, ...]:
        """The first readings, as they were understood."""
        return self.file.readings[:FIRST]

    @property
    def shown(self) -> tuple[Problem, ...]:
        """The problems that a page shows: the first `SHOWN`."""
        return self.problems[:SHOWN]

    @property
    def rows_in_doubt(self) -> set[int]:
        """Rows of the table that a person could leave out by name, among the problems that are shown."""
        rows = {problem.row for problem in self.shown if problem.row} if self.file.rows else set()
        return {row for row in rows if row > self.heading_row}

    @property
    def asked(self) -> dict[str, Problem]:
        """Problems that an answer would settle, by what the file calls the position."""
        return {problem.asks.name: problem for problem in reversed(self.problems) if problem.asks}

    @property
    def times(self) -> tuple[datetime, datetime] | None:
        """The first and the last time in the file, as it has them; None where it has none."""
        said = [reading.time for reading in self.file.readings if reading.time]
        return (datetime.fromisoformat(min(said)), datetime.fromisoformat(max(said))) if said else None


def layouts() -> QuerySet[Layout]:
    """Saved layouts of files of readings, the newest version of each first; one query."""
    return Layout.objects.filter(reads="readings").order_by("name", "-version")


def newest_layout(name: str) -> Layout:
    """The newest version of the layout of readings with this name; one query. Raises BadInput when there is none."""
    found = Layout.objects.filter(reads="readings", name=name).order_by("-version").first()
    if found is None:
        raise BadInput(f"There is no layout {name}. The page Layouts has those that are saved.")
    return found


def plan_of(run: Run) -> Plan:
    """What the run expects of its files; three queries."""
    positions = list(run.positions.order_by("number").values_list("number", "label", "pk"))
    lines = {str(row.line): row.line_id for row in run.method_version.lines.select_related("line")}
    there = {str(line) for line in Line.objects.filter(pk__in=run.readings.values("line"))}
    return Plan(
        run=run.number,
        positions=tuple((number, label) for number, label, _ in positions),
        keys={number: key for number, _, key in positions},
        lines=lines,
        there=frozenset(there),
    )


def specification_of(layout: Layout) -> LayoutSpecification:
    """What a saved layout says; no query. Raises BadInput when it cannot be applied any more."""
    try:
        return LayoutSpecification.from_json(layout.specification)
    except BadLayout as problem:
        raise BadInput(f"{problem} Make its next version on the page Layouts.") from problem


def understood(
    plan: Plan,
    content: bytes,
    filename: str,
    layout: Layout,
    *,
    struck: Iterable[int] = (),
    matched: Mapping[str, int] | None = None,
) -> tuple[ReadFile, tuple[Problem, ...]]:
    """What the layout makes of a file, and everything that is wrong with it by itself or beside the plan; no query.

    Raises BadInput when the saved layout cannot be applied any more.
    """
    file = read(content, filename, specification_of(layout), frozenset(struck))
    return file, file.problems or _beside_the_plan(plan, file, matched or {})


def preview(
    plan: Plan,
    content: bytes,
    filename: str,
    layout: Layout,
    *,
    struck: Iterable[int] = (),
    matched: Mapping[str, int] | None = None,
    same_as: ReadingFile | None = None,
) -> Preview:
    """Read a file for a run and store nothing; no query.

    same_as: where its bytes were taken before (`taken`). Raises BadInput as `understood` does.
    """
    file, problems = understood(plan, content, filename, layout, struck=struck, matched=matched)
    heading_row = specification_of(layout).heading_row
    return Preview(len(content), file, named(problems, filename), same_as, heading_row)


def taken(hashes: Iterable[str]) -> dict[str, ReadingFile]:
    """The files whose bytes have these hashes and were taken, with their runs; one query."""
    found = ReadingFile.objects.filter(sha256__in=list(hashes)).select_related("run").defer("content")
    return {file.sha256: file for file in found}


def as_csv(problems: Iterable[Problem]) -> bytes:
    """Every problem of a file, for a spreadsheet; no query."""
    return problems_csv(tuple(problems))


def struck_said(texts: Iterable[str]) -> dict[int, str]:
    """Rows to leave out, as commands and programs say them: "12: the pump stopped". Raises BadInput; no query."""
    found = {}
    for text in texts:
        row, _, why = text.partition(":")
        if not row.strip().isdecimal() or not why.strip():
            raise BadInput(f"“{text}” is no row with a reason. Write it as 12:why it is left out.")
        found[int(row)] = why.strip()
    return found


def matched_said(texts: Iterable[str]) -> dict[str, int]:
    """What positions are called in the file, as commands and programs say it: "name=12". Raises BadInput; no query."""
    found = {}
    for text in texts:
        name, _, number = text.rpartition("=")
        if not name or not number.strip().isdecimal():
            raise BadInput(f"“{text}” is no name with a position. Write it as name=12.")
        found[name] = int(number)
    return found


def _beside_the_plan(plan: Plan, file: ReadFile, matched: Mapping[str, int]) -> tuple[Problem, ...]:
    """What the run's plan says against the file; lines that were read before are named, and not asked for again."""
    again = plan.there & set(file.lines)
    found = [
        Problem(
            None,
            line,
            f"run {plan.run} has its readings of {line} already.",
            "A second measurement is a run of its own.",
        )
        for line in sorted(again)
    ]
    expected = sorted(set(plan.lines) - plan.there | again)
    return (*found, *check_against_run(file, plan.positions, expected, matched))


def periods_of(runs: Collection[int]) -> list[tuple[datetime, datetime]]:
    """From when to when each file of these runs, by key, was measured; one query."""
    return list(ReadingFile.objects.filter(run__in=runs).values_list("measured_from", "measured_to"))
