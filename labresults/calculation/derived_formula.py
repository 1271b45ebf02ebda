"""The formulas of derived results: value, derivatives, uncertainty and bounds, from inputs with their factors.

The table of forms stands in `derived`. Sums are taken without loss, so that the order of the terms changes nothing.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import fsum, hypot, inf, sqrt

from labresults.calculation.derived_terms import OF_TWO_PARTS, Definition
from labresults.terms import Basis, DerivedForm


@dataclass(frozen=True)
class Input:
    """A result that stands at a term, with everything of it in its own unit. value None: over range, or `why`.

    term: its place in the definition, from 0; key: of the result; label: who reads it as what, for the steps;
    calibration, portion: what its curve and its test portion are known by, "" for none; mass_kg: what its sample stands
    for; moisture_percent: of the material as received.
    """

    term: int
    key: int | None
    label: str
    reported_as: str
    unit: str
    basis: Basis
    value: float | None
    detection_limit: float = 0.0
    quantification_limit: float = 0.0
    upper_limit: float | None = None
    u: float | None = None
    coverage_factor: float = 2.0
    over_range: bool = False
    why: str = ""
    calibration: str = ""
    portion: str = ""
    mass_kg: float | None = None
    moisture_percent: float | None = None

    @property
    def is_below(self) -> bool:
        """Whether it was not found: below its detection limit, decided on the unrounded value."""
        return self.value is not None and self.value < self.detection_limit

    @property
    def counts(self) -> bool:
        """Whether something is known of the amount."""
        return self.value is not None or (self.over_range and self.upper_limit is not None)


@dataclass(frozen=True)
class Entered:
    """A result as it enters the formula: `a` and `b` what it is multiplied by in each part; 0 where it is not in it."""

    given: Input
    a: float
    b: float


def _parts(entered: Sequence[Entered], put: Mapping[int, float]) -> tuple[float, float]:
    """A and B."""
    values = [put.get(place, each.given.value or 0.0) for place, each in enumerate(entered)]
    a = fsum(each.a * x for each, x in zip(entered, values, strict=True))
    return a, fsum(each.b * x for each, x in zip(entered, values, strict=True))


def value_at(definition: Definition, entered: Sequence[Entered], put: Mapping[int, float]) -> float | None:
    """Return the formula with some inputs put in place of what was found; None where it would divide by nothing."""
    a, b = _parts(entered, put)
    if definition.form not in OF_TWO_PARTS:
        return a
    if not b > 0:
        return None
    return 100.0 * a / b if definition.form is DerivedForm.PERCENT else a / sqrt(b / 2.0)


def derivatives(definition: Definition, entered: Sequence[Entered], put: Mapping[int, float]) -> list[float]:
    """Return the derivative of the formula by each input, in the units of both; 0 where it would divide by nothing."""
    a, b = _parts(entered, put)
    by_a, by_b = 1.0, 0.0
    if definition.form in OF_TWO_PARTS and not b > 0:
        by_a = by_b = 0.0
    elif definition.form is DerivedForm.PERCENT:
        by_a, by_b = 100.0 / b, -100.0 * a / b**2
    elif definition.form is DerivedForm.ROOT_RATIO:
        root = sqrt(b / 2.0)
        by_a, by_b = 1.0 / root, -a / (2.0 * b * root)
    return [by_a * each.a + by_b * each.b for each in entered]


def combined(slopes: Sequence[float], entered: Sequence[Entered], edition: int) -> float | None:
    """Return the standard uncertainty, None where an input has none.

    slopes: the derivatives by each input. JCGM 100:2008 (GUM), 5.1.2; inside a group of `tied` 5.2.2, note 1.
    """
    if any(each.given.u is None for each in entered):
        return None
    groups = tied(slopes, entered, edition)
    return root_of_squares(fsum(slopes[place] * (entered[place].given.u or 0.0) for place in group) for group in groups)


def tied(slopes: Sequence[float], entered: Sequence[Entered], edition: int) -> list[list[int]]:
    """Return the places of the inputs in groups: what errs together, and moves the whole to the same side.

    Together errs what has one calibration or one test portion. Inputs of one portion that move the whole to opposite
    sides are not put together: what they share would cancel, and what they do not share would be lost with it. The
    first edition knows calibrations only, and puts together what is on either side.
    """
    if edition == 1:
        names: list[object] = [each.given.calibration or place for place, each in enumerate(entered)]
    else:
        names = [(name, slopes[place] < 0) for place, name in enumerate(_together(entered))]
    groups: dict[object, list[int]] = {}
    for place, name in enumerate(names):
        groups.setdefault(name, []).append(place)
    return list(groups.values())


def _together(entered: Sequence[Entered]) -> list[int]:
    """Of each input the first place that it is tied to, by a calibration or a portion, directly or through others."""
    first = list(range(len(entered)))

    def root(place: int) -> int:
        while first[place] != place:
            first[place] = first[first[place]]
            place = first[place]
        return place

    seen: dict[tuple[str, str], int] = {}
    for place, each in enumerate(entered):
        for tie in (("calibration", each.given.calibration), ("portion", each.given.portion)):
            if tie[1]:
                one, other = sorted((root(place), root(seen.setdefault(tie, place))))
                first[other] = one
    return [root(place) for place in range(len(entered))]


def root_of_squares(values: Iterable[float]) -> float:
    """Return √Σ x², summed in an order of its own."""
    return hypot(*sorted(abs(value) for value in values))


def bounds(definition: Definition, entered: Sequence[Entered]) -> tuple[float, float]:
    """Return what the derived result is at least and at most, of what is known of each input."""
    a_low, a_high = _interval(entered, "a")
    if definition.form not in OF_TWO_PARTS:
        return a_low, a_high
    if definition.form is DerivedForm.PERCENT and all(each.b == each.a for each in entered if each.a):
        rest_low, rest_high = _interval([each for each in entered if not each.a], "b")
        return _share(a_low, rest_high), _share(a_high, rest_low)
    b_low, b_high = _interval(entered, "b")
    if definition.form is DerivedForm.PERCENT:
        return 100.0 * _over(a_low, b_high), 100.0 * _over(a_high, b_low)
    return _over(a_low, sqrt(b_high / 2.0)), _over(a_high, sqrt(max(b_low, 0.0) / 2.0))


def _interval(entered: Sequence[Entered], part: str) -> tuple[float, float]:
    ends = intervals(entered, part)
    return fsum(low for low, _ in ends), fsum(high for _, high in ends)


def intervals(entered: Sequence[Entered], part: str) -> list[tuple[float, float]]:
    """Return from where to where each input may lie, times its factor, of those that are in this part."""
    ends = (sorted(getattr(each, part) * x for x in _known(each.given)) for each in entered if getattr(each, part))
    return [(low, high) for low, high in ends]


def _known(given: Input) -> tuple[float, float]:
    """From where to where an input may lie."""
    if given.value is None:
        return given.upper_limit or 0.0, inf
    return (0.0, given.detection_limit) if given.is_below else (given.value, given.value)


def _share(part: float, rest: float) -> float:
    """100 part / (part + rest), at the ends of intervals."""
    if part == inf:
        return 100.0 if rest < inf else 0.0
    return 100.0 * _over(part, part + rest)


def _over(above: float, below: float) -> float:
    if below == inf:
        return 0.0
    return above / below if below > 0 else inf
