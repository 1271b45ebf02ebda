"""The four answers at the head of a run: what calibrated, what failed, what is over range, what to measure again.

No database query: everything comes from a `RunPage`.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from labresults.calculation.run import CurvePoint, FittedCurve
from labresults.models import ControlOutcome
from labresults.queries.repeats import OpenRepeat
from labresults.queries.run_pages import RunPage
from labresults.terms import Repeat


@dataclass(frozen=True)
class Answer:
    """One answer: its question, the answer itself, and what stands behind it."""

    question: str
    answer: str
    words: str
    fails: bool = False
    outcome: ControlOutcome | None = None  # the one that failed, where it is one


def answers(page: RunPage) -> list[Answer]:
    """The four answers, in the order in which an analyst asks."""
    return [_calibrated(page.curves), _failed(page), _over_range(page), _again(page)]


def largest_residual(curves: Iterable[FittedCurve]) -> tuple[FittedCurve, CurvePoint] | None:
    """The used standard that its curve misses most, in percent; None where nothing was fitted."""
    points = [
        (curve, point)
        for curve in curves
        if curve.problem is None
        for point in curve.points
        if point.used and point.residual_percent is not None
    ]
    return max(points, key=lambda pair: abs(pair[1].residual_percent or 0.0), default=None)


def ranges(numbers: Sequence[int]) -> str:
    """Numbers in words, neighbours drawn together: 32–39, 43 and 44."""
    runs: list[list[int]] = []
    for number in sorted(set(numbers)):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    parts = [part for run in runs for part in ([f"{run[0]}–{run[-1]}"] if len(run) > 2 else map(str, run))]
    return listed(parts)


def listed(words: Sequence[str], most: int = 12) -> str:
    """Words one after another, the last after “and”; of many the first ones, and how many more."""
    if len(words) > most:
        return f"{', '.join(words[:most])} and {len(words) - most} more"
    return " and ".join(filter(None, [", ".join(words[:-1]), words[-1]])) if words else ""


def _calibrated(curves: Sequence[FittedCurve]) -> Answer:
    broken = [curve.line for curve in curves if curve.problem is not None]
    lines = {curve.line for curve in curves}
    found = largest_residual(curves)
    words = "readings are concentrations already; no curve was fitted"
    if broken:
        words = f"no curve for {listed(sorted(set(broken)))}"
    elif found:
        curve, point = found
        words = f"largest residual {abs(point.residual_percent or 0):.2g} %, {curve.line} at {point.x:g}"
    return Answer("What calibrated", f"{len(lines - set(broken))} of {len(lines)} lines", words, fails=bool(broken))


def _failed(page: RunPage) -> Answer:
    failures = page.open_failures
    accepted = len(page.failures) - len(failures)
    more = f"; {accepted} accepted by name" if accepted else ""
    if not failures:
        return Answer("What failed", "nothing", f"{len(page.outcomes)} control values judged{more}")
    first = failures[0].outcome
    if len(failures) == 1:
        place = f"{first.line.element_id}, position {first.position.number}"
        return Answer("What failed", place, more, fails=True, outcome=first)
    places = sorted({f.outcome.position.number for f in failures})
    elements = sorted({f.outcome.line.element_id for f in failures})
    words = f"{listed(elements)}; position{'s' if len(places) > 1 else ''} {ranges(places)}{more}"
    return Answer("What failed", f"{len(failures)} control values", words, fails=True)


def _over_range(page: RunPage) -> Answer:
    by_element: dict[str, dict[str, None]] = {}
    for item in page.proposals:
        by_element.setdefault(item.proposal.line.split()[0], {})[item.position.label] = None
    places = {item.position.number for item in page.proposals}
    words = "; ".join(f"{element} in {listed(list(labels), 3)}" for element, labels in by_element.items())
    count = f"{len(places)} position{'s' if len(places) != 1 else ''}" if places else "nothing"
    return Answer("What is over range", count, words or "every reading lies in its working range")


def _again(page: RunPage) -> Answer:
    """What a later run holds already, and what was let stand by name, counts as well and is said."""
    asked = [repeat for repeat in page.repeats if not repeat.settled]
    by_kind: dict[str, set[int]] = {}
    for repeat in asked:
        by_kind.setdefault(repeat.kind, set()).add(repeat.position.number)
    digested = by_kind.get(Repeat.RE_DIGEST, set()) | by_kind.get(Repeat.RE_SAMPLE, set())
    diluted = by_kind.get(Repeat.RE_DILUTE, set()) - digested
    as_they_are = by_kind.get(Repeat.RE_READ, set()) - digested - diluted
    counted = [(as_they_are, "as they are"), (diluted, "diluted"), (digested, "prepared anew")]
    parts = [f"{len(numbers)} {words}" for numbers, words in counted if numbers]
    total = len(as_they_are | diluted | digested)
    return Answer(
        "What to measure again",
        f"{total} test solution{'s' if total != 1 else ''}" if total else "nothing",
        "; ".join([*parts, *_settled(asked)]) or "all results can go to review",
    )


def _settled(repeats: Sequence[OpenRepeat]) -> list[str]:
    later = {repeat.position.number: repeat.later for repeat in repeats if repeat.later}
    let_stand = {repeat.position.number for repeat in repeats if repeat.let_stand and not repeat.later}
    parts = [f"{len(later)} of them already in {listed(sorted(set(later.values())))}"] if later else []
    return [*parts, *([f"{len(let_stand)} let stand by name"] if let_stand else [])]
