"""What commands print of what was done, and of what was refused."""

from collections.abc import Sequence
from typing import Any

from labresults.models import Evaluation, ReadingFile
from labresults.terms import Verdict


def evaluation_said(evaluation: Evaluation) -> str:
    """How many results there are, and each control sample outside with what it touches; three queries."""
    failed = evaluation.outcomes.filter(verdict=Verdict.OUTSIDE).select_related("position", "line")
    lines = [
        f"  {outcome.position.number:3d} {outcome.position.label}, {outcome.line}: {outcome.why}"
        f" It touches {len(outcome.touches)} results."
        for outcome in failed.order_by("position__number")
    ]
    heading = f"Evaluation {evaluation.version} of {evaluation.run}: {evaluation.results.count()} results, "
    return "\n".join([heading + f"{len(lines)} control samples outside.", *lines])


def file_said(file: ReadingFile) -> str:
    """What was taken of a file; one query."""
    struck = f" {len(file.struck)} row{'s' if len(file.struck) > 1 else ''} left out by name." if file.struck else ""
    return f"{file.name}: {file.readings.count()} readings, SHA-256 {file.sha256}.{struck}"


def refusal_said(refusal: Exception, most: int | None = None) -> str:
    """A refusal with its problems below it, one a line; at most so many of them."""
    problems: Sequence[Any] = getattr(refusal, "problems", ())
    shown = [f"  {problem}" for problem in problems[:most]]
    more = [f"  … and {len(problems) - len(shown)} more."] if len(problems) > len(shown) else []
    return "\n".join([str(refusal), *shown, *more])
