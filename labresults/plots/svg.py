"""The few SVG elements that the drawings are made of. Every text is escaped here, and nowhere else."""

from collections.abc import Iterable, Sequence
from html import escape

Point = tuple[float, float]


def drawing(width: float, height: float, title: str, parts: Iterable[str], css: str = "", *, role: str = "img") -> str:
    """A whole drawing, in units of one pixel at its natural size; `title` is the finding in words.

    role: "group" where its texts and links are to be read one by one, and not the title alone.
    """
    kind = f' class="{css}"' if css else ""
    return (
        f'<svg{kind} viewBox="0 0 {number(width)} {number(height)}" role="{role}" aria-label="{escape(title)}">'
        f"<title>{escape(title)}</title>{''.join(parts)}</svg>"
    )


def number(value: float) -> str:
    """A coordinate: one decimal is a tenth of a pixel."""
    return f"{round(value, 1) + 0.0:g}"  # adding nothing makes -0 a plain 0


def path(css: str, d: str) -> str:
    """A path that is given already."""
    return f'<path class="{css}" d="{d}"/>'


def line(css: str, start: Point, end: Point) -> str:
    """A straight line."""
    return path(css, f"M{number(start[0])} {number(start[1])}L{number(end[0])} {number(end[1])}")


def polyline(css: str, points: Sequence[Point]) -> str:
    """Points joined in their order; nothing for fewer than two."""
    if len(points) < 2:
        return ""
    return path(css, "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points))


def rectangle(css: str, x: float, y: float, width: float, height: float) -> str:
    """A filled area."""
    return f'<rect class="{css}" x="{number(x)}" y="{number(y)}" width="{number(width)}" height="{number(height)}"/>'


def circle(css: str, at: Point, radius: float) -> str:
    """A round mark."""
    return f'<circle class="{css}" cx="{number(at[0])}" cy="{number(at[1])}" r="{number(radius)}"/>'


def lozenge(css: str, at: Point, radius: float) -> str:
    """A mark that stands on its point: what failed."""
    x, y, r = number(at[0]), number(at[1] - radius), number(radius)
    return path(css, f"M{x} {y}l{r} {r}-{r} {r}-{r}-{r}z")


def words(css: str, at: Point, content: str, anchor: str = "start") -> str:
    """A text; `anchor` is start, middle or end."""
    where = f' text-anchor="{anchor}"' if anchor != "start" else ""
    return f'<text class="{css}" x="{number(at[0])}" y="{number(at[1])}"{where}>{escape(content)}</text>'


def link(address: str, title: str, content: str, *, is_stop: bool = True) -> str:
    """What leads somewhere; without an address only its title is added. is_stop: the tabulator key stops there."""
    inside = f"<title>{escape(title)}</title>{content}" if title else content
    skipped = "" if is_stop else ' tabindex="-1"'
    return f'<a href="{escape(address)}"{skipped}>{inside}</a>' if address else f"<g>{inside}</g>"
