"""Derived results: what cannot be computed says why; on which basis they are; what is known at the very limits."""

from dataclasses import replace

import pytest

from labresults.calculation.derived import derive
from labresults.calculation.derived_terms import Term
from labresults.terms import Basis, BelowInSum, Mark
from tests.calculation.derived_builders import a_set, a_share, a_sum, found, shipped


@pytest.mark.parametrize(
    ("moisture", "value", "why"),
    [
        (0.0, 90.0, ""),
        (99.0, 9000.0, ""),
        (100.0, None, "the moisture of the sample is not known"),  # nothing would be left to divide by
        (-0.1, None, "the moisture of the sample is not known"),
    ],
)
def test_a_moisture_leaves_something_dry(moisture: float, value: float | None, why: str) -> None:
    definition = shipped("dry-cu")
    derived = derive(definition, found(definition, {"Cu": 90.0}, "mg/kg", moisture_percent=moisture))
    assert derived.value == (value and pytest.approx(value))
    assert derived.why == why


@pytest.mark.parametrize(
    ("lead", "why"),
    [
        (0.0, "it would be divided by nothing"),  # found, without a limit to be below
        (-0.1, "nothing was found of what it is divided by"),  # below its limit of nothing: more than nothing, no bound
    ],
)
def test_nothing_to_divide_by_is_said_and_is_no_bound(lead: float, why: str) -> None:
    definition = a_share()
    derived = derive(definition, found(definition, {"Cu": 1.0, "Pb": lead, "Zn": lead}, "mg/kg", u=0.1))
    assert (derived.value, derived.sign, derived.bound, derived.why) == (None, "", None, why)


@pytest.mark.parametrize(
    ("calcium", "why"),
    [
        ({"over_range": True, "upper_limit": None}, "Ca: no value"),  # over a range whose end nobody knows
        ({"over_range": False, "upper_limit": 100.0}, "Ca: no value"),
        ({"over_range": False, "why": "spilled"}, "Ca: spilled"),
    ],
)
def test_what_has_no_value_is_named_and_left_out_where_it_may_be(calcium: dict[str, object], why: str) -> None:
    definition = a_sum("Ca", "Mg")
    inputs = found(definition, {"Ca": 1.0, "Mg": 4.0}, "mg/L", u=0.3)
    inputs[0] = replace(inputs[0], value=None, **calcium)  # type: ignore[arg-type]
    for edition in (1, 2):
        none = derive(definition, inputs, edition)
        assert (none.value, none.sign, none.why, none.lacking, none.edition) == (None, "", why, (why,), edition)
        assert [each.given for each in none.entered] == inputs
    without = derive(replace(definition, all_needed=False), inputs)
    assert (without.value, without.sign, without.lacking) == (4.0, "", (why,))
    assert [each.given for each in without.entered] == inputs[1:]


@pytest.mark.parametrize(
    ("code", "basis", "expected"),
    [
        ("hardness", Basis.AS_RECEIVED, Basis.AS_RECEIVED),
        ("hardness", Basis.DRY, Basis.DRY),
        ("dry-cu", Basis.DRY, Basis.DRY),
    ],
)
def test_it_is_on_the_basis_that_its_results_are_on(code: str, basis: Basis, expected: Basis) -> None:
    definition = shipped(code)
    values = {term.element: 5.0 for term in definition.terms}
    derived = derive(definition, found(definition, values, definition.terms[0].unit, basis=basis))
    assert (derived.basis, derived.why, derived.expanded_u) == (expected, "", None)


def test_the_keys_of_what_it_stands_on_each_once_and_in_order() -> None:
    definition = shipped("base-saturation")
    values = {"Ca": 6.0, "Mg": 0.0, "K": 0.0, "Na": 0.0, "Al": 2.0}
    key = {"Ca": 9, "Mg": 3, "K": 4, "Na": 5, "Al": None}
    assert derive(definition, found(definition, values, "cmol(+)/kg", key=key)).keys == (3, 4, 5, 9)


def test_a_set_is_weighed_with_masses_above_zero() -> None:
    members = a_set([(1.0, 5.0), (3.0, 9.0)])
    assert derive(shipped("grade-au"), members).value == 8.0  # (1 × 5 + 3 × 9) / 4
    for mass_kg in (0.0, -1.0, None):
        none = derive(shipped("grade-au"), [members[0], replace(members[1], mass_kg=mass_kg)])
        assert none.why == "a sample of the set has no mass"


def test_results_without_a_key_are_each_of_their_own() -> None:
    definition = a_sum("Ca", "Mg")
    assert derive(definition, found(definition, {"Ca": 4.0, "Mg": 6.0}, "mg/L", key=None)).value == 10.0


def test_a_moisture_is_left_alone_where_the_basis_is_not_changed() -> None:
    definition = a_sum("Ca", "Mg")
    inputs = found(definition, {"Ca": 4.0, "Mg": 6.0}, "mg/L", moisture_percent=50.0)
    assert derive(definition, inputs).value == 10.0


# ---------------------------------------------------------------- bounds at their own limits, by both editions


