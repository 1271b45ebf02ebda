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


def test_cadmium_released_by_a_dish_has_its_largest_share_from_the_curve_and_the_temperature() -> None:
    # given QUAM, example A5: a quotient of five factors
    case = UNCERTAINTY["cadmium from ceramic ware"]
    given, expected = case["inputs"], case["expected"]
    relative = {
        "curve": given["u_c0_mg_L"] / given["c0_mg_L"],
        "volume": given["u_V_L"] / given["V_L"],
        "area": given["u_a_V_dm2"] / given["a_V_dm2"],
        "acid": given["u_f_acid"],
        "time": given["f_time_halfwidth"] / math.sqrt(3),
        "temperature": given["f_temp_halfwidth"] / math.sqrt(3),
    }
    # when
    released = given["c0_mg_L"] * given["V_L"] / given["a_V_dm2"]
    u = released * combine(list(relative.values()))
    # then
    assert released == as_printed(expected["r_mg_dm2"])
    assert u == as_printed(expected["u_r_mg_dm2"])
    assert sorted(relative, key=lambda name: relative[name])[-2:] == ["temperature", "curve"]


def test_an_end_gauge_is_combined_by_its_sensitivities_and_expanded_by_its_effective_degrees_of_freedom() -> None:
    # given GUM, H.1
    case = UNCERTAINTY["end gauge"]
    given, expected = case["inputs"], case["expected"]
    u_d = combine(given["u_d_parts_nm"])
    u_alpha = given["l_s_nm"] * given["theta_bar_C"] * given["d_alpha_halfwidth_per_C"] / math.sqrt(3)
    u_theta = given["l_s_nm"] * given["alpha_s_per_C"] * given["d_theta_halfwidth_C"] / math.sqrt(3)
    contributions = [given["u_l_s_nm"], u_d, u_alpha, u_theta]
    nu_d = effective_degrees_of_freedom(given["u_d_parts_nm"], given["nu_d_parts"])
    # when
    uc = combine(contributions)
    nu = effective_degrees_of_freedom(contributions, [given["nu_l_s"], nu_d, given["nu_d_alpha"], given["nu_d_theta"]])
    k = coverage_factor(0.99, math.floor(nu))
    # then
    assert (u_d, abs(u_alpha), u_theta, uc) == (
        as_printed(expected["u_d_nm"]),
        as_printed(expected["u_d_alpha_nm"]),
        as_printed(expected["u_d_theta_nm"]),
        as_printed(expected["uc_nm"]),
    )
    assert math.floor(nu) == int(expected["nu_eff_truncated"])
    assert k == as_printed(expected["t99_16"])
    assert expand(float(expected["uc_nm"]), k) == as_printed(expected["U99_nm"])


def test_precision_and_bias_of_ammonium_in_water() -> None:
    # given Nordtest TR 537: control limits within the laboratory, bias from six rounds of proficiency tests
    case = UNCERTAINTY["ammonium in water"]
    given, expected = case["inputs"], case["expected"]
    rounds = given["PT_bias_percent"]
    root_mean_square = combine(rounds) / math.sqrt(len(rounds))
    # when
    uc = combine([given["u_Rw_percent"], root_mean_square, given["u_Cref_percent"]])
    # then
    assert uc == as_printed(expected["uc_percent"])
    assert expand(uc, 2.0) == as_printed(expected["U_percent"])


@pytest.mark.parametrize(("c", "expected"), [(0.0, 0.3), (-4.0, 0.5), (4.0, 0.5), (4000.0, 400.0)])
def test_uncertainty_has_a_floor_and_grows_with_the_content(c: float, expected: float) -> None:
    assert u_of_concentration(c, 0.3, 0.1) == pytest.approx(expected, rel=1e-6)


def test_exactly_known_contributions_have_infinite_degrees_of_freedom() -> None:
    assert effective_degrees_of_freedom([1.0, 2.0], [math.inf, math.inf]) == math.inf
    assert coverage_factor(0.95, math.inf) == pytest.approx(1.959964, abs=5e-7)  # normal quantile, from memory


def test_what_cannot_be_is_refused() -> None:
    for contributions, degrees in (([1.0], []), ([], [])):
        with pytest.raises(TooFewValues):
            effective_degrees_of_freedom(contributions, degrees)
    for degrees in ([0.0, 5.0], [5.0, -1.0]):
        with pytest.raises(NotPhysical):
            effective_degrees_of_freedom([1.0, 1.0], degrees)
    for probability, freedom in ((1.0, 5.0), (0.0, 5.0), (0.95, 0.5)):
        with pytest.raises(NotPhysical):
            coverage_factor(probability, freedom)
    for k in (0.0, -2.0):
        with pytest.raises(NotPhysical):
            expand(1.0, k)


def test_one_degree_of_freedom_and_less_than_one_as_k_are_enough() -> None:
    """GUM, table G.2: t of 95 % is 12.71 with one; a contribution may have less than one by itself."""
    assert coverage_factor(0.95, 1.0) == pytest.approx(12.71, abs=0.005)
    assert effective_degrees_of_freedom([2.0], [0.5]) == 0.5
    assert expand(2.0, 0.5) == 1.0


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
