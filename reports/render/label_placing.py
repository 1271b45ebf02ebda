"""Where code, number and words stand on one label: as large as it allows, nothing cut without a sign. Lengths in mm.

The order of need: code and number, hazards, the client's identification to the letter, then what tells bottles apart,
matrix, and where it belongs. What has no room is left out from the end; hazards never are.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from reports.labels import Label
from reports.render.measure import MM_PER_PT, elide, largest_pt, width_mm, wrap
from reports.render.qr import modules_of

MODULE_MM = 0.33
"""Narrowest module that hand scanners read from office print (common practice, no source)."""
WIDEST_MODULE_MM = 0.85
QUIET = 4
"""Modules that stay clear on every side of a code (ISO/IEC 18004, quiet zone; from memory)."""
LEAST_PT = 5.0
"""Smallest print that is still read at arm's length (common practice, no source)."""
NUMBER_PT, OWN_PT, ONE_LINE_PT, SUB_PT = 15.0, 8.5, 7.0, 6.5
"""Sizes of the number, the identification, an identification that would else break, and the rest, on a usual label."""
USUAL_MM, MOST_TIMES = (64.0, 34.0), 2.5
"""The label for which these sizes are; a larger one has larger letters, up to so many times."""
LINE = 1.2
"""Height of a line, of its size."""
BASE = 0.93
"""How far the letters stand below the top of their line, of their size (ascent 0.984, descent 0.316, line 1.2)."""
BOXED = frozenset({"hazard", "heavy", "kind"})
BOX_MM = 1.0
"""What a boxed word is higher and wider than its letters."""


class TooSmall(ValueError):
    """The label has no room for what it must hold."""


@dataclass(frozen=True)
class Text:
    """One line: left and top edge, size; `style`: number, hazard, own, heavy, kind or sub."""

    x_mm: float
    y_mm: float
    size_pt: float
    text: str
    style: str
    width_mm: float

    @property
    def is_boxed(self) -> bool:
        """Whether it is a word in a box."""
        return self.style in BOXED

    @property
    def size_mm(self) -> float:
        """Size of the letters."""
        return self.size_pt * MM_PER_PT

    @property
    def base_mm(self) -> float:
        """Where the letters stand, from the top of the label."""
        return self.y_mm + BASE * self.size_mm

    @property
    def height_mm(self) -> float:
        """Height of the line."""
        return LINE * self.size_mm

    @property
    def box_x_mm(self) -> float:
        """Left edge of the box round it."""
        return self.x_mm - BOX_MM / 2

    @property
    def box_width_mm(self) -> float:
        """Width of the box round it."""
        return self.width_mm + BOX_MM


@dataclass(frozen=True)
class PlacedLabel:
    """A label as it is drawn. `is_elided`: the identification ends in an ellipsis, or is not there at all."""

    number: str
    code: str
    modules: int
    code_x_mm: float
    code_y_mm: float
    code_mm: float
    texts: tuple[Text, ...]
    is_elided: bool


@dataclass(frozen=True)
class _Room:
    """A code's place and the box that is left for words."""

    code_x: float
    code_y: float
    code: float
    x: float
    y: float
    width: float
    height: float
    is_beside: bool
    times: float  # how much larger than usual letters may be


@dataclass(frozen=True)
class _Line:
    text: str
    size_pt: float
    style: str

    @property
    def height(self) -> float:
        return self.size_pt * LINE * MM_PER_PT + (BOX_MM if self.style in BOXED else 0.0)


def place(label: Label, width: float, height: float) -> PlacedLabel:
    """Return what stands where on a label of this size. Raises TooSmall saying what has no room."""
    modules = modules_of(label.code)
    side = modules + 2 * QUIET
    if min(width, height) < side * MODULE_MM:
        raise TooSmall(
            f"A label of {width:.4g} × {height:.4g} mm is too small for a code: {label.code} takes {modules} modules "
            f"and {QUIET} clear ones on each side, at least {MODULE_MM} mm each: {side * MODULE_MM:.1f} mm both ways."
        )
    for room in _rooms(modules, width, height):
        lines = _number(label.number, room)
        if lines:
            break
    else:
        raise TooSmall(
            f"A label of {width:.4g} × {height:.4g} mm has no room for the number {label.number} beside its code: "
            f"make it wider or higher."
        )
    rest, is_elided = _rest(label, room, sum(line.height for line in lines))
    texts = tuple(_stacked([*lines, *rest], room))
    return PlacedLabel(label.number, label.code, modules, room.code_x, room.code_y, room.code, texts, is_elided)


