"""The path by due date: every stroke is a sample, standing on the day on which it is due. Geometry only."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from labresults.queries.waiting import Waiting
from labresults.terms import Station

_LEFT, _RIGHT, _TOP, _LANE = 118, 1060, 28, 59
_DAYS_BEFORE, _DAYS_AFTER = 1, 9
_COLUMNS = _DAYS_BEFORE + _DAYS_AFTER + 3  # and one each for earlier and later
_WIDTH = (_RIGHT - _LEFT) / _COLUMNS
_STEP, _GAP, _HEIGHT, _ROW_STROKES, _MOST_ROWS = 2.5, 5.0, 18.0, 24, 4


@dataclass(frozen=True)
class Column:
    """One day: where it stands and what is written over it."""

    x: float
    middle: float
    words: str
    is_today: bool


@dataclass(frozen=True)
class Cluster:
    """The strokes of one station and day, and what leads to them."""

    path: str
    middle: float
    words: str
    label: str
    submission: str  # empty when there are several
    late: bool


@dataclass(frozen=True)
class Lane:
    """One station."""

    station: str
    y: int
    samples: int
    clusters: tuple[Cluster, ...]


@dataclass(frozen=True)
class Drawing:
    """Everything that the template draws. `stroke` says how many samples one stroke stands for."""

    columns: tuple[Column, ...]
    lanes: tuple[Lane, ...]
    late_width: float
    today_x: float
    width: float
    height: int
    samples: int
    submissions: int
    late: int
    stroke: int


def draw(work: Sequence[Waiting], today: date) -> Drawing:
    """Lay out what waits: stations downwards, days from left to right."""
    cells = _cells(work, today)
    stroke = _samples_a_stroke(sum(row.samples for row in rows) for rows in cells.values())
    lanes = tuple(_lane(index, station, cells, today, stroke) for index, station in enumerate(Station))
    today_x = _LEFT + (_DAYS_BEFORE + 1) * _WIDTH
    return Drawing(
        columns=tuple(_columns(today)),
        lanes=lanes,
        late_width=round(today_x - _LEFT, 1),
        today_x=round(today_x, 1),
        width=round(_WIDTH, 1),
        height=_LANE * len(lanes) + 8,
        samples=sum(row.samples for row in work),
        submissions=len({row.submission for row in work}),
        late=sum(row.samples for row in work if row.days_late(today)),
        stroke=stroke,
    )


def _columns(today: date) -> Iterator[Column]:
    for index in range(_COLUMNS):
        on = today + timedelta(days=index - _DAYS_BEFORE - 1)
        words = "Earlier" if index == 0 else "Later" if index == _COLUMNS - 1 else f"{on:%a} {on.day}"
        x = _LEFT + index * _WIDTH
        yield Column(round(x, 1), round(x + _WIDTH / 2, 1), "Today" if on == today else words, on == today)


def _cells(work: Iterable[Waiting], today: date) -> dict[tuple[Station, int], list[Waiting]]:
    cells: dict[tuple[Station, int], list[Waiting]] = {}
    for row in work:
        index = min(max((row.due_on - today).days + _DAYS_BEFORE + 1, 0), _COLUMNS - 1)
        cells.setdefault((row.station, index), []).append(row)
    return cells


def _samples_a_stroke(totals: Iterable[int]) -> int:
    """1, or the power of ten with which the fullest day still fits."""
    most, stroke = max(totals, default=0), 1
    while most > stroke * _ROW_STROKES * _MOST_ROWS:
        stroke *= 10
    return stroke


def _lane(
    index: int, station: Station, cells: dict[tuple[Station, int], list[Waiting]], today: date, stroke: int
) -> Lane:
    y = _TOP + 40 + index * _LANE
    mine = sorted((column, rows) for (where, column), rows in cells.items() if where == station)
    clusters = tuple(_cluster(column, rows, y, today, stroke) for column, rows in mine)
    return Lane(station, y, sum(row.samples for _, rows in mine for row in rows), clusters)


def _cluster(column: int, rows: Sequence[Waiting], y: float, today: date, stroke: int) -> Cluster:
    middle = _LEFT + (column + 0.5) * _WIDTH
    strokes = sum(max(1, round(row.samples / stroke)) for row in rows)
    late = any(row.days_late(today) for row in rows)
    label = rows[0].submission.rpartition("-")[2] if len(rows) == 1 else f"{len(rows)}{'' if late else ' subm.'}"
    return Cluster(
        path=_strokes(strokes, middle, y - 2),
        middle=round(middle, 1),
        words="; ".join(_says(row, today) for row in rows),
        label=f"{label} late" if late else label,
        submission=rows[0].submission if len(rows) == 1 else "",
        late=late,
    )


def _strokes(count: int, middle: float, foot: float) -> str:
    """The strokes as one path, in as few rows as fit, standing on `foot`."""
    lines = -(-count // _ROW_STROKES)
    height = (_HEIGHT + (5 if lines > 1 else 0)) / lines - (2 if lines > 1 else 0)
    parts = []
    for line in range(lines):
        here = min(_ROW_STROKES, count - line * _ROW_STROKES)
        left = middle - _STEP * (min(count, _ROW_STROKES) - 1) / 2
        bottom = foot - line * (height + 2)
        parts += [f"M{left + n * _STEP:.1f} {bottom:.1f}v-{height:.1f}" for n in range(here)]
    return "".join(parts)


def _says(row: Waiting, today: date) -> str:
    count = f"{row.samples} sample{'' if row.samples == 1 else 's'}"
    late = ", late" if row.days_late(today) else ""
    return f"{row.submission}, {row.client}, {count} of {row.matrices}, due {row.due_on.day} {row.due_on:%B}{late}"
