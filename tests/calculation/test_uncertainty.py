"""Uncertainties combined and expanded, and replicates summed up."""

import math

import pytest

from labresults.calculation.errors import NotPhysical, TooFewValues
from labresults.calculation.replicates import summarise
from labresults.calculation.uncertainty import (
    combine,
    coverage_factor,
    effective_degrees_of_freedom,
    expand,
    u_of_concentration,
)
from tests.calculation.published import as_printed, published, to_digits

UNCERTAINTY = published("uncertainty")


def test_a_product_of_three_inputs() -> None:
    # given GUM, G.4.1, in relative form
    case = UNCERTAINTY["product of three"]
    contributions, degrees = case["inputs"]["relative_u_percent"], case["inputs"]["degrees_of_freedom"]
    # when
    u = combine(contributions)
    effective = effective_degrees_of_freedom(contributions, degrees)
    k = coverage_factor(0.95, effective)
    # then
    assert u == as_printed(case["expected"]["uc_percent"])
    assert effective == as_printed(case["expected"]["nu_eff"])
    assert k == as_printed(case["expected"]["t95_19"])
    assert expand(u, k) == as_printed(case["expected"]["U95_percent"])


def test_a_cadmium_standard_keeps_its_figures_to_the_end() -> None:
    # given QUAM, example A1: rectangular purity and temperature, triangular flask
    case = UNCERTAINTY["cadmium standard"]
    given, expected = case["inputs"], case["expected"]
    u_purity = given["P_halfwidth_rect"] / math.sqrt(3)
    u_volume = combine(
        [
            given["V_tolerance_triangular_mL"] / math.sqrt(6),
            given["V_repeatability_sd_mL"],
            given["V_temperature_halfwidth_rect_mL"] / math.sqrt(3),
        ]
    )
    concentration = 1000.0 * given["m_mg"] * given["P"] / given["V_mL"]
    # when combined without rounding in between
    relative = combine([u_purity / given["P"], given["u_m_mg"] / given["m_mg"], u_volume / given["V_mL"]])
    # then
    assert concentration == as_printed(expected["c_Cd_mg_L"])
    assert (u_purity, u_volume) == (as_printed(expected["u_P"]), as_printed(expected["u_V_mL"]))
    assert concentration * relative == as_printed(expected["u_c_unrounded_chain"])


@pytest.mark.parametrize(("c", "expected"), [(0.0, 0.3), (-4.0, 0.5), (4.0, 0.5), (4000.0, 400.0)])
def test_uncertainty_has_a_floor_and_grows_with_the_content(c: float, expected: float) -> None:
    assert u_of_concentration(c, 0.3, 0.1) == pytest.approx(expected, rel=1e-6)


def test_exactly_known_contributions_have_infinite_degrees_of_freedom() -> None:
    assert effective_degrees_of_freedom([1.0, 2.0], [math.inf, math.inf]) == math.inf
    assert coverage_factor(0.95, math.inf) == pytest.approx(1.959964, abs=5e-7)  # normal quantile, from memory


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(TooFewValues):
        effective_degrees_of_freedom([1.0], [])
    with pytest.raises(NotPhysical):
        effective_degrees_of_freedom([1.0], [0.0])
    with pytest.raises(NotPhysical):
        coverage_factor(1.0, 5.0)
    with pytest.raises(NotPhysical):
        expand(1.0, 0.0)


def test_replicates_agree_with_certified_values() -> None:
    # given NIST StRD Michelso, 100 values that differ in their fourth digit
    case = published("regression")["michelso"]
    found = summarise([float(text) for text in case["inputs"]["values"]])
    assert found.mean == to_digits(case["expected"]["mean"], 14)
    assert found.sd == to_digits(case["expected"]["sd"], 13)
    assert found.count == 100


def test_a_single_replicate_has_no_spread() -> None:
    found = summarise([4.0])
    assert (found.mean, found.sd, found.relative_sd_percent) == (4.0, None, None)
    assert summarise([9.0, 11.0]).relative_sd_percent == pytest.approx(14.142136, abs=5e-7)  # 100 √2 / 10
    with pytest.raises(TooFewValues):
        summarise([])
