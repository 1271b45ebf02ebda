"""Outliers, robust means and analysis of variance against published numbers, to the printed digits."""

import math
from statistics import fmean, variance

import pytest

from labresults.calculation.errors import NotPhysical, TooFewValues
from labresults.calculation.expected_precision import horwitz_percent, thompson_percent
from labresults.calculation.outliers import cochran, cochran_critical, grubbs, grubbs_critical
from labresults.calculation.robust import algorithm_a, huber_mean, median_deviation
from labresults.calculation.variance import nested, one_way, sd_of_pairs
from tests.calculation.published import as_printed, published, to_digits

STATISTICS = published("statistics")


def test_the_value_that_stands_out_is_named() -> None:
    # NIST/SEMATECH e-Handbook, 1.3.5.17.1: G = 2.4688 rounded (2.4687 in the handbook is cut)
    case = STATISTICS["grubbs"]
    found = grubbs(case["x"])
    assert (found.index, found.statistic, found.critical) == (7, as_printed("2.4688"), as_printed(case["two_sided"]))
    assert found.is_outlying
    assert grubbs_critical(len(case["x"]), 0.05) == as_printed(case["one_sided"])
    assert not grubbs(case["x"][:7]).is_outlying


@pytest.mark.parametrize(
    ("values", "error"), [([1.0, 2.0], TooFewValues), ([2.0, 2.0, 2.0], NotPhysical)], ids=["two", "no spread"]
)
def test_where_nothing_can_stand_out_that_is_said(values: list[float], error: type[Exception]) -> None:
    with pytest.raises(error):
        grubbs(values)


@pytest.mark.parametrize("level", ["1", "2", "3", "4"])
def test_repeatability_and_reproducibility_of_sulfur_in_coal(level: str) -> None:
    # ISO 5725-2:1994, tables B.1 to B.6, from memory
    coal = STATISTICS["coal"]
    found, printed = one_way(coal["levels"][level]), coal["printed"]
    # the standard's m is the mean of all values
    assert found.mean == as_printed(printed[f"level{level}_m"])
    assert found.sd_within == as_printed(printed[f"level{level}_s_r"])
    assert found.sd_all == as_printed(printed[f"level{level}_s_R"])


def test_only_laboratory_5_at_level_3_is_a_straggler() -> None:
    # ISO 5725-2:1994, 7.3.3 and table 4: above the 5 % value and not above the 1 % value, with n = 3
    coal = STATISTICS["coal"]
    assert cochran_critical(8, 3, 0.05) == as_printed(coal["printed"]["Cochran_crit_5pct_p8_n3"])
    assert cochran_critical(8, 3, 0.01) == as_printed(coal["printed"]["Cochran_crit_1pct_p8_n3"])
    beyond = {}
    for level, laboratories in coal["levels"].items():
        spreads = [variance(values) for values in laboratories]
        for alpha in (0.05, 0.01):
            found = cochran(spreads, 3, alpha)
            beyond[level, alpha] = (found.index + 1) if found.is_outlying else None
    assert {key: at for key, at in beyond.items() if at} == {("3", 0.05): 5}


@pytest.mark.parametrize("groups", range(7, 21))
def test_the_table_of_cochran_for_duplicates(groups: int) -> None:
    # ISO 13528:2015, table B.1 (95 % and 99 %), read second-hand
    at_95, at_99 = STATISTICS["homogeneity"]["cochran"][str(groups)]
    assert cochran_critical(groups, 2, 0.05) == pytest.approx(float(at_95), abs=0.00051)
    assert cochran_critical(groups, 2, 0.01) == pytest.approx(float(at_99), abs=0.00071)


def test_a_check_of_homogeneity_by_duplicates() -> None:
    # ISO 13528:2015, annex B.2 and B.3
    case = STATISTICS["homogeneity"]
    found, printed = one_way(case["duplicates"]), case["printed"]
    assert found.mean == as_printed(printed["mean"])
    assert math.sqrt(found.ms_between / 2.0) == as_printed(printed["s_averages"])
    assert found.sd_within == as_printed(printed["s_within"])
    assert found.sd_between == as_printed(printed["s_between"])
    assert cochran([variance(pair) for pair in case["duplicates"]], 2).statistic == as_printed(printed["Cochran_C"])


def test_one_way_analysis_of_variance_to_the_certified_digits() -> None:
    # NIST StRD, SiRstv
    case = STATISTICS["sirstv"]
    found, certified = (
        one_way([[float(text) for text in group] for group in case["groups"].values()]),
        case["certified"],
    )
    assert (found.df_between, found.df_within) == (int(certified["df_between"]), int(certified["df_within"]))
    assert found.ss_between == to_digits(certified["ss_between"], 10)
    assert found.ss_within == to_digits(certified["ss_within"], 10)
    assert found.f == to_digits(certified["F"], 10)
    assert found.r_squared == to_digits(certified["r_squared"], 10)
    assert found.sd_within == to_digits(certified["residual_sd"], 10)


