"""Statements of conformity on paper: a sign beside each result that has a limit, and what the signs mean. Pure.

| sign               | statement                  |
|--------------------|----------------------------|
| thin ring          | conforms                   |
| ring with a point  | conforms, within U         |
| half disc          | does not conform, within U |
| disc               | does not conform           |
| diamond            | cannot be decided          |

The fuller, the worse; the shapes can be told apart without colour. Whoever hears the page hears the words.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

SIGNS = {
    "conforms": "ring",
    "conforms, within U": "point",
    "does not conform, within U": "half",
    "does not conform": "disc",
    "cannot be decided": "diamond",
}
"""The sign of each statement, in the order in which they are explained."""

RADIUS_MM = 0.85
ROOM_MM = 2 * RADIUS_MM + 1.1
"""What a column with signs is wider by: the sign, and what keeps it away from the figures."""

LEAD_IN = "Beside a result that has a limit:"
POINTER = "Limits, rule, and who decides: “Statement of conformity”."
_APART_MM = 4.0
_BEHIND_SIGN_MM = 2 * RADIUS_MM + 0.9


@dataclass(frozen=True)
class Said:
    """One thing that the key says: how far to the right it begins, on which line (from 0), its sign ("" for none)."""

    x: float
    line: int
    sign: str
    text: str

    @property
    def text_x(self) -> float:
        """Where its words begin, mm."""
        return self.x + (_BEHIND_SIGN_MM if self.sign else 0.0)


def kind_of(statement: str) -> str:
    """Return the statement without its probability: "conforms, probability 97.7 %" is "conforms"; "" for none."""
    kind = statement.partition(", probability ")[0]
    return kind if kind in SIGNS else ""


def key_to_signs(kinds: Iterable[str], width_of: Callable[[str], float], room_mm: float) -> tuple[Said, ...]:
    """Return what explains the signs of `kinds`, set side by side on lines of `room_mm`; nothing where none occur."""
    found = set(kinds)
    if not found:
        return ()
    wanted = [("", LEAD_IN), *((sign, kind) for kind, sign in SIGNS.items() if kind in found), ("", POINTER)]
    said: list[Said] = []
    x, line = 0.0, 0
    for sign, text in wanted:
        width = width_of(text) + (_BEHIND_SIGN_MM if sign else 0.0)
        if x > 0.0 and x + width > room_mm:
            x, line = 0.0, line + 1
        said.append(Said(x, line, sign, text))
        x += width + _APART_MM
    return tuple(said)


def words_of_key() -> tuple[str, ...]:
    """Return every text that a key may set."""
    return (LEAD_IN, POINTER, *SIGNS)
