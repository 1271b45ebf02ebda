"""Decide from the unrounded value whether a number, `<`, `>` or words are printed, and which limit stands there.

Limits of the examples: detection 0.2, quantification 0.6, reporting 1, top of the range 500.

| carried | below what it is not printed | printed as      | marks                                     |
|---------|------------------------------|-----------------|-------------------------------------------|
| 0.1999  | detection limit              | < 0.2           | below detection limit                     |
| 0.2     | detection limit              | a number        | between detection and quantification limit|
| 0.6     | detection limit              | a number        | none: a limit belongs to what lies above  |
| 0.7     | reporting limit              | < 1             | none                                      |
| 0.3     | reporting limit              | < 1             | between detection and quantification limit|
| 500     | detection limit              | a number        | none                                      |
| 500.01  | detection limit              | > 500           | over range                                |
| none    | detection limit              | > 500 or words  | over range, or no value                   |

How a limit is rounded for print, with figures of its own:
- after `<` to the nearest, as in the column head, so that the same limit always looks the same; unless the value itself
  lies at or above that rounded limit (detection limit 0.01449, value 0.01447: "<0.014" would be untrue); then to the
  next figure up, 0.015;
- after `>` always down, since the value is not known: a range that ends at 9 974 is printed as 9 970 or 9 900.
So what stands after the sign is never contradicted by the value behind it. Decisions are made on the numbers as their
shortest text names them; rounding comes after and changes none of them.
"""

from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from enum import StrEnum
from functools import lru_cache

from labresults.terms import Mark, Tie
from reports.rules.rounding import FIGURES_THAT_MEAN, exact, quantize, round_significant


class Below(StrEnum):
    """Below which limit a value is not printed as a number."""

    DETECTION_LIMIT = "detection limit"
    QUANTIFICATION_LIMIT = "quantification limit"
    REPORTING_LIMIT = "reporting limit"


@dataclass(frozen=True)
class Limits:
    """The limits of one result, all in its unit, unrounded; they follow the sample's portion and dilution.

    A detection or quantification limit of 0 says that the method has none.
    """

    detection: float
    quantification: float
    upper: float | None = None
    reporting: float | None = None


@dataclass(frozen=True)
class Decision:
    """sign: "" for a number, "<" or ">" with `limit` (unrounded), or None when only words can be printed."""

    sign: str | None
    limit: float | None
    marks: tuple[Mark, ...]


def decide(value: float | None, limits: Limits, below: Below, marks: tuple[Mark, ...] = ()) -> Decision:
    """Return what is printed of `value`, from unrounded numbers in one unit.

    marks: what is known already; OVER_RANGE and CONTROL_FAILED are taken from there, the order of terms.Mark is kept.
    Raises ValueError when the value or a limit is not finite.
    """
    over = Mark.OVER_RANGE in marks or _exceeds(value, limits.upper)
    if over and limits.upper is not None:
        return Decision(">", limits.upper, _ordered(marks, Mark.OVER_RANGE))
    if over or value is None:
        return Decision(None, None, _ordered(marks, Mark.OVER_RANGE if over else Mark.NO_VALUE))
    known = _ordered(marks, _place(value, limits))
    threshold = printing_limit(limits, below)
    if threshold > 0 and exact(value) < exact(threshold):
        return Decision("<", threshold, known)
    return Decision("", None, known)


def printing_limit(limits: Limits, below: Below) -> float:
    """Return the limit below which no number is printed: the chosen one, never lower than the detection limit."""
    chosen = {
        Below.DETECTION_LIMIT: limits.detection,
        Below.QUANTIFICATION_LIMIT: limits.quantification,
        Below.REPORTING_LIMIT: limits.detection if limits.reporting is None else limits.reporting,
    }[below]
    return max(chosen, limits.detection)


def figures_of_limit(limit: float | Decimal, limit_figures: int, figures: int) -> int:
    """Return the figures of a printed limit: as few as say it to a tenth of itself, at most `limit_figures`, and all
    before the point as far as a result has them.

    A portion that is 1 % too heavy moves a limit of 1 to 0.99: it is still printed as 1, and its results have no more
    decimals than those of its neighbours; a limit of 1.5 keeps its second figure. A limit stands on the same places as
    a result of its size, so that a result at its limit is never printed below it.
    """
    number = exact(limit)
    whole = min(figures, number.adjusted() + 1)
    return max(whole, next((few for few in range(1, limit_figures) if _says_enough(number, few)), limit_figures))


def _says_enough(limit: Decimal, figures: int) -> bool:
    """Whether a limit rounded to these figures is within a tenth of itself (common practice, no source)."""
    return abs(round_significant(limit, figures, Tie.HALF_EVEN) - limit) * 10 <= abs(limit)


def round_limit(limit: float | Decimal, figures: int, tie: Tie) -> Decimal:
    """Return a limit for print: nearest, at most `figures` figures, no zeros that only look exact (0.50 is 0.5)."""
    return _without_zeros(round_significant(exact(limit), figures, tie))


def round_limit_above(
    value: float | Decimal, limit: float | Decimal, figures: int, tie: Tie, least_figures: int = 1
) -> Decimal:
    """Return the limit to print after `<`: `round_limit`, or the next figure up where `value` would contradict it.

    least_figures: with which it goes up, so that 1.02 below 1.04 is `<1.1` and not `<2`.
    """
    nearest = round_limit(limit, figures, tie)
    if exact(value) < nearest:
        return nearest
    means = limit if least_figures == 1 else round_significant(limit, FIGURES_THAT_MEAN, Tie.HALF_EVEN)
    return _directed(means, max(figures, least_figures), ROUND_CEILING)


def round_limit_below(limit: float | Decimal, figures: int) -> Decimal:
    """Return the limit to print after `>`: at most `figures` figures, always down, so that the statement holds."""
    return _directed(round_significant(limit, FIGURES_THAT_MEAN, Tie.HALF_EVEN), figures, ROUND_FLOOR)


def _directed(limit: float | Decimal, figures: int, mode: str) -> Decimal:
    number = exact(limit)
    return _without_zeros(quantize(number, figures - 1 - number.adjusted(), mode)) if number else Decimal(0)


def _without_zeros(number: Decimal) -> Decimal:
    """Return 0.5 for 0.50 and 10 for 10.0."""
    return number.normalize() if number else Decimal(0)


def _place(value: float, limits: Limits) -> Mark | None:
    if limits.detection > 0 and exact(value) < exact(limits.detection):
        return Mark.BELOW_DETECTION
    if limits.quantification > 0 and exact(value) < exact(limits.quantification):
        return Mark.BELOW_QUANTIFICATION
    return None


def _exceeds(value: float | None, upper: float | None) -> bool:
    return value is not None and upper is not None and exact(value) > exact(upper)


@lru_cache(maxsize=256)
def _ordered(marks: tuple[Mark, ...], found: Mark | None) -> tuple[Mark, ...]:
    """Marks in the order of the vocabulary; what was decided here replaces what was said about the two limits."""
    decided_here = {Mark.BELOW_DETECTION, Mark.BELOW_QUANTIFICATION, Mark.NO_VALUE}
    wanted = {mark for mark in marks if mark not in decided_here} | ({found} if found else set())
    return tuple(mark for mark in Mark if mark in wanted)