def test_sampling_and_analysis_are_told_apart() -> None:
    # Eurachem/CITAC, Measurement uncertainty arising from sampling (2007), example A1, from memory
    case = STATISTICS["lettuce"]
    found, printed = nested(case["values"]), case["printed"]
    assert found.mean == as_printed(printed["mean"])
    assert found.sd_analysis == as_printed(printed["sd_analysis"])
    assert found.sd_sampling == as_printed(printed["sd_sampling"])
    assert found.sd_between_targets == as_printed(printed["sd_between_target"])
    assert found.sd_measurement == as_printed(printed["sd_measurement"])
    assert found.sd_total == pytest.approx(float(printed["sd_total"]), abs=0.015)  # off by one in the last digit
    for name, sd in (("sampling", found.sd_sampling), ("analysis", found.sd_analysis)):
        assert 100.0 * (sd / found.sd_total) ** 2 == as_printed(printed[f"pct_{name}"])


def test_a_design_that_is_not_balanced_is_refused() -> None:
    with pytest.raises(NotPhysical, match="as many"):
        nested([[[1.0, 2.0], [1.0, 2.0]], [[1.0, 2.0], [1.0]]])
    with pytest.raises(TooFewValues):
        nested([[[1.0, 2.0], [1.0, 2.0]]])


def test_the_precision_of_eighty_duplicates() -> None:
    # Geological Survey of Canada, 80 analytical duplicates of copper
    case = STATISTICS["duplicates"]
    pairs, printed = case["pairs"], case["printed"]
    found = one_way(pairs)
    sd = sd_of_pairs([one - other for one, other in pairs])
    assert len(pairs) == int(printed["n_pairs"])
    assert found.mean == as_printed(printed["grand_mean"])
    assert sd**2 == as_printed(printed["error_variance"])
    assert sd == as_printed(printed["error_sd"])
    assert sd == pytest.approx(found.sd_within, rel=1e-12)
    assert found.f == as_printed(printed["F_oneway"])
    assert 100.0 * sd / found.mean == as_printed(printed["error_rsd_percent"])


def test_robust_means_of_a_round_between_laboratories() -> None:
    # ISO 13528:2015, annex C.3; the starting spread is the median deviation with the factor 1.483
    case = STATISTICS["algorithm a"]
    found = algorithm_a(case["x"])
    assert found.mean == as_printed(case["printed"]["x_star"])
    assert found.sd == as_printed(case["printed"]["s_star"])
    assert median_deviation(case["x"]) == pytest.approx(float(case["printed"]["start_s"]), rel=1e-3)


def test_one_wild_result_does_not_carry_the_mean_away() -> None:
    # copper in wholemeal flour: the mean is 4.28 µg/g for one value of 28.95
    case = STATISTICS["flour"]
    found, printed = algorithm_a(case["x"]), case["printed"]
    assert fmean(case["x"]) == as_printed("4.2804")
    assert median_deviation(case["x"]) == pytest.approx(float(printed["mad"]), rel=1e-4)  # factor 1.4826 there
    assert found.mean == as_printed(printed["hubers_mu"])
    assert found.sd == as_printed(printed["hubers_s"])
    assert huber_mean(case["x"]) == pytest.approx(float(printed["huber_mu"]), abs=1e-5)


@pytest.mark.parametrize(("fraction", "printed"), STATISTICS["horwitz"]["printed"].items())
def test_the_spread_expected_between_laboratories(fraction: str, printed: str) -> None:
    # AOAC INTERNATIONAL, HorRat for SLV (2004), table D1
    assert horwitz_percent(float(fraction)) == as_printed(printed)


@pytest.mark.parametrize(("fraction", "percent"), [(1e-8, 22.0), (0.01, 3.99972), (1.0, 1.0)])
def test_its_two_ends_after_thompson(fraction: float, percent: float) -> None:
    # Thompson, Analyst 125 (2000) 385: constant below 1.2e-7, a square root above 0.138 (the latter from memory)
    assert thompson_percent(fraction) == pytest.approx(percent, rel=1e-5)


def test_the_branches_join() -> None:
    for edge in (1.2e-7, 0.138):
        assert thompson_percent(edge * (1 - 1e-9)) == pytest.approx(thompson_percent(edge * (1 + 1e-9)), rel=2e-3)
    with pytest.raises(NotPhysical):
        thompson_percent(0.0)
