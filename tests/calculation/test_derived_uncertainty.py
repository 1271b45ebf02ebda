"""Uncertainty of derived results: what is independent, what moves together, and how it is written."""

from dataclasses import replace
from math import sqrt

import pytest

from labresults.calculation.derived import derive
from labresults.calculation.explain_derived import explain_derived
from tests.calculation.derived_builders import a_set, a_sum, found, shipped


def test_uncertainty_of_a_sum_is_the_root_of_squares() -> None:
    definition = a_sum("Ca", "Mg")
    derived = derive(definition, found(definition, {"Ca": 10.0, "Mg": 20.0}, "mg/L", u={"Ca": 0.3, "Mg": 0.4}))
    assert derived.u == pytest.approx(0.5)
    assert derived.expanded_u == pytest.approx(1.0)
    assert derive(definition, found(definition, {"Ca": 1.0, "Mg": 2.0}, "mg/L", u={"Ca": 0.3, "Mg": None})).u is None


def test_uncertainty_of_a_ratio_follows_its_derivatives() -> None:
    """By the relative form of GUM 5.1.6 for y = x / √(z / 2): (u/y)² = (u_x/x)² + (u_z/(2 z))², z = Ca + Mg."""
    definition = shipped("sar")
    inputs = found(definition, {"Na": 8.0, "Ca": 3.0, "Mg": 5.0}, "mmol(c)/L", u={"Na": 0.4, "Ca": 0.09, "Mg": 0.12})
    derived = derive(definition, inputs)
    relative = sqrt((0.4 / 8.0) ** 2 + (sqrt(0.09**2 + 0.12**2) / (2 * 8.0)) ** 2)
    assert derived.value == pytest.approx(4.0)
    assert derived.u == pytest.approx(4.0 * relative)


def test_a_result_in_both_parts_counts_once() -> None:
    """y = 100 a / (a + r): dy/da = 100 r / (a + r)², dy/dr = −100 a / (a + r)² (by hand)."""
    definition = shipped("base-saturation")
    values = {"Ca": 6.0, "Mg": 0.0, "K": 0.0, "Na": 0.0, "Al": 2.0}
    inputs = found(definition, values, "cmol(+)/kg", u={"Ca": 0.1, "Mg": 0.0, "K": 0.0, "Na": 0.0, "Al": 0.2})
    expected = sqrt((100 * 2 / 64 * 0.1) ** 2 + (100 * 6 / 64 * 0.2) ** 2)
    assert derive(definition, inputs).u == pytest.approx(expected)


def test_results_of_one_calibration_go_up_and_down_together() -> None:
    """GUM 5.2.2, note 1: fully correlated uncertainties add up; a mean over one run gains nothing by its number."""
    apart = a_set([(1.0, 5.0)] * 4, u=0.2)
    together = [replace(each, calibration="one curve") for each in apart]
    assert derive(shipped("grade-au"), apart).u == pytest.approx(0.1)
    assert derive(shipped("grade-au"), together).u == pytest.approx(0.2)
    words = " ".join(step.note for step in explain_derived(shipped("grade-au"), derive(shipped("grade-au"), together)))
    assert "fully correlated" in words


def test_results_of_one_portion_go_up_and_down_together() -> None:
    """GUM 5.2.2: a mass that is 10 % wrong moves 120 and 120 together, by 24, and not by 12 √2 = 17."""
    definition = a_sum("Ca", "Mg")
    apart = found(definition, {"Ca": 120.0, "Mg": 120.0}, "mg/L", u=12.0)
    together = [replace(each, portion="7") for each in apart]
    assert derive(definition, apart).u == pytest.approx(12.0 * sqrt(2))
    assert derive(definition, together).u == pytest.approx(24.0)
    others = [replace(each, portion=str(each.key)) for each in apart]
    assert derive(definition, others).u == pytest.approx(12.0 * sqrt(2))


def test_what_a_portion_shares_is_not_taken_off_a_ratio() -> None:
    """y = x / √(z / 2), z = Ca + Mg: u_z = u_Ca + u_Mg, and Na on the other side is independent (GUM 5.1.6)."""
    definition = shipped("sar")
    u = {"Na": 0.4, "Ca": 0.09, "Mg": 0.12}
    inputs = found(definition, {"Na": 8.0, "Ca": 3.0, "Mg": 5.0}, "mmol(c)/L", u=u, portion="7")
    relative = sqrt((0.4 / 8.0) ** 2 + ((0.09 + 0.12) / (2 * 8.0)) ** 2)
    assert derive(definition, inputs).u == pytest.approx(4.0 * relative)


@pytest.mark.parametrize(
    ("shared", "written", "u"),
    [
        ({}, "√((0.25 × 0.2)² + (0.25 × 0.2)² + (0.25 × 0.2)² + (0.25 × 0.2)²)", 0.1),
        ({"calibration": "one"}, "√((0.25 × 0.2 + 0.25 × 0.2 + 0.25 × 0.2 + 0.25 × 0.2)²)", 0.2),
    ],
)
def test_the_arithmetic_of_u_is_written_as_it_is_done(shared: dict[str, str], written: str, u: float) -> None:
    """By hand: four shares of 0.25 × 0.2 = 0.05 are 0.1 when independent, and 0.2 when they move together."""
    definition = shipped("grade-au")
    derived = derive(definition, a_set([(1.0, 5.0)] * 4, u=0.2, **shared))
    (step,) = [step for step in explain_derived(definition, derived) if step.what == "Standard uncertainty"]
    assert step.numerator == written
    assert step.value == pytest.approx(u)
