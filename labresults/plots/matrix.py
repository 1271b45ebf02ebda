"""A run as a picture: a column for each position, a row for each line, a mark where a reading says something.

Marks differ by shape, never by colour alone. Equal neighbours are drawn as one, so that a large run stays a small file.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from itertools import groupby

from labresults.plots import svg
from labresults.plots.axes import written

WIDTH, _LEFT, _HIGH, _HEAD, _APART = 1068.0, 92.0, 13.0, 18.0, 10.0
_WIDEST, _NARROWEST = 13.0, 4.0
MOST_LINKS = 1500
"""So many marks lead somewhere by themselves; beyond them a mark is drawn only, and its line and position lead on."""
FOCUSED_LINKS = 60
"""Of more marks than this none is a stop of the tabulator key: lists on the same page hold the same."""


class State(StrEnum):
    """What a reading says; where several are true, the first of these."""

    NOT_READ = "not read"
    FAILED = "control sample outside"
    OVER_RANGE = "over range"
    CARRIED = "read after a very high one"
    SPREAD = "replicates spread"
    TOUCHED = "stands on a failed control sample"
    BELOW = "below detection limit"
    HELD = "holds"


_QUIET = frozenset({State.HELD, State.BELOW})
"""States that lead nowhere by themselves."""


@dataclass(frozen=True)
class Matrix:
    """States by line and position. positions: their numbers; blocks: the calibration block of each.

    position_address: with `{}` for the number of a position; line_addresses: by line.
    """

    lines: tuple[str, ...]
    positions: tuple[int, ...]
    states: Sequence[Sequence[State]]  # [line][position]
    blocks: tuple[int, ...] = ()
    position_address: str = ""
    line_addresses: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class _Span:
    """Neighbours of one state at a line: places of the first and of the one after the last."""

    line: int
    start: int
    stop: int
    state: State


def counted(matrix: Matrix) -> dict[State, int]:
    """How many readings say what, in the order of the states; those that no reading says are left out."""
    found = Counter(state for row in matrix.states for state in row)
    return {state: found[state] for state in State if found[state]}


def matrix_plot(matrix: Matrix) -> str:
    """The run as SVG text, in as many bands as its positions need."""
    wide, bands = _bands(len(matrix.positions))
    high = _HEAD + _HIGH * len(matrix.lines) + _APART
    spans = [span for start, stop in bands for span in _spans(matrix, start, stop) if span.state not in _QUIET]
    linked = frozenset(spans[:MOST_LINKS])
    is_stop = len(linked) <= FOCUSED_LINKS
    parts = [
        part
        for number, (start, stop) in enumerate(bands)
        for part in _band(matrix, start, stop, number * high, wide, linked, is_stop=is_stop)
    ]
    return svg.drawing(WIDTH, max(high * len(bands), 1.0), _in_words(matrix), parts, css="readings")


def parted(matrix: Matrix) -> list[Matrix]:
    """A matrix for each band that `matrix_plot` would draw, for paper: a drawing cannot break from page to page."""
    return [
        replace(
            matrix,
            positions=matrix.positions[start:stop],
            states=[row[start:stop] for row in matrix.states],
            blocks=matrix.blocks[start:stop],
        )
        for start, stop in _bands(len(matrix.positions))[1]
    ]


def _bands(count: int) -> tuple[float, list[tuple[int, int]]]:
    """The width of a position, and from where to where each band goes."""
    wide = _width(count)
    per_band = int((WIDTH - _LEFT - 2) // wide)
    return wide, [(start, min(start + per_band, count)) for start in range(0, count, per_band)]


def mark_of(state: State) -> str:
    """The mark of a state by itself, for a legend, as SVG text."""
    mark = svg.rectangle("p-band", 1, 1, 12, 12) + _mark(state, 1.0, 1.0, 12.0, 12.0)
    return f'<svg class="m-mark" viewBox="0 0 14 14" aria-hidden="true" focusable="false">{mark}</svg>'


def _width(count: int) -> float:
    room = WIDTH - _LEFT - 2
    return min(_WIDEST, max(_NARROWEST, int(10 * room / max(count, 1)) / 10))


def _spans(matrix: Matrix, start: int, stop: int) -> Iterator[_Span]:
    for line, row in enumerate(matrix.states):
        at = start
        for state, some in groupby(row[start:stop]):
            count = sum(1 for _ in some)
            yield _Span(line, at, at + count, state)
            at += count


def _band(
    matrix: Matrix, start: int, stop: int, top: float, wide: float, linked: frozenset[_Span], *, is_stop: bool
) -> Iterator[str]:
    """One band of positions: its numbers, a ground for each line, the marks on it."""
    yield from _numbers(matrix, start, stop, top, wide)
    ground, below, plain = [], [], dict.fromkeys(State, "")
    length = svg.number(wide * (stop - start))
    for index, line in enumerate(matrix.lines):
        y = top + _HEAD + _HIGH * index
        ground.append(f"M{svg.number(_LEFT)} {svg.number(y)}h{length}v11h-{length}z")
        name = svg.words("m-line", (_LEFT - 6, y + 9.5), line, "end")
        yield svg.link(matrix.line_addresses.get(line, ""), "", name)
    yield svg.path("p-band", "".join(ground))
    links = []
    for span in _spans(matrix, start, stop):
        x, y = _LEFT + wide * (span.start - start), top + _HEAD + _HIGH * span.line
        width = wide * (span.stop - span.start)
        if span.state is State.BELOW:
            below.append(f"M{svg.number(x)} {svg.number(y + 9)}h{svg.number(width)}")
        elif span in linked:
            mark = "".join(_marks(span, x, y, wide))
            links.append(svg.link(_address(matrix, span), _said(matrix, span), mark, is_stop=is_stop))
        elif span.state is not State.HELD:
            plain[span.state] += "".join(_marks(span, x, y, wide))
    if below:
        yield svg.path("m-below", "".join(below))
    yield from (marks for marks in plain.values() if marks)
    yield from links
    yield from _between_blocks(matrix, start, stop, top, wide)


def _marks(span: _Span, x: float, y: float, wide: float) -> Iterator[str]:
    """The marks of a span: areas as one, shapes one by one."""
    width = wide * (span.stop - span.start)
    if span.state in {State.TOUCHED, State.NOT_READ}:
        yield _mark(span.state, x, y, width, 11.0)
    else:
        yield from (_mark(span.state, x + wide * n, y, wide, 11.0) for n in range(span.stop - span.start))


def _mark(state: State, x: float, y: float, width: float, height: float) -> str:
    """What a state looks like in a box: an area of one or more positions, or a shape in the middle."""
    left, middle = svg.number(x), svg.number(y + height / 2)
    if state is State.TOUCHED:
        stroke = svg.path("m-touched", f"M{left} {middle}h{svg.number(width)}")
        return svg.rectangle("p-late", x, y, width, height) + stroke
    if state is State.NOT_READ:
        return svg.rectangle("m-none", x + 0.5, y + 0.5, max(width - 1, 1.0), height - 1)
    if state is State.BELOW:
        return svg.path("m-below", f"M{left} {svg.number(y + height - 2)}h{svg.number(width)}")
    return _shape(state, (x + width / 2, y + height / 2), min(width, height) / 2)


def _shape(state: State, middle: svg.Point, radius: float) -> str:
    x, y = middle
    if state is State.FAILED:
        return svg.lozenge("p-out", middle, radius)
    if state is State.SPREAD:
        return svg.circle("m-spread", middle, radius * 0.8)
    if state is State.OVER_RANGE:
        foot = f"M{svg.number(x - radius)} {svg.number(y + radius * 0.9)}h{svg.number(2 * radius)}"
        return svg.path("p-dot", f"{foot}l-{svg.number(radius)} -{svg.number(1.8 * radius)}z")
    if state is State.CARRIED:
        r = svg.number(radius * 0.9)
        return svg.path("m-carried", f"M{svg.number(x - radius * 0.45)} {svg.number(y - radius * 0.9)}l{r} {r}-{r} {r}")
    return ""


def _numbers(matrix: Matrix, start: int, stop: int, top: float, wide: float) -> Iterator[str]:
    """Numbers of positions above a band, as many as do not run into each other."""
    free_from = float("-inf")
    for place in range(start, stop):
        number, x = matrix.positions[place], _LEFT + wide * (place - start + 0.5)
        if x >= free_from and (place == start or number % 5 == 0):
            words = svg.words("m-line", (x, top + _HEAD - 6), str(number), "middle")
            address = matrix.position_address.format(number) if matrix.position_address else ""
            yield svg.link(address, "", words)
            free_from = x + 34


def _between_blocks(matrix: Matrix, start: int, stop: int, top: float, wide: float) -> Iterator[str]:
    """A stroke where another calibration block begins."""
    foot = top + _HEAD + _HIGH * len(matrix.lines)
    for place in range(start + 1, min(stop, len(matrix.blocks))):
        if matrix.blocks[place] != matrix.blocks[place - 1]:
            x = svg.number(_LEFT + wide * (place - start))
            yield svg.path("p-dash", f"M{x} {svg.number(top + _HEAD - 3)}V{svg.number(foot)}")


def _address(matrix: Matrix, span: _Span) -> str:
    """Where a mark leads: to its position, neighbours to the first of theirs."""
    return matrix.position_address.format(matrix.positions[span.start]) if matrix.position_address else ""


def _said(matrix: Matrix, span: _Span) -> str:
    first, last = matrix.positions[span.start], matrix.positions[span.stop - 1]
    places = f"position {first}" if first == last else f"positions {first} to {last}"
    return f"{matrix.lines[span.line]}, {places}: {span.state}"


def _in_words(matrix: Matrix) -> str:
    found = counted(matrix)
    total = sum(found.values())
    said = ", ".join(f"{written(count)} {state}" for state, count in found.items())
    return (
        f"{written(total)} readings of {len(matrix.positions)} positions at {len(matrix.lines)} lines: {said or 'none'}"
    )
