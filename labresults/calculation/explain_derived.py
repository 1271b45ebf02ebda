"""A derived result's calculation written out with its numbers: seven figures are shown, none is rounded in between."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from labresults.calculation.derived import Derived
from labresults.calculation.derived_formula import Entered, derivatives, intervals, tied, value_at
from labresults.calculation.derived_terms import (
    OF_TWO_PARTS,
    SOLUTION_CHARGE,
    Definition,
    factor_in_words,
    formula_in_words,
)
from labresults.calculation.explain_solution import seven
from labresults.calculation.run import Step
from labresults.calculation.stoichiometry import WEIGHTS_EDITION
from labresults.calculation.units import UNITS
from labresults.terms import Basis, BelowInSum, DerivedForm, Mark

MOST_WRITTEN = 6
"""So many terms, or groups of them, are written out under a root; of more their number is said."""


@dataclass(frozen=True)
class DerivedStep(Step):
    """One line of it; `result`: key of the result that it begins with, for the way back."""

    result: int | None = None


def explain_derived(definition: Definition, derived: Derived) -> tuple[DerivedStep, ...]:
    """Return the calculation step by step: each term, the parts, the formula, limits, uncertainty, the result.

    Of one that has no value the terms only, as far as they were found. The last value of a number is its own, to the
    last bit.
    """
    put = {
        place: 0.0 if definition.below is BelowInSum.ZERO else each.given.detection_limit
        for place, each in enumerate(derived.entered)
        if each.given.is_below
    }
    steps = [
        _term_step(definition, place, each, put) for place, each in enumerate(derived.entered) if each.given.counts
    ]
    if derived.why:
        return tuple(steps)
    if derived.value is not None and not derived.sign:
        steps += _formula_steps(definition, derived, put)
    elif derived.low is not None and derived.high is not None:
        ends = (("With nothing of it", derived.low), ("With all of its limit", derived.high))
        steps += [_plain(what, definition.below.value, value, derived.unit) for what, value in ends]
    return (*steps, *_limit_steps(definition, derived, put), *_bound_step(definition, derived))


def _term_step(definition: Definition, place: int, each: Entered, put: dict[int, float]) -> DerivedStep:
    given, term = each.given, definition.terms[each.given.term]
    factor = each.a or each.b
    if given.value is None:
        shown, note = given.upper_limit or 0.0, "over range: at least the top of its range"
    elif place in put:
        shown = put[place]
        limit = f"{seven(given.detection_limit)} {_unit(given.unit)}"
        note = f"{given.value:.4g} {_unit(given.unit)} is below its detection limit of {limit}: counts"
        note += f" {definition.below.value}"
    else:
        shown, note = given.value, _why_factor(definition, each)
    numerator = f"{seven(shown)} {_unit(given.unit)}"
    what = f"{given.label}, {term.words()}" if not definition.of_set else given.label
    if not factor:  # nothing was computed with it
        return DerivedStep(what, "", numerator, None, shown, _unit(given.unit), given.key)
    if factor != 1.0:
        numerator += f" × {seven(factor)}"
    return DerivedStep(what, note, numerator, None, factor * shown, _unit(term.unit), given.key)


def _why_factor(definition: Definition, each: Entered) -> str:
    """What the factor is made of."""
    given, term = each.given, definition.terms[each.given.term]
    said = []
    if definition.of_set and given.mass_kg is not None:
        said.append(f"{given.mass_kg:g} kg of the set's mass, as the client says")
    if definition.form is DerivedForm.DRY and given.basis is not Basis.DRY and given.moisture_percent is not None:
        said.append(f"÷ (1 − {given.moisture_percent:g} ÷ 100), its moisture")
    if (given.reported_as, given.unit) != (term.reported_as, term.unit):
        said.append(f"atomic weights {WEIGHTS_EDITION}" if _by_weights(each, definition) else "another unit")
    if term.factor != 1.0:
        said.append(f"factor {factor_in_words(term.factor)} of the definition")
    return "; ".join(said)


def _by_weights(each: Entered, definition: Definition) -> bool:
    term = definition.terms[each.given.term]
    charged = SOLUTION_CHARGE in (each.given.unit, term.unit) or "(+)" in each.given.unit + term.unit
    return charged or each.given.reported_as != term.reported_as


def _formula_steps(definition: Definition, derived: Derived, put: dict[int, float]) -> Iterator[DerivedStep]:
    """The parts where there are two, and the whole."""
    value = value_at(definition, derived.entered, put)
    values = [put.get(place, each.given.value or 0.0) for place, each in enumerate(derived.entered)]
    a, b = (_sum_of(derived.entered, values, part) for part in "ab")
    written = {
        DerivedForm.PERCENT: (f"100 × ({a})", b),
        DerivedForm.ROOT_RATIO: (a, f"√(({b}) ÷ 2)"),
    }.get(definition.form, (a, None))
    note = f"{definition.name}: {formula_in_words(definition)}"
    yield DerivedStep("The formula", note, written[0], written[1], value or 0.0, _unit(derived.unit))


def _sum_of(entered: Sequence[Entered], values: Sequence[float], part: str) -> str:
    products = [getattr(each, part) * x for each, x in zip(entered, values, strict=True) if getattr(each, part)]
    if len(products) > 12:
        return f"sum of the {len(products)} lines above"
    return " + ".join(seven(product) for product in products).replace("+ −", "− ").replace("+ -", "− ")


def _limit_steps(definition: Definition, derived: Derived, put: dict[int, float]) -> Iterator[DerivedStep]:
    """Detection limit and uncertainty, each as it is combined."""
    slopes = derivatives(definition, derived.entered, _at(derived.entered, put))
    printed = _unit(derived.unit)
    if derived.detection_limit:
        limits = [each.given.detection_limit for each in derived.entered]
        note = "root of the sum of squares of derivative × detection limit, taken as independent"
        apart = [[place] for place in range(len(slopes))]
        yield DerivedStep(
            "Detection limit", note, _squares(slopes, limits, apart), None, derived.detection_limit, printed
        )
    if derived.u is not None and not derived.sign:
        us = [each.given.u or 0.0 for each in derived.entered]
        groups = tied(slopes, derived.entered, derived.edition)
        note = f"JCGM 100:2008 (GUM), 5.1.2; {_correlation(derived, groups)}"
        yield DerivedStep("Standard uncertainty", note, _squares(slopes, us, groups), None, derived.u, printed)
        k = f"{derived.coverage_factor:g}"
        shown = f"{k} × {seven(derived.u)}"
        yield DerivedStep("Expanded uncertainty", f"k = {k}", shown, None, derived.expanded_u or 0.0, printed)


def _at(entered: Sequence[Entered], put: dict[int, float]) -> dict[int, float]:
    over = {place: each.given.upper_limit or 0.0 for place, each in enumerate(entered) if each.given.value is None}
    return put | over


def _correlation(derived: Derived, groups: Sequence[Sequence[int]]) -> str:
    """What is taken as moving together: inputs of one calibration or of one portion, the same groups as of U."""
    shared = set()
    for group in groups:
        given = [derived.entered[place].given for place in group]
        for what in ("calibration", "portion"):
            names = [getattr(each, what) for each in given if getattr(each, what)]
            shared |= {what} if len(set(names)) < len(names) else set()
    if not shared:
        return "the results are taken as independent of each other"
    named = " or ".join(f"one {what}" for what in sorted(shared))
    side = "" if derived.edition == 1 else " that move the whole to one side"
    return f"results of {named}{side} are taken as fully correlated (5.2.2, note 1), the others as independent"


def _squares(slopes: Sequence[float], numbers: Sequence[float], groups: Sequence[Sequence[int]]) -> str:
    """√ of the sum of squares of derivative × number; those of a group are added up before they are squared."""
    counting = [[place for place in group if slopes[place] and numbers[place]] for group in groups]
    counting = [group for group in counting if group]
    if len(counting) > MOST_WRITTEN:
        single = all(len(group) == 1 for group in counting)
        return f"√ of the sum of {len(counting)} squares, {'one for each result' if single else 'one for each group'}"
    return f"√({' + '.join(f'({_added_up(slopes, numbers, group)})²' for group in counting)})"


def _added_up(slopes: Sequence[float], numbers: Sequence[float], group: Sequence[int]) -> str:
    if len(group) > MOST_WRITTEN:
        return f"sum of derivative × u of {len(group)} results"
    first = slopes[group[0]] < 0
    signs = ["" if place == group[0] else " + " if (slopes[place] < 0) is first else " − " for place in group]
    products = (f"{seven(abs(slopes[place]))} × {seven(numbers[place])}" for place in group)
    return "".join(sign + product for sign, product in zip(signs, products, strict=True))


def _bound_step(definition: Definition, derived: Derived) -> Iterator[DerivedStep]:
    """What is known of the result: the value, or a bound."""
    if derived.sign and derived.bound is not None:
        what = "At most" if derived.sign == "<" else "At least"
        yield DerivedStep(
            what, _why_bound(derived), _ends(definition, derived), None, derived.bound, _unit(derived.unit)
        )
    elif derived.value is not None:
        yield _plain("The result", f"{derived.basis.value}; unrounded", derived.value, derived.unit)


def _why_bound(derived: Derived) -> str:
    """Why there is a bound and no value."""
    if Mark.OVER_RANGE in derived.marks:
        over = [each.given.label for each in derived.entered if each.given.value is None]
        return f"{' and '.join(over)} over range"
    if derived.sign == ">":
        return "nothing was found of what it is divided by"
    if Mark.BELOW_DETECTION in derived.marks:
        return "nothing was found" if derived.edition == 1 else "nothing was found: every term at its limit"
    return "less was found than its detection limit: what was not found at its limit"


def _ends(definition: Definition, derived: Derived) -> str:
    """The bound as the sum of what its terms are at most, or at least; of two parts the number alone."""
    first = derived.edition == 1 and definition.below is BelowInSum.ZERO and Mark.BELOW_DETECTION in derived.marks
    ends = [end[derived.sign == "<"] for end in intervals(derived.entered, "a")]
    if first or definition.form in OF_TWO_PARTS or not 1 < len(ends) <= MOST_WRITTEN:
        return seven(derived.bound or 0.0)
    return " + ".join(seven(end) for end in ends).replace("+ −", "− ").replace("+ -", "− ")


def _plain(what: str, note: str, value: float, of: str) -> DerivedStep:
    return DerivedStep(what, note, seven(value), None, value, _unit(of))


def _unit(key: str) -> str:
    """A unit as it is printed; one that the table lacks as it is."""
    return UNITS[key].printed if key in UNITS else key
