"""What a derived result is made of: its terms, the factor that brings a measured result into a term, and its words.

| a result | in | enters as | in | factor | because |
|---|---|---|---|---|---|
| Ca | mg/L | CaCO3 | mg/L | 2.497 | M(CaCO3) / M(Ca) |
| Mg | mg/L | CaCO3 | mg/L | 4.118 | by charge: M(CaCO3) / M(Mg), both of two charges |
| Na | mg/L | Na | mmol(c)/L | 0.04350 | z / M |
| Al2O3 | % | Al | mg/kg | 5292.6 | 10 000 × 2 M(Al) / M(Al2O3) |

Every factor follows from the atomic weights (`stoichiometry.WEIGHTS_EDITION`) and from exact factors of units.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Any

from labresults.calculation.atomic_weights.ciaaw_2024 import ELEMENTS
from labresults.calculation.errors import CalculationError, UnlikeUnits
from labresults.calculation.stoichiometry import (
    charge_factor,
    compound_factor,
    formula_weight,
    parse_formula,
)
from labresults.calculation.units import Kind, factor, unit
from labresults.terms import BelowInSum, DerivedForm

SOLUTION_CHARGE = "mmol(c)/L"
"""Charge of a cation per volume: what is also written meq/L."""

EQUIVALENTS = {"CaCO3": 2}
"""Compounds that other cations are given as, by charge, and how many charges their formula stands for."""

OF_TWO_PARTS = frozenset({DerivedForm.PERCENT, DerivedForm.ROOT_RATIO})
OF_ONE_TERM = frozenset({DerivedForm.DRY, DerivedForm.WEIGHTED_MEAN})
KEYS = frozenset({"part", "element", "as", "unit", "factor", "by"})


@dataclass(frozen=True)
class Term:
    """One summand of a part: `factor` × the content of `element`, given as `reported_as`, in `unit`.

    by: codes of the methods that may have measured it, the preferred one first; empty: any, as long as it is one.
    """

    part: str  # "a" or "b"
    element: str
    reported_as: str
    unit: str
    factor: float = 1.0
    by: tuple[str, ...] = ()

    def words(self) -> str:
        """The term as a formula shows it: "Ca as CaCO3", "0.5 × Mg"."""
        named = self.element if self.reported_as == self.element else f"{self.element} as {self.reported_as}"
        return named if self.factor == 1.0 else f"{factor_in_words(self.factor)} × {named}"


def factor_in_words(number: float) -> str:
    """Return a factor as it was entered, with every figure that the calculation uses: "0.42141573", "2"."""
    return repr(float(number)).removesuffix(".0")


@dataclass(frozen=True)
class Definition:
    """A derived result by its form and its terms; what of it is data, in one value."""

    code: str
    version: int
    name: str
    reported_as: str
    unit: str
    form: DerivedForm
    terms: tuple[Term, ...]
    below: BelowInSum
    all_needed: bool
    source: str
    remark: str = ""

    def of_part(self, part: str) -> list[Term]:
        """The terms of a part, in their order."""
        return [term for term in self.terms if term.part == part]

    @property
    def of_set(self) -> bool:
        """Whether it is computed over a set of samples, and not for each of them."""
        return self.form is DerivedForm.WEIGHTED_MEAN


def terms_of(raw: Sequence[Mapping[str, Any]]) -> tuple[Term, ...]:
    """Return the terms as they are stored, or as a file gives them.

    Raises KeyError, TypeError or ValueError for what is no term.
    """
    return tuple(
        Term(
            part=str(each.get("part", "a")),
            element=str(each["element"]),
            reported_as=str(each.get("as") or each["element"]),
            unit=str(each["unit"]),
            factor=float(each.get("factor", 1.0)),
            by=tuple(str(code) for code in each.get("by", ())),
        )
        for each in raw
    )


def conversion(element: str, from_as: str, from_unit: str, to_as: str, to_unit: str) -> float:
    """Return what a result is multiplied by to be a term [1]: another compound, another unit, charge.

    Raises UnlikeUnits between mass and volume (no density is guessed), UnknownUnit, UnknownCompound.
    """
    if (from_as, from_unit) == (to_as, to_unit):
        return 1.0
    (base, out), (wanted, into) = _to_base(element, from_as, from_unit), _to_base(element, to_as, to_unit)
    if base != wanted:
        raise UnlikeUnits(
            f"{from_as} in {from_unit} cannot become {to_as} in {to_unit}: one is per mass, the other per volume. "
            "Measure both in units of one kind."
        )
    return out / into


def _to_base(element: str, reported_as: str, in_unit: str) -> tuple[str, float]:
    """The plain unit of the element, mg/kg or mg/L, and the factor that leads there."""
    if in_unit == SOLUTION_CHARGE or unit(in_unit).kind is Kind.CHARGE:
        _, per_kg = charge_factor(reported_as)  # cmol(+)/kg for each mg/kg: z / (10 M)
        return ("mg/L", 0.1 / per_kg) if in_unit == SOLUTION_CHARGE else ("mg/kg", 1.0 / per_kg)
    base = "mg/L" if unit(in_unit).kind is Kind.MASS_CONCENTRATION else "mg/kg"
    return base, float(factor(in_unit, base)) / _as_factor(reported_as, element)


def _as_factor(reported_as: str, element: str) -> float:
    """What a content of the element is multiplied by to be given as the compound, by atoms or, by custom, by charge."""
    if reported_as in EQUIVALENTS and element not in dict(parse_formula(reported_as)):
        _, per_kg = charge_factor(element)
        return formula_weight(reported_as) / EQUIVALENTS[reported_as] * 10.0 * per_kg
    return compound_factor(reported_as, element)


def formula_in_words(definition: Definition) -> str:
    """Return the formula as a reader writes it, with the unit that its terms are in."""
    a, b = (_added(definition.of_part(part)) for part in "ab")
    each = f"each in {definition.terms[0].unit}"
    if definition.form is DerivedForm.PERCENT:
        return f"100 × ({a}) ÷ ({b}), {each}"
    if definition.form is DerivedForm.ROOT_RATIO:
        return f"{a} ÷ √(({b}) ÷ 2), {each}"
    if definition.form is DerivedForm.DRY:
        return f"{a} ÷ (1 − moisture ÷ 100), moisture in %"
    if definition.form is DerivedForm.WEIGHTED_MEAN:
        return f"Σ (mass × {a}) ÷ Σ mass, over the samples of a set, {definition.terms[0].unit}"
    return f"{a}, {each}"


def _added(terms: Sequence[Term]) -> str:
    return " + ".join(term.words() for term in terms).replace("+ -", "− ")


def below_in_words(definition: Definition) -> str:
    """Return in one sentence what a term below its detection limit counts as."""
    what = "A sample" if definition.of_set else "A term"
    in_bounds = ", and as its limit in what stands after <" if definition.below is BelowInSum.ZERO else ""
    return f"{what} below its detection limit counts {definition.below.value}{in_bounds}."


@dataclass(frozen=True)
class Flaw:
    """What is wrong with a definition: at which term (from 1; None: the whole), in which column, and what to do."""

    term: int | None
    column: str
    what: str
    what_to_do: str


def flaws_of(definition: Definition) -> list[Flaw]:
    """Return everything that keeps a definition from being computed, in the order of its terms."""
    flaws = [flaw for number, term in enumerate(definition.terms, start=1) for flaw in _flaws_of_term(number, term)]
    flaws += _flaws_of_parts(definition)
    if not flaws:
        flaws += _flaws_of_unit(definition)
    return flaws


def _flaws_of_term(number: int, term: Term) -> Iterator[Flaw]:
    if term.part not in ("a", "b"):
        yield Flaw(number, "part", f"There is no part “{term.part}”.", "Write a or b.")
    if not isfinite(term.factor) or term.factor == 0:
        yield Flaw(number, "factor", f"A factor of {term.factor:g} says nothing.", "Give a number that is not zero.")
    if term.element not in ELEMENTS:
        yield Flaw(number, "element", f"{term.element} is not an element.", "Write its symbol, such as Ca.")
        return
    try:
        _to_base(term.element, term.reported_as, term.unit)
    except CalculationError as error:
        column = "unit" if isinstance(error, UnlikeUnits) else "as"
        yield Flaw(number, column, str(error), "Correct the form or the unit of the term.")


def _flaws_of_parts(definition: Definition) -> Iterator[Flaw]:
    form, of_b = definition.form, definition.of_part("b")
    if not definition.of_part("a"):
        yield Flaw(None, "terms", "There is no term in part a.", "Enter at least one.")
    if form in OF_TWO_PARTS and not of_b:
        yield Flaw(None, "terms", f"“{form.value}” needs terms in part b.", "Enter what it is divided by.")
    if form not in OF_TWO_PARTS and of_b:
        yield Flaw(None, "terms", f"“{form.value}” has no part b.", "Put every term into part a.")
    if form in OF_ONE_TERM and len(definition.terms) > 1:
        yield Flaw(None, "terms", f"“{form.value}” has one term.", "Enter one definition for each element.")
    if form is not DerivedForm.SUM:
        for number, term in enumerate(definition.terms, start=1):
            if term.factor < 0:
                yield Flaw(number, "factor", "Only a sum may take something away.", "Give a factor above zero.")
    for part in "ab":
        elements = [term.element for term in definition.of_part(part)]
        twice = sorted({element for element in elements if elements.count(element) > 1})
        if twice:
            yield Flaw(None, "terms", f"{', '.join(twice)} stands twice in part {part}.", "Enter each element once.")


def _flaws_of_unit(definition: Definition) -> Iterator[Flaw]:
    units = list(dict.fromkeys(term.unit for term in definition.terms))
    if len(units) > 1:
        yield Flaw(None, "terms", f"The terms are in {' and in '.join(units)}.", "Give all of them one unit.")
    elif definition.form is DerivedForm.PERCENT and definition.unit != "%":
        yield Flaw(None, "unit", f"A part of a sum is given in %, not in {definition.unit}.", "Write %.")
    elif definition.form not in OF_TWO_PARTS and definition.unit != units[0]:
        what = f"The terms are in {units[0]}, and the result would be in {definition.unit}."
        yield Flaw(None, "unit", what, "Give both the same unit.")
