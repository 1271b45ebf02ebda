"""The positions of an evaluated run as a table: one row a position, one cell a line, the bracket in the margin.

Everything comes from a `RunPage`; only which results can be opened is asked for, in one query.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import floor, isfinite, log10

from labresults.calculation.run import Array
from labresults.models import ControlOutcome, Position, Result, Sample
from labresults.queries.run_pages import EVERY_LINE, RunPage, sample_of
from labresults.terms import CALIBRATING, Reach, Role, Verdict

WHOLE, PER_PART = 120, 60
"""A run of up to so many positions stands on one page; a longer one is parted, so that a page stays light."""

_WORST_FIRST = (Verdict.OUTSIDE, Verdict.CLOSE, Verdict.WITHIN, Verdict.NOT_JUDGED)


@dataclass(frozen=True)
class Cell:
    """One position at one line: a concentration in the solution unit, or what a control sample gave, in its measure."""

    element: str
    value: float | None
    measure: str  # "" for a concentration
    below: float | None  # the detection limit, where the concentration lies below it
    places: int  # decimals that still mean something
    bad: bool  # outside, over range, or standing on a control sample that failed
    result: int | None


@dataclass(frozen=True)
class PositionRow:
    """One position; `bracket` says how the bracket in the margin passes it: "", "a", "m", "f" or "z"."""

    position: Position
    sample: Sample | None
    what: str
    kind: str  # calib, control, fail or ""
    bracket: str
    cells: tuple[Cell, ...]
    judged: ControlOutcome | None  # the outcome that says most: the worst, and of those the farthest out
    over_range: tuple[str, ...]


@dataclass(frozen=True)
class Part:
    """A part of the positions, as places in the order of measurement; `first`, `last`: numbers of its positions."""

    start: int
    stop: int
    first: int
    last: int
    is_shown: bool


def parts_of(page: RunPage, at: int | None = None) -> list[Part]:
    """The parts of the positions, one of them shown: that which holds position `at`, else the first; no query."""
    numbers = [position.number for position in page.positions]
    step = len(numbers) if len(numbers) <= WHOLE else PER_PART
    bounds = [(start, min(start + step, len(numbers))) for start in range(0, len(numbers), step or 1)]
    holding = [start for start, stop in bounds if at is not None and numbers[start] <= at <= numbers[stop - 1]]
    shown = holding[0] if holding else 0
    return [Part(start, stop, numbers[start], numbers[stop - 1], start == shown) for start, stop in bounds]


def position_rows(page: RunPage, part: Part, lines: Sequence[str]) -> list[PositionRow]:
    """Rows of a part in the order of measurement, with cells of these lines; none before it is evaluated; one query."""
    if page.evaluated is None or page.evaluation is None:
        return []
    shown = page.positions[part.start : part.stop]
    keys = {
        (position, line): key
        for position, line, key in Result.objects.filter(
            evaluation=page.evaluation, position__in=[position.pk for position in shown]
        ).values_list("position_id", "line_id", "pk")
    }
    judged = defaultdict(list)
    for outcome in page.outcomes:
        judged[outcome.position.number].append(outcome)
    touched = {(n, f.outcome.line_id) for f in page.open_failures for n in f.outcome.touches}
    over = defaultdict(list)
    for item in page.proposals:
        over[item.position.number].append(item.proposal.line.split()[0])
    cells = _Cells(page, page.evaluated.concentration, tuple(lines), touched, keys)
    brackets = _brackets(page)
    return [
        _row(cells, index, judged[position.number], tuple(dict.fromkeys(over[position.number])), brackets)
        for index, position in enumerate(shown, start=part.start)
    ]


def what_stood_there(position: Position) -> str:
    """What a position held, in words; the sample's own number is not repeated."""
    if position.lot and position.role not in CALIBRATING:
        return f"{position.role}, {position.lot.material.code}"
    if position.parent and position.role != Role.SAMPLE:
        return f"{position.role} of {position.parent.label}"
    return str(position.role)


def line_keys(page: RunPage) -> list[str]:
    """Every line but that of the internal standard, which reports nothing; no query."""
    return [key for key in page.loaded.table.line_keys if key != page.loaded.method.internal_standard]


def shown_lines(page: RunPage, wanted: Sequence[str] = ()) -> list[tuple[str, str, str]]:
    """Key, element and wavelength of each column: the lines that are wanted, else all; no query."""
    keys = line_keys(page)
    parted = ((key, key.partition(" ")) for key in keys if key in wanted or not set(wanted) & set(keys))
    return [(key, element, wavelength) for key, (element, _, wavelength) in parted]


@dataclass(frozen=True)
class PointRow:
    """One calibration solution: for each line its name, the key of its point and whether it is left out."""

    position: Position
    every_line: str
    points: list[tuple[str, str, bool]]


MOST_POINTS = 400
"""Of more points than this, those of one line are offered to be left out, and a solution as a whole."""


def curve_points(page: RunPage, line: str = "") -> list[PointRow]:
    """Points that could be left out of curves; of very many those of `line`, and those that are left out; no query."""
    left_out = {(number, name) for number, name in page.evaluation.left_out} if page.evaluation else set()
    positions = [position for position in page.positions if position.role in CALIBRATING]
    lines = tuple(dict.fromkeys(curve.line for curve in page.curves))
    if len(lines) * len(positions) > MOST_POINTS:
        lines = tuple(name for name in lines if name == line or any(name == out for _, out in left_out))
    return [
        PointRow(
            position,
            f"{position.number}|{EVERY_LINE}",
            [(name, f"{position.number}|{name}", (position.number, name) in left_out) for name in lines],
        )
        for position in (positions if lines else [])
    ]