# 100 Cu / (Pb + Zn), where lead was found to be nothing and zinc is below 1: at least 100 × 1 / 1, and no end above.
@pytest.mark.parametrize(
    ("copper", "edition", "known"),
    [
        (1.0, 2, (">", 100.0, "")),
        (0.1, 2, ("", None, "it would be divided by nothing")),  # and with copper below 0.5, no end below
        (0.1, 1, ("<", 0.0, "")),  # as it was
    ],
)
def test_what_may_be_divided_by_nothing(copper: float, edition: int, known: tuple[str, float | None, str]) -> None:
    definition = a_share(BelowInSum.ZERO)
    limits = {"Cu": 0.5, "Pb": 0.0, "Zn": 1.0}
    inputs = found(definition, {"Cu": copper, "Pb": 0.0, "Zn": 0.1}, "mg/kg", detection_limit=limits)
    derived = derive(definition, inputs, edition)
    assert (derived.sign, derived.bound, derived.why) == known


# The sum of Ca and Mg: values, detection limits; what is known. By hand: √(3² + 4²) = 5, and 3 + 4 = 7.
@pytest.mark.parametrize(
    ("values", "limits", "rule", "edition", "known"),
    [
        ((1.0, 1.0), (3.0, 4.0), BelowInSum.ZERO, 1, (0.0, "<", 5.0, None)),
        ((1.0, 1.0), (3.0, 4.0), BelowInSum.LIMIT, 1, (None, "<", 7.0, None)),
        ((1.0, 1.0), (3.0, 4.0), BelowInSum.LIMIT, 2, (None, "<", 7.0, None)),
        # calcium found to be nothing, without a limit: what is known is from 0 to 5, the limit itself
        ((0.0, 1.0), (0.0, 5.0), BelowInSum.ZERO, 2, (0.0, "", None, 5.0)),
        ((0.0, 1.0), (0.0, 5.0), BelowInSum.ZERO, 1, (0.0, "", None, None)),
    ],
)
def test_where_little_or_nothing_is_found(
    values: tuple[float, float], limits: tuple[float, float], rule: BelowInSum, edition: int,
    known: tuple[float | None, str, float | None, float | None],
) -> None:  # fmt: skip
    definition = a_sum("Ca", "Mg", below=rule)
    inputs = found(
        definition, dict(zip(("Ca", "Mg"), values, strict=True)), "mg/L",
        detection_limit=dict(zip(("Ca", "Mg"), limits, strict=True)),
    )  # fmt: skip
    derived = derive(definition, inputs, edition)
    assert (derived.value, derived.sign, derived.bound, derived.at_most) == known


FLUORINE = (Term("a", "Ca", "Ca", "mg/kg"), Term("a", "F", "F", "mg/kg", -0.421))
"""Of a content the oxygen that fluorine stands for is taken away."""


@pytest.mark.parametrize(
    ("calcium", "edition", "known"),
    [
        (200.0, 2, ("<", 195.79, "")),  # 200 − 0.421 × 10, fluorine being over 10
        (1.0, 2, ("", None, "nothing of it would be left")),
        (1.0, 1, ("<", -3.21, "")),  # as it was
    ],
)
def test_what_an_unknown_amount_is_taken_from_is_at_most_the_rest(
    calcium: float, edition: int, known: tuple[str, float | None, str]
) -> None:
    definition = a_sum("Ca", unit="mg/kg", terms=FLUORINE)
    over = {"over_range": {"Ca": False, "F": True}, "upper_limit": {"Ca": None, "F": 10.0}}
    derived = derive(definition, found(definition, {"Ca": calcium, "F": None}, "mg/kg", u=0.1, **over), edition)
    sign, bound, why = known
    assert (derived.sign, derived.bound, derived.why) == (sign, bound and pytest.approx(bound), why)
    assert (derived.u, derived.marks) == (None, (Mark.OVER_RANGE,))


def test_nothing_less_what_was_not_found_is_nothing() -> None:
    """Calcium reads −0.1 and has no limit, fluorine is below 1: at most 0, and 0.421 × 1 is the limit of the sum."""
    definition = a_sum("Ca", unit="mg/kg", terms=FLUORINE)
    inputs = found(definition, {"Ca": -0.1, "F": 0.1}, "mg/kg", detection_limit={"Ca": 0.0, "F": 1.0})
    now, before = derive(definition, inputs), derive(definition, inputs, 1)
    assert (now.value, now.sign, now.at_most) == (0.0, "", 0.0)
    assert (before.sign, before.bound) == ("<", pytest.approx(0.421))


def test_a_bound_may_be_less_than_one_and_has_no_u_where_nothing_is_known() -> None:
    definition = a_sum("Ca", "Mg")
    over = {"over_range": {"Ca": True, "Mg": False}, "upper_limit": 0.25}
    derived = derive(definition, found(definition, {"Ca": None, "Mg": 0.25}, "mg/L", u=0.1, **over))
    assert (derived.sign, derived.bound) == (">", 0.5)
    sar = shipped("sar")
    both = {"over_range": {"Na": True, "Ca": True, "Mg": False}, "upper_limit": 9.0}
    nothing = derive(sar, found(sar, {"Na": None, "Ca": None, "Mg": 8.0}, "mmol(c)/L", u=0.1, **both))
    assert (nothing.why, nothing.u) == ("> and < at once: over range", None)
