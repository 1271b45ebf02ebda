"""What is different between two evaluations of one run: curves, verdicts, results. Values only."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Generic, TypeVar

Key = TypeVar("Key")
State = TypeVar("State")


@dataclass(frozen=True)
class CurveState:
    """A fitted curve: coefficients, correlation, working range in use; `problem` where there is none."""

    coefficients: tuple[float | None, float | None, float | None]
    r: float | None
    count: int
    bottom: float | None
    top: float | None
    problem: str


@dataclass(frozen=True)
class VerdictState:
    """What a control sample gave, in the unit of its measure, and how it was judged."""

    observed: float | None
    verdict: str


@dataclass(frozen=True)
class ResultState:
    """A result in its unit, with its marks and, without a value, why."""

    value: float | None
    unit: str
    u: float | None
    marks: tuple[str, ...]
    why: str


@dataclass(frozen=True)
class Change(Generic[Key, State]):
    """One thing that is not as it was; before or after is None where it was not there, or is not there any more."""

    key: Key
    before: State | None
    after: State | None


@dataclass(frozen=True)
class LineSummary:
    """Results of a line: how many there are, how many changed, and the largest change of a value, in %."""

    line: str
    total: int
    changed: int
    largest_percent: float | None


def changes(old: Mapping[Key, State], new: Mapping[Key, State]) -> list[Change[Key, State]]:
    """Return what differs in any bit, in the order of `new`; what only `old` has comes last."""
    return list(_changes(old, new))


def _changes(old: Mapping[Key, State], new: Mapping[Key, State]) -> Iterator[Change[Key, State]]:
    for key, after in new.items():
        before = old.get(key)
        if before != after:
            yield Change(key, before, after)
    for key, before in old.items():
        if key not in new:
            yield Change(key, before, None)


def relative_percent(before: ResultState | None, after: ResultState | None) -> float | None:
    """Return 100 × (after − before) / |before|; None where one of them has no value, or before is 0."""
    if before is None or after is None or before.value is None or after.value is None or before.value == 0:
        return None
    return 100.0 * (after.value - before.value) / abs(before.value)


def largest_first(found: list[Change[Key, ResultState]]) -> list[Change[Key, ResultState]]:
    """Return changed results: values won or lost first, then by how far the value moved, then marks alone."""
    return sorted(found, key=_weight, reverse=True)


def _weight(change: Change[Key, ResultState]) -> tuple[bool, float]:
    before, after = change.before, change.after
    has = [state is not None and state.value is not None for state in (before, after)]
    return has[0] != has[1], abs(relative_percent(before, after) or 0.0)


def by_line(
    found: list[Change[tuple[int, str], ResultState]], new: Mapping[tuple[int, str], ResultState]
) -> list[LineSummary]:
    """Return a summary for each line of which a result changed, in the order of the lines. Keys: position, line."""
    totals: dict[str, int] = {}
    for _, line in new:
        totals[line] = totals.get(line, 0) + 1
    moved: dict[str, list[float | None]] = {}
    for change in found:
        moved.setdefault(change.key[1], []).append(relative_percent(change.before, change.after))
    return [
        LineSummary(line, total, len(moved[line]), _largest(moved[line]))
        for line, total in totals.items()
        if line in moved
    ]


def _largest(values: list[float | None]) -> float | None:
    return max((value for value in values if value is not None), key=abs, default=None)
