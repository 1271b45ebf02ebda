"""A derived result from the results that it stands on: value or bound, limits of its own, uncertainty.

With x the results, a and b the factors of their terms, A = Σ a x and B = Σ b x:

| form | value | derivative by A | by B |
|---|---|---|---|
| sum, dry basis, mean by mass | A | 1 | |
| part of a sum, % | 100 A / B | 100 / B | −100 A / B² |
| part over the root of half a sum | A / √(B / 2) | 1 / √(B / 2) | −A / (2 B √(B / 2)) |

On dry basis a is divided by 1 − moisture; of a mean it is the share of the mass.

Rules, decided on unrounded numbers (examples: Ca found 3, Mg below its limit of 1, hardness 2.5 Ca + 4.1 Mg):

| a term below its limit counts | value | where nothing is found of part a |
|---|---|---|
| as zero | 7.5 | < what the limits give |
| as its limit | 11.6 | < what the limits give |
| as a range | 7.5 to 11.6 | < what the limits give |

Whatever stands after < holds for all that the inputs allow: with nothing found, both below 1, hardness is < 6.6, the
limits added up, and not < 4.8, the detection limit of the sum. A value below that detection limit is given as < what
its terms allow at most, where that is more. What is over range makes a bound of the whole: > what is known at least,
or < what is known at most. So does a part b of which nothing is found. Bounds are those of the intervals from zero to
the limit, and from the top of the range upwards; one that is not above zero is no bound, and words say so.

Detection and quantification limit: root of the sum of squares of derivative × limit, since limits are multiples of
standard deviations (Currie, IUPAC 1995) that are taken as independent. Uncertainty: JCGM 100:2008 (GUM), 5.1.2, inputs
taken as independent but for these, which are taken as fully correlated (5.2.2, note 1), so that U is never too small:

| inputs | share | example, each ± u 12 | u |
|---|---|---|---|
| of one calibration | the curve | mean of two samples of one run, 120 and 120 | 12 |
| of one test portion | mass, volumes, dilution | Cu 120 + Pb 120 | 24 |
| of one portion, on either side of the whole | the same, but it cancels | Na ÷ √(Ca ÷ 2) | as independent |

`EDITION` of all this is frozen with a certificate, whose numbers are computed again by the same. 1: the bound "as zero"
is the detection limit of the sum, a value below that has no bound of its own, < 0 and < −3 are bounds too, and portions
are not asked for.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import fsum, isfinite

from labresults.calculation.derived_formula import (
    Entered,
    Input,
    bounds,
    combined,
    derivatives,
    root_of_squares,
    value_at,
)
from labresults.calculation.derived_terms import Definition, conversion
from labresults.calculation.errors import CalculationError
from labresults.terms import Basis, BelowInSum, DerivedForm, Mark

EDITION = 2
"""Of the rules above."""


@dataclass(frozen=True)
class Derived:
    """What is known of a derived result, in `unit`, unrounded.

    sign: "" with `value`, or with `low` and `high` of a range; "<" or ">" with `bound`; with none of them `why`.
    Beside "<" `value` is what was found by the rule "as zero" and "as its limit", and is not given.
    at_most: what a `value` may be at most, where a term below its limit leaves that open; edition: see `EDITION`.
    """

    unit: str
    basis: Basis
    value: float | None = None
    sign: str = ""
    bound: float | None = None
    low: float | None = None
    high: float | None = None
    detection_limit: float = 0.0
    quantification_limit: float = 0.0
    u: float | None = None
    coverage_factor: float = 2.0
    why: str = ""
    lacking: tuple[str, ...] = ()  # what it was computed without, where not all is needed, and why
    entered: tuple[Entered, ...] = ()
    marks: tuple[Mark, ...] = ()
    at_most: float | None = None
    edition: int = EDITION

    @property
    def expanded_u(self) -> float | None:
        """U = k u, same unit."""
        return None if self.u is None else self.coverage_factor * self.u

    @property
    def keys(self) -> tuple[int, ...]:
        """Keys of the results that it stands on, each once, in ascending order."""
        return tuple(sorted({each.given.key for each in self.entered if each.given.key is not None}))


def derive(definition: Definition, inputs: Sequence[Input], edition: int = EDITION) -> Derived:
    """Return the derived result of a sample, or of a set, from what stands at its terms.

    The order of the inputs changes nothing. What cannot be computed says why and is no value; nothing is raised.
    edition: of the rules, an older one for what was printed by it.
    """
    lacking, known = _lacking(definition, inputs), [each for each in inputs if each.counts]
    empty = Derived(
        definition.unit,
        _basis(definition, known),
        entered=tuple(Entered(each, 0.0, 0.0) for each in inputs),
        lacking=lacking,
        edition=edition,
    )
    if lacking and (definition.all_needed or not known):
        return replace(empty, why="; ".join(lacking))
    why = _why_none(definition, known)
    if why:
        return replace(empty, why=why)
    try:
        entered = _entered(definition, known)
    except CalculationError as error:
        return replace(empty, why=str(error))
    return replace(_decided(definition, empty.basis, entered, edition), lacking=lacking)


def _basis(definition: Definition, known: Sequence[Input]) -> Basis:
    if definition.form is DerivedForm.DRY:
        return Basis.DRY
    return known[0].basis if known else Basis.AS_RECEIVED


def _lacking(definition: Definition, inputs: Sequence[Input]) -> tuple[str, ...]:
    """Terms without a result, each with why."""
    said = [f"{each.label}: {each.why or 'no value'}" for each in inputs if not each.counts]
    absent = set(range(len(definition.terms))) - {each.term for each in inputs}
    said += [f"{definition.terms[place].element} was not asked for" for place in sorted(absent)]
    return tuple(dict.fromkeys(said))


def _why_none(definition: Definition, known: Sequence[Input]) -> str:
    """Why nothing can be computed of what is known: two bases, a mass or a moisture that lacks; "" where it can."""
    if definition.form is DerivedForm.DRY:
        return "" if all(_is_dry(each) or _moist(each) for each in known) else "the moisture of the sample is not known"
    if len({each.basis for each in known}) > 1:
        return "its results are not all on one basis"
    if definition.of_set and not all(each.mass_kg and each.mass_kg > 0 for each in known):
        return "a sample of the set has no mass"
    return ""


def _is_dry(each: Input) -> bool:
    return each.basis is Basis.DRY


def _moist(each: Input) -> bool:
    return each.moisture_percent is not None and 0 <= each.moisture_percent < 100


def _entered(definition: Definition, inputs: Sequence[Input]) -> tuple[Entered, ...]:
    """Each result once, with its factors in both parts. Raises UnlikeUnits where a unit does not lead to a term."""
    mass = fsum(each.mass_kg or 0.0 for each in inputs)
    found: dict[object, Entered] = {}
    for place, each in enumerate(inputs):
        term = definition.terms[each.term]
        scale = term.factor * conversion(term.element, each.reported_as, each.unit, term.reported_as, term.unit)
        if definition.of_set:
            scale *= (each.mass_kg or 0.0) / mass
        if definition.form is DerivedForm.DRY and not _is_dry(each):
            scale *= 100.0 / (100.0 - (each.moisture_percent or 0.0))
        key = (place,) if each.key is None else each.key
        before = found.get(key, Entered(each, 0.0, 0.0))
        a, b = (before.a + scale, before.b) if term.part == "a" else (before.a, before.b + scale)
        found[key] = Entered(before.given, a, b)
    return tuple(found.values())


def _decided(definition: Definition, basis: Basis, entered: Sequence[Entered], edition: int) -> Derived:
    """Value, range or bound, from unrounded numbers."""
    known = _with_limits(definition, basis, entered, edition)
    low, high = bounds(definition, entered)
    if any(each.given.value is None for each in entered):
        return _bounded(known, low, high, "> and < at once: over range", (Mark.OVER_RANGE,))
    if not any(each.given.is_below for each in entered):
        value = value_at(definition, entered, {})
        return replace(known, value=value, why="" if value is not None else "it would be divided by nothing")
    return _with_below(definition, known, low, high)


def _with_below(definition: Definition, known: Derived, low: float, high: float) -> Derived:
    of_a = [each for each in known.entered if each.a]
    of_b = [each for each in known.entered if each.b]
    if of_b and all(each.given.is_below for each in of_b):
        return _bounded(known, low, high, "nothing was found of what it is divided by", ())
    if known.edition > 1 and not isfinite(high):
        return _bounded(known, low, high, "it would be divided by nothing", ())
    if all(each.given.is_below for each in of_a) and (known.edition == 1 or high > 0):
        is_zero = definition.below is BelowInSum.ZERO
        bound = known.detection_limit if is_zero and known.edition == 1 else high
        value = 0.0 if is_zero else None
        return replace(known, value=value, sign="<", bound=bound, marks=(Mark.BELOW_DETECTION,))
    if definition.below is BelowInSum.RANGE:
        return replace(known, low=low, high=high, u=None)
    value = value_at(definition, known.entered, _put(definition, known.entered))
    return _open_above(replace(known, value=value), high)


def _open_above(known: Derived, high: float) -> Derived:
    """A value that may be more, up to `high`; below the detection limit of the whole that is all that is known."""
    if known.edition == 1 or known.value is None:
        return known
    if known.value < known.detection_limit < high:
        return replace(known, sign="<", bound=high)
    return replace(known, at_most=high)


def _bounded(known: Derived, low: float, high: float, why: str, marks: tuple[Mark, ...]) -> Derived:
    """More than what is known at least, or less than what is known at most; where neither says anything, words."""
    if low > 0 and isfinite(low):  # a whole that is known to be nothing bounds nothing
        return replace(known, sign=">", bound=low, u=None, marks=marks)
    if known.edition > 1 and high <= 0:
        return replace(known, why="nothing of it would be left", u=None, marks=marks)
    if isfinite(high) and not (known.unit == "%" and high >= 100.0):
        return replace(known, sign="<", bound=high, u=None, marks=marks)
    return replace(known, why=why, u=None, marks=marks)


def _with_limits(definition: Definition, basis: Basis, entered: Sequence[Entered], edition: int) -> Derived:
    """Limits and uncertainty at the point where what was not found is zero, or at its limit as the rule says."""
    put = _put(definition, entered)
    slopes = derivatives(definition, entered, put)
    factors = [each.given.coverage_factor for each in entered]
    limits = [(each.given.detection_limit, each.given.quantification_limit) for each in entered]
    detection, quantification = (
        root_of_squares(slope * pair[place] for slope, pair in zip(slopes, limits, strict=True)) for place in (0, 1)
    )
    return Derived(
        unit=definition.unit,
        basis=basis,
        detection_limit=detection,
        quantification_limit=quantification,
        u=combined(slopes, entered, edition),
        coverage_factor=max(factors),
        entered=tuple(entered),
        edition=edition,
    )


def _put(definition: Definition, entered: Sequence[Entered]) -> dict[int, float]:
    """What stands in place of the value of an input: below its limit as the rule says, over range the top."""
    at_limits = definition.below is not BelowInSum.ZERO
    put = {
        place: each.given.detection_limit if at_limits else 0.0
        for place, each in enumerate(entered)
        if each.given.is_below
    }
    over = {place: each.given.upper_limit or 0.0 for place, each in enumerate(entered) if each.given.value is None}
    return put | over