def _rooms(modules: int, width: float, height: float) -> Iterator[_Room]:
    """The code at the left with words beside it, or above with words below; first what suits the label's shape."""
    side, edge = modules + 2 * QUIET, min(2.0, max(0.8, 0.04 * min(width, height)))
    times = min(MOST_TIMES, max(1.0, min(width / USUAL_MM[0], height / USUAL_MM[1])))
    module = _module(min(height, 0.36 * width) / side, times)
    beside = _Room(
        QUIET * module, (height - modules * module) / 2, modules * module,
        side * module, edge, width - side * module - edge, height - 2 * edge, True, times,
    )  # fmt: skip
    module = _module(min(width, 0.55 * height) / side, times)
    above = _Room(
        (width - modules * module) / 2, QUIET * module, modules * module,
        edge, side * module, width - 2 * edge, height - side * module - edge, False, times,
    )  # fmt: skip
    yield from (beside, above) if width >= 1.2 * height else (above, beside)


def _module(wanted: float, times: float) -> float:
    return min(WIDEST_MODULE_MM * times, max(MODULE_MM, wanted))


def _number(number: str, room: _Room) -> list[_Line]:
    """The number on one line, or on two where one would be too small; none where two are."""
    head, dash, tail = number.rpartition("-")
    for parts, share in (([number], 0.4), ([head + dash, tail], 0.6)):
        size = min(largest_pt(part, "mono", room.width, NUMBER_PT * room.times) for part in parts if part)
        size = min(size, share * room.height / (LINE * MM_PER_PT * len(parts)))
        if all(parts) and size >= LEAST_PT:
            return [_Line(part, size, "number") for part in parts]
    return []


def _rest(label: Label, room: _Room, used: float) -> tuple[list[_Line], bool]:
    """Hazards, the identification, and as much of the rest as leaves the identification whole."""
    hazard = [_hazard(label, room, used)] if label.hazards else []
    left = room.height - used - sum(line.height for line in hazard)
    extras = [_extra(text, style, room) for text, style in _extras(label)]
    for count in range(len(extras), -1, -1):
        kept = extras[:count]
        own = _whole(label.client_identification, room, left - sum(line.height for line in kept), bool(kept))
        if own:
            return [*own, *hazard, *kept], False
    return [*_cut(label.client_identification, room.width, left), *hazard], True


def _extras(label: Label) -> Iterator[tuple[str, str]]:
    """What may be left out, the most needed first."""
    if label.kind:
        yield label.kind, "heavy" if label.heavy else "kind"
    yield from ((text, "sub") for text in (label.matter, label.foot) if text)


def _extra(text: str, style: str, room: _Room) -> _Line:
    face, inside = ("text", room.width) if style == "sub" else ("bold", room.width - BOX_MM)
    size = max(LEAST_PT, largest_pt(text, face, inside, SUB_PT * room.times))
    return _Line(elide(text, face, size, inside), size, style)


def _hazard(label: Label, room: _Room, used: float) -> _Line:
    """The hazards in one box; their count where the words have no room. Raises TooSmall where that has none either."""
    most = min(OWN_PT * room.times, (room.height - used - BOX_MM) / (LINE * MM_PER_PT))
    count = f"{len(label.hazards)} hazards" if len(label.hazards) > 1 else "hazard"
    for words in (", ".join(label.hazards), count):
        size = largest_pt(words, "bold", room.width - BOX_MM, most)
        if size >= LEAST_PT:
            return _Line(words, size, "hazard")
    raise TooSmall(
        f"{label.number} must say “{', '.join(label.hazards)}”, and a label of this size has no room for it: "
        "take a larger one."
    )


def _whole(text: str, room: _Room, height: float, has_company: bool) -> list[_Line]:
    """The whole identification at the largest size that fits; none where only too small a one would."""
    size, width = OWN_PT * room.times, room.width
    on_one = largest_pt(text, "text", width, size)
    if on_one >= ONE_LINE_PT and on_one * LINE * MM_PER_PT <= height:
        return [_Line(text, on_one, "own")]
    while size >= (LEAST_PT + 1.0 if has_company else LEAST_PT):
        lines = wrap(text, "text", size, width)
        if len(lines) * size * LINE * MM_PER_PT <= height:
            return [_Line(line, size, "own") for line in lines]
        size -= 0.5
    return []


def _cut(text: str, width: float, height: float) -> list[_Line]:
    """As many lines of the identification as there is room for, the last with an ellipsis; none without room."""
    count = int(height / (LEAST_PT * LINE * MM_PER_PT))
    lines = wrap(text, "text", LEAST_PT, width)[:count]
    if lines:
        lines[-1] = elide(lines[-1] + text[sum(map(len, lines)) :], "text", LEAST_PT, width)
    return [_Line(line, LEAST_PT, "own") for line in lines]


def _stacked(lines: Sequence[_Line], room: _Room) -> Iterator[Text]:
    """The lines one below another, beside the code in the middle of the height."""
    used = sum(line.height for line in lines)
    y = room.y + ((room.height - used) / 2 if room.is_beside else 0.0)
    for line in lines:
        inset = BOX_MM / 2 if line.style in BOXED else 0.0
        yield Text(room.x + inset, y + inset, line.size_pt, line.text, line.style, _width(line))
        y += line.height


def _width(line: _Line) -> float:
    face = {"number": "mono", "own": "text", "sub": "text"}.get(line.style, "bold")
    return width_mm(line.text, face, line.size_pt)
