"""What holds for every derived result: order, units and names of the inputs change nothing that they should not."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labresults.calculation.derived import Derived, derive
from labresults.calculation.derived_formula import Input, bounds, derivatives
from labresults.calculation.derived_terms import Definition
from labresults.terms import BelowInSum
from tests.calculation.derived_builders import a_set, found, shipped

AMOUNT = st.floats(0.001, 1e4)
LIMIT = st.floats(0.001, 10.0)
OF_SAMPLES = st.sampled_from(["hardness", "sar", "cec", "base-saturation", "oxides"])
RULES = st.sampled_from(list(BelowInSum))


@st.composite
def derivations(draw: st.DrawFn) -> tuple[Definition, list[Input]]:
    """A shipped definition by any rule, with an amount, a limit and an uncertainty at each term."""
    definition = replace(shipped(draw(OF_SAMPLES)), below=draw(RULES))
    elements = list(dict.fromkeys(term.element for term in definition.terms))
    values = {element: draw(AMOUNT) for element in elements}
    limits = {element: draw(LIMIT) for element in elements}
    u = {element: draw(LIMIT) for element in elements}
    inputs = found(
        definition, values, definition.terms[0].unit, detection_limit=limits, quantification_limit=limits, u=u
    )
    return definition, inputs


def numbers(derived: Derived) -> tuple[object, ...]:
    return (
        derived.value, derived.sign, derived.bound, derived.low, derived.high, derived.detection_limit, derived.u,
        derived.why,
    )  # fmt: skip


@given(derivations(), st.randoms(use_true_random=False))
def test_the_order_of_the_terms_changes_nothing(derivation: tuple[Definition, list[Input]], chance: object) -> None:
    definition, inputs = derivation
    shuffled = list(inputs)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]
    assert numbers(derive(definition, shuffled)) == numbers(derive(definition, inputs))


@given(derivations())
def test_the_unit_of_the_inputs_changes_nothing_but_the_last_bits(
    derivation: tuple[Definition, list[Input]],
) -> None:
    definition, inputs = derivation
    if definition.terms[0].unit not in {"mg/L", "%"}:
        return
    other, by = {"mg/L": ("ug/L", 1000.0), "%": ("mg/kg", 10_000.0)}[definition.terms[0].unit]
    scaled = [
        replace(
            each, unit=other, value=by * (each.value or 0.0), detection_limit=by * each.detection_limit,
            quantification_limit=by * each.quantification_limit, u=by * (each.u or 0.0),
        )
        for each in inputs
    ]  # fmt: skip
    if any(one.is_below != two.is_below for one, two in zip(inputs, scaled, strict=True)):
        return  # a value at its limit, which the scaling moved by a bit
    for one, two in zip(numbers(derive(definition, inputs)), numbers(derive(definition, scaled)), strict=True):
        assert one == (pytest.approx(two, rel=1e-9) if isinstance(two, float) else two)


@given(derivations())
def test_the_value_lies_within_its_bounds(derivation: tuple[Definition, list[Input]]) -> None:
    definition, inputs = derivation
    derived = derive(definition, inputs)
    if derived.value is None or derived.sign or not derived.entered:
        return
    low, high = bounds(definition, derived.entered)
    assert low * (1 - 1e-12) <= derived.value <= high * (1 + 1e-12)


@given(derivations())
def test_a_bound_holds_for_all_that_the_inputs_allow(derivation: tuple[Definition, list[Input]]) -> None:
    """Whatever lies between zero and its limit where it was not found, and is what was found elsewhere."""
    definition, inputs = derivation
    derived = derive(definition, inputs)
    if derived.sign:
        low, high = bounds(definition, derived.entered)
        assert derived.bound == (high if derived.sign == "<" else low)
        assert derived.bound > 0


@given(derivations())
def test_what_one_portion_shares_never_makes_u_smaller_nor_more_than_all_together(
    derivation: tuple[Definition, list[Input]],
) -> None:
    """GUM 5.2.2, note 1: between the root of the sum of squares and the sum of |c u|."""
    definition, inputs = derivation
    apart, together = (derive(definition, [replace(each, portion=of) for each in inputs]) for of in ("", "7"))
    if apart.u is None or together.u is None:
        return
    at_limits = definition.below is not BelowInSum.ZERO
    below = {place: each.given for place, each in enumerate(apart.entered) if each.given.is_below}
    at = {place: given.detection_limit if at_limits else 0.0 for place, given in below.items()}
    slopes = derivatives(definition, apart.entered, at)
    shares = [abs(slope * (each.given.u or 0.0)) for slope, each in zip(slopes, apart.entered, strict=True)]
    assert apart.u * (1 - 1e-12) <= together.u <= sum(shares) * (1 + 1e-12)


@given(st.lists(st.tuples(st.floats(0.01, 1e3), st.floats(0.0, 1e3)), min_size=1, max_size=30), st.floats(0.1, 10.0))
@settings(max_examples=50)
def test_a_grade_lies_between_the_least_and_the_most_and_does_not_ask_for_the_unit_of_mass(
    rows: list[tuple[float, float]], by: float
) -> None:
    grade = derive(shipped("grade-au"), a_set(rows)).value
    assert grade is not None
    values = [value for _, value in rows]
    assert min(values) - 1e-9 <= grade <= max(values) + 1e-9
    again = derive(shipped("grade-au"), a_set([(mass * by, value) for mass, value in rows])).value
    assert again == pytest.approx(grade, rel=1e-9, abs=1e-12)