@dataclass(frozen=True)
class _Cells:
    """What the cells of all rows are made from."""

    page: RunPage
    concentration: Array
    lines: tuple[str, ...]
    touched: set[tuple[int, int]]
    results: dict[tuple[int, int], int]


def _row(
    cells: _Cells, index: int, judged: list[ControlOutcome], over: tuple[str, ...], brackets: dict[int, str]
) -> PositionRow:
    position = cells.page.positions[index]
    is_sample = position.role == Role.SAMPLE
    kind = "calib" if position.role in CALIBRATING | {Role.RINSE} else "" if is_sample else "control"
    if any(o.verdict == Verdict.OUTSIDE for o in judged):
        kind = "fail"
    return PositionRow(
        position=position,
        sample=sample_of(position) if is_sample else None,
        what="" if is_sample else what_stood_there(position),
        kind=kind,
        bracket=brackets.get(position.number, ""),
        cells=_cells(cells, index, {o.line_id: o for o in reversed(judged)}, over),
        judged=_says_most(judged),
        over_range=over,
    )


def _cells(known: _Cells, index: int, outcomes: dict[int, ControlOutcome], over: Sequence[str]) -> tuple[Cell, ...]:
    """The cells of one position; `outcomes` by line."""
    loaded, position = known.page.loaded, known.page.positions[index]
    lines = {line.key: line for line in loaded.method.lines}
    cells = []
    for key in known.lines:
        line, line_id = lines[key], loaded.line_ids[key]
        outcome = outcomes.get(line_id)
        read = float(known.concentration[index, loaded.table.line_keys.index(key)])
        value = outcome.observed if outcome else read if isfinite(read) else None
        is_content = outcome is None and position.role not in CALIBRATING
        failed = outcome is not None and outcome.verdict == Verdict.OUTSIDE
        cells.append(
            Cell(
                element=line.element,
                value=value,
                measure=outcome.measure if outcome else "",
                below=line.detection_limit
                if is_content and value is not None and value < line.detection_limit
                else None,
                places=_places(outcome, line.detection_limit),
                bad=failed or (position.number, line_id) in known.touched or line.element in over,
                result=known.results.get((position.pk, line_id)),
            )
        )
    return tuple(cells)


def _places(outcome: ControlOutcome | None, detection_limit: float) -> int:
    """Decimals to show: one more than the detection limit has; of percent one, of multiples of a limit two."""
    if outcome is None:
        return max(0, 1 - floor(log10(detection_limit)))
    return 1 if outcome.measure.endswith("%") else 2


def _says_most(judged: Sequence[ControlOutcome]) -> ControlOutcome | None:
    ranked = sorted(judged, key=lambda o: (_WORST_FIRST.index(Verdict(o.verdict)), -_farness(o)))
    return ranked[0] if ranked else None


def _farness(outcome: ControlOutcome) -> float:
    """How far out in its allowed span an outcome lies: 0 in the middle, 1 at a limit."""
    low, high = outcome.low, outcome.high
    if outcome.observed is None:
        return 0.0
    if low is None or high is None or high <= low:
        return abs(outcome.observed) / (high or low or 1.0)
    return abs(outcome.observed - (low + high) / 2) / ((high - low) / 2)


def _brackets(page: RunPage) -> dict[int, str]:
    """How the bracket passes each position number, for every failure that reaches its bracket."""
    found: dict[int, str] = {}
    held = _held(page.outcomes)
    reaching = (f.outcome for f in page.open_failures if f.outcome.reach == Reach.BRACKET)
    for outcome in reaching:
        first, last = _around(outcome, held, page.positions)
        for number in range(first, last + 1):
            found.setdefault(number, "m")
        found[first] = "a" if found[first] != "f" else "f"
        found[last] = "z" if found[last] != "f" else "f"
        found[outcome.position.number] = "f"
    return found


def bracket_of(
    failed: ControlOutcome, outcomes: Sequence[ControlOutcome], positions: Sequence[Position]
) -> tuple[int, int]:
    """Numbers of the last check that held before a failed one and of the next that held, else the run's ends."""
    return _around(failed, _held(outcomes), positions)


_Kind = tuple[int, str, str, int]


def _kind(outcome: ControlOutcome) -> _Kind:
    """What makes two checks speak of the same: line, measure, role and calibration block."""
    return outcome.line_id, outcome.measure, outcome.position.role, outcome.position.block


def _held(outcomes: Sequence[ControlOutcome]) -> dict[_Kind, list[int]]:
    """Numbers of positions of checks that held, by their kind."""
    found: dict[_Kind, list[int]] = {}
    for outcome in outcomes:
        if outcome.verdict in {Verdict.WITHIN, Verdict.CLOSE}:
            found.setdefault(_kind(outcome), []).append(outcome.position.number)
    return found


def _around(
    failed: ControlOutcome, held: Mapping[_Kind, Sequence[int]], positions: Sequence[Position]
) -> tuple[int, int]:
    same, here = held.get(_kind(failed), ()), failed.position.number
    before = max((n for n in same if n < here), default=positions[0].number)
    return before, min((n for n in same if n > here), default=positions[-1].number)
