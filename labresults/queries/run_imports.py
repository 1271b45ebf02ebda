"""A file of readings as it was understood, before anything of it is stored."""

import hashlib
from dataclasses import dataclass

from django.db.models import QuerySet

from labresults.models import Layout, Line, ReadingFile, Run
from labresults.readers.layout import Layout as LayoutSpecification
from labresults.readers.problem import Problem
from labresults.readers.read import read
from labresults.readers.reading import ReadFile, Reading
from labresults.readers.run_check import check_against_run

FIRST = 12
"""Readings shown of a file, so that a person sees whether it was understood."""


@dataclass(frozen=True)
class Preview:
    """What a reader understood of a file, what is wrong with it, and whether its bytes were taken before."""

    sha256: str
    size_bytes: int
    file: ReadFile
    first: tuple[Reading, ...]
    problems: tuple[Problem, ...]
    same_as: ReadingFile | None

    @property
    def can_be_taken(self) -> bool:
        """Whether nothing speaks against it that the file itself shows."""
        return not self.problems and self.same_as is None


def layouts() -> QuerySet[Layout]:
    """Saved layouts of files of readings, the newest version of each first; one query."""
    return Layout.objects.filter(reads="readings").order_by("name", "-version")


def preview(run: Run, content: bytes, filename: str, layout: Layout) -> Preview:
    """Read a file for a run and store nothing; four queries, whatever its size.

    Raises BadLayout when the saved layout cannot be applied.
    """
    understood = read(content, filename, LayoutSpecification.from_json(layout.specification))
    sha256 = hashlib.sha256(content).hexdigest()
    return Preview(
        sha256=sha256,
        size_bytes=len(content),
        file=understood,
        first=understood.readings[:FIRST],
        problems=understood.problems or _beside_the_plan(run, understood),
        same_as=ReadingFile.objects.filter(sha256=sha256).select_related("run").defer("content").first(),
    )


def _beside_the_plan(run: Run, understood: ReadFile) -> tuple[Problem, ...]:
    """What the run's plan says against the file; lines that were read before are named, and not asked for again."""
    planned = list(run.positions.order_by("number").values_list("number", "label"))
    lines = {str(row.line) for row in run.method_version.lines.select_related("line")}
    there = {str(line) for line in Line.objects.filter(pk__in=run.readings.values("line"))}
    again = there & set(understood.lines)
    found = [
        Problem(
            None, line, f"run {run} has its readings of {line} already.", "A second measurement is a run of its own."
        )
        for line in sorted(again)
    ]
    return (*found, *check_against_run(understood, planned, sorted(lines - there | again)))
