"""The positions of an evaluated run as a table: one row a position, one cell a line, the bracket in the margin.

No database query: everything comes from a `RunPage`.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from math import floor, isfinite, log10, nan

from labresults.models import ControlOutcome, Position, Sample
from labresults.queries.run_pages import RunPage, sample_of
from labresults.terms import CALIBRATING, Reach, Role, Verdict

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


def position_rows(page: RunPage) -> list[PositionRow]:
    """The rows in the order of measurement; none before the first evaluation."""
    if page.evaluated is None:
        return []
    judged = defaultdict(list)
    for outcome in page.outcomes:
        judged[outcome.position.number].append(outcome)
    touched = {(n, f.outcome.line_id) for f in page.open_failures for n in f.outcome.touches}
    over = defaultdict(list)
    for item in page.proposals:
        over[item.position.number].append(item.proposal.line.split()[0])
    brackets = _brackets(page)
    return [
        _row(page, index, judged[position.number], touched, tuple(dict.fromkeys(over[position.number])), brackets)
        for index, position in enumerate(page.positions)
    ]


def what_stood_there(position: Position) -> str:
    """What a position held, in words; the sample's own number is not repeated."""
    if position.lot and position.role not in CALIBRATING:
        return f"{position.role}, {position.lot.material.code}"
    if position.parent and position.role != Role.SAMPLE:
        return f"{position.role} of {position.parent.label}"
    return str(position.role)


def shown_lines(page: RunPage) -> list[tuple[str, str]]:
    """Element and wavelength of each column: every line but that of the internal standard, which reports nothing."""
    keys = (key for key in page.loaded.table.line_keys if key != page.loaded.method.internal_standard)
    return [(element, wavelength) for element, _, wavelength in (key.partition(" ") for key in keys)]


def curve_points(page: RunPage) -> list[tuple[Position, list[tuple[str, str, bool]]]]:
    """Positions that curves were fitted to, and for each line its name, the point's key and whether it is left out."""
    left_out = {(number, line) for number, line in page.evaluation.left_out} if page.evaluation else set()
    lines = tuple(dict.fromkeys(curve.line for curve in page.curves))
    return [
        (position, [(line, f"{position.number}|{line}", (position.number, line) in left_out) for line in lines])
        for position in page.positions
        if position.role in CALIBRATING
    ]


def _row(
    page: RunPage,
    index: int,
    judged: list[ControlOutcome],
    touched: set[tuple[int, int]],
    over: tuple[str, ...],
    brackets: dict[int, str],
) -> PositionRow:
    position = page.positions[index]
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
        cells=_cells(page, index, {o.line_id: o for o in reversed(judged)}, touched, over),
        judged=_says_most(judged),
        over_range=over,
    )


def _cells(
    page: RunPage, index: int, outcomes: dict[int, ControlOutcome], touched: set[tuple[int, int]], over: Sequence[str]
) -> tuple[Cell, ...]:
    """The cells of one position; `outcomes` by line."""
    position, lines = page.positions[index], {line.key: line for line in page.loaded.method.lines}
    cells = []
    for column, key in enumerate(page.loaded.table.line_keys):
        if key == page.loaded.method.internal_standard:
            continue
        line, line_id = lines[key], page.loaded.line_ids[key]
        outcome, result = outcomes.get(line_id), page.results.get((position.pk, line_id))
        value = outcome.observed if outcome else _concentration(page, index, column)
        failed = outcome is not None and outcome.verdict == Verdict.OUTSIDE
        is_content = outcome is None and position.role not in CALIBRATING
        cells.append(
            Cell(
                element=line.element,
                value=value,
                measure=outcome.measure if outcome else "",
                below=line.detection_limit
                if is_content and value is not None and value < line.detection_limit
                else None,
                places=_places(outcome, line.detection_limit),
                bad=failed or (position.number, line_id) in touched or line.element in over,
                result=result.pk if result else None,
            )
        )
    return tuple(cells)


def _places(outcome: ControlOutcome | None, detection_limit: float) -> int:
    """Decimals to show: one more than the detection limit has; of percent one, of multiples of a limit two."""
    if outcome is None:
        return max(0, 1 - floor(log10(detection_limit)))
    return 1 if outcome.measure.endswith("%") else 2


def _concentration(page: RunPage, row: int, column: int) -> float | None:
    value = float(page.evaluated.concentration[row, column]) if page.evaluated else nan
    return value if isfinite(value) else None


def _says_most(judged: Sequence[ControlOutcome]) -> ControlOutcome | None:
    ranked = sorted(judged, key=lambda o: (_WORST_FIRST.index(Verdict(o.verdict)), -_farness(o)))
    return ranked[0] if ranked else None


def _farness(outcome: ControlOutcome) -> float:
    """How far out in its allowed span an outcome lies: 0 in the middle, 1 at a limit."""
    low, high = outcome.criterion.low, outcome.criterion.high
    if outcome.observed is None:
        return 0.0
    if low is None or high is None or high <= low:
        return abs(outcome.observed) / (high or low or 1.0)
    return abs(outcome.observed - (low + high) / 2) / ((high - low) / 2)


def _brackets(page: RunPage) -> dict[int, str]:
    """How the bracket passes each position number, for every failure that reaches its bracket."""
    found: dict[int, str] = {}
    for failure in page.open_failures:
        if failure.outcome.reach != Reach.BRACKET:
            continue
        first, last = bracket_of(failure.outcome, page.outcomes, page.positions)
        for number in range(first, last + 1):
            found.setdefault(number, "m")
        found[first] = "a" if found[first] != "f" else "f"
        found[last] = "z" if found[last] != "f" else "f"
        found[failure.outcome.position.number] = "f"
    return found


def bracket_of(
    failed: ControlOutcome, outcomes: Sequence[ControlOutcome], positions: Sequence[Position]
) -> tuple[int, int]:
    """Numbers of the last check that held before a failed one and of the next that held, else the run's ends."""
    same = [
        o.position.number
        for o in outcomes
        if o.line_id == failed.line_id
        and o.measure == failed.measure
        and o.position.role == failed.position.role
        and o.position.block == failed.position.block
        and o.verdict in {Verdict.WITHIN, Verdict.CLOSE}
    ]
    here = failed.position.number
    before = max((n for n in same if n < here), default=positions[0].number)
    after = min((n for n in same if n > here), default=positions[-1].number)
    return before, after
