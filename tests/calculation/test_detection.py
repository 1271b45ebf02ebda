"""Critical values, detection and quantification limits against published examples."""

import math

import numpy as np
import pytest

from labresults.calculation.detection import (
    currie_limits,
    din_32645_critical_from_blanks,
    din_32645_limits,
    instrument_detection_limit,
    method_detection_limit,
    t_one_sided,
)
from labresults.calculation.errors import NoCurve, NotPhysical, TooFewValues
from tests.calculation.published import as_printed, published

DETECTION = published("detection")
CASES = published("quality_control")["cases"]
T_ROWS = {
    key: text for key, text in DETECTION["t"]["expected"].items() if key.startswith("t_n") and key != "t_n_infinite"
}


@pytest.mark.parametrize(("key", "text"), T_ROWS.items(), ids=T_ROWS)
def test_the_table_of_t_of_the_procedure(key: str, text: str) -> None:
    assert t_one_sided(0.99, int(key.removeprefix("t_n")) - 1) == as_printed(text)


def test_the_method_detection_limit_is_the_greater_of_spikes_and_blanks() -> None:
    case = CASES["MDL 40 CFR 136 App. B Rev 2"]
    found = method_detection_limit(case["inputs"]["spiked"], case["inputs"]["blanks"])
    assert found.from_spikes == pytest.approx(case["expected"]["mdl_s"], abs=5e-9)
    assert found.from_blanks == pytest.approx(case["expected"]["mdl_b"], abs=5e-9)
    assert found.limit == found.from_spikes


def test_a_negative_mean_of_blanks_counts_as_zero() -> None:
    case = DETECTION["constructed"]
    found = method_detection_limit(case["inputs"]["spikes"], case["inputs"]["blanks_negative_mean"])
    assert found.from_blanks == pytest.approx(case["expected"]["MDL_b_negative_mean"])


def test_beyond_a_hundred_blanks_the_percentile_counts() -> None:
    # given 164 blanks of which only five are numeric
    case = DETECTION["percentile"]
    highest = case["inputs"]["highest"]
    blanks = [None] * (case["inputs"]["count"] - len(highest)) + highest
    found = method_detection_limit([2.1, 1.8, 2.4, 2.0, 2.2, 1.7, 2.3], blanks)
    assert found.from_blanks == float(case["expected"]["limit"])


@pytest.mark.parametrize(
    ("blanks", "expected"),
    [([None] * 7, None), ([None] * 6 + [0.4], 0.4), ([], None)],
    ids=["none", "some", "no blanks"],
)
def test_blanks_that_are_not_numeric(blanks: list[float | None], expected: float | None) -> None:
    assert method_detection_limit([2.1, 1.8, 2.4, 2.0, 2.2, 1.7, 2.3], blanks).from_blanks == expected


def test_up_to_a_hundred_blanks_the_highest_counts_and_a_few_numbers_are_enough() -> None:
    """By the procedure: of 100 the highest; of 101 the rank is 0.99 × 101 = 99.99, rounded 100: the second highest."""
    spikes = [2.1, 1.8, 2.4, 2.0, 2.2, 1.7, 2.3]
    for count, expected in ((100, 0.9), (101, 0.5), (150, 0.5)):  # 0.99 × 150 = 148.5, rounded 149: one from the top
        blanks: list[float | None] = [*[None] * (count - 3), 0.9, 0.5, 0.4]
        assert method_detection_limit(spikes, blanks).from_blanks == expected
    one_number = method_detection_limit(spikes, [*[None] * 300, 0.7]).from_blanks
    assert one_number == 0.7  # of ranks that are not numeric there is nothing to take


def test_values_that_do_not_differ_have_no_spread() -> None:
    found = method_detection_limit([2.0] * 7, [0.5] * 7)
    assert (found.from_spikes, found.from_blanks, found.limit) == (0.0, 0.5, 0.5)
    assert instrument_detection_limit([0.5] * 10) == 0.5
    assert din_32645_critical_from_blanks([4.0, 4.0], 10.0) == 0.0


@pytest.mark.parametrize("count", [1, 6])
def test_blanks_are_none_or_seven(count: int) -> None:
    with pytest.raises(TooFewValues, match="seven method blanks"):
        method_detection_limit([1.0, 2.0, 1.5, 1.2, 1.8, 1.1, 1.3], [0.1] * count)


def test_too_few_spikes_or_blanks_give_no_limit() -> None:
    with pytest.raises(TooFewValues, match="seven"):
        method_detection_limit([1.0] * 6, [])
    with pytest.raises(TooFewValues, match="seven"):
        method_detection_limit([1.0, 2.0] * 4, [0.1] * 6)
    with pytest.raises(TooFewValues, match="ten"):
        instrument_detection_limit([0.1] * 9)


@pytest.mark.parametrize("name", ["IDL 6010D", "IDL with negative mean"])
def test_the_instrument_detection_limit(name: str) -> None:
    case = CASES[name]
    assert instrument_detection_limit(case["inputs"]["blanks"]) == pytest.approx(case["expected"]["idl"], abs=5e-9)


def test_limits_from_a_calibration_line() -> None:
    # given the reference data of DIN 32645
    case = DETECTION["carbon"]
    given, expected = case["inputs"], case["expected"]
    x, y = np.array(given["conc_mg_L"]), np.array(given["signal"], dtype=np.float64)
    # when
    found = din_32645_limits(x, y, given["alpha"], given["beta"], given["k"])
    # then
    assert found.critical == as_printed(expected["critical_value_7d"])
    assert found.detection == as_printed(expected["detection_limit_DIN"])
    assert found.quantification == as_printed(expected["quantification_limit"])


def test_the_critical_value_from_blanks() -> None:
    case = DETECTION["carbon"]
    slope = 9661.939393939394  # of the unrounded line; prints as 9662
    assert slope == as_printed(case["expected"]["slope"])
    found = din_32645_critical_from_blanks(case["inputs"]["blank_signals"], slope)
    assert found == as_printed(case["expected"]["critical_value_blank_method"])


def test_limits_of_a_known_standard_deviation() -> None:
    # given Currie's factors, as multiples of the standard deviation of a net result near zero
    expected = DETECTION["currie"]["expected"]
    one, paired, few = currie_limits(1.0), currie_limits(math.sqrt(2.0)), currie_limits(1.0, 4.0)
    assert (one.critical, one.detection) == (as_printed(expected["L_C"]), as_printed(expected["L_D"]))
    assert one.quantification == as_printed(expected["L_Q"])
    assert (paired.critical, paired.detection) == (
        as_printed(expected["paired_L_C"]),
        as_printed(expected["paired_L_D"]),
    )
    assert paired.quantification == as_printed(expected["paired_L_Q"])
    assert (few.critical, few.detection) == (as_printed(expected["t_nu4"]), as_printed(expected["delta_nu4"]))


def test_limits_go_with_the_standard_deviation_whatever_its_degrees_of_freedom() -> None:
    for freedom in (4.0, math.inf):
        one, three = currie_limits(1.0, freedom), currie_limits(3.0, freedom)
        assert three.critical == pytest.approx(3 * one.critical)
        assert three.detection == pytest.approx(3 * one.detection)
        assert (one.quantification, three.quantification) == (10.0, 30.0)
    assert currie_limits(1.0, 1e7).detection == pytest.approx(currie_limits(1.0).detection, rel=1e-5)


def test_the_quantification_limit_of_a_line_is_where_its_uncertainty_is_one_in_k() -> None:
    """DIN 32645, by its definition: x = k Δx(x), Δx at 1 − α/2; solved here by hand for k = 3 and k = 4."""
    x, y = np.array([1.0, 2.0, 3.0, 4.0, 5.0]), np.array([2.1, 3.9, 6.2, 7.8, 10.1])
    slope, intercept = np.polyfit(x, y, 1)
    s = math.sqrt(((y - slope * x - intercept) ** 2).sum() / 3)
    for k, measurements in ((3.0, 1), (4.0, 3)):
        at = din_32645_limits(x, y, k=k, measurements=measurements).quantification
        spread = math.sqrt(1 / measurements + 1 / 5 + (at - 3.0) ** 2 / 10.0)
        assert at == pytest.approx(k * s / slope * t_one_sided(0.995, 3) * spread, rel=1e-9)
    critical = din_32645_limits(x, y, measurements=3).critical
    expected = s / slope * t_one_sided(0.99, 3) * math.sqrt(1 / 3 + 1 / 5 + 9 / 10)
    assert critical == pytest.approx(expected, rel=1e-9)


def test_three_points_and_any_rising_line_are_enough() -> None:
    found = din_32645_limits(np.array([1.0, 2.0, 3.0]), np.array([0.1, 0.21, 0.3]))
    assert 0 < found.critical < found.detection
    assert found.detection == pytest.approx(2 * found.critical)  # α = β
    for falling in ([3.0, 2.0, 1.0], [1.0, 1.0, 1.0]):
        with pytest.raises(NoCurve, match="rising"):
            din_32645_limits(np.array([1.0, 2.0, 3.0]), np.array(falling))


def test_more_measurements_of_the_sample_lower_the_critical_value() -> None:
    """Blanks 1 and 3: s = √2; t(0.99, 1) s / b √(1/m + 1/2), with a slope below one."""
    for m in (1, 4):
        expected = t_one_sided(0.99, 1) * math.sqrt(2.0) / 0.5 * math.sqrt(1 / m + 1 / 2)
        assert din_32645_critical_from_blanks([1.0, 3.0], 0.5, m=m) == pytest.approx(expected)


def test_what_gives_no_limit_is_refused() -> None:
    with pytest.raises(NotPhysical):
        currie_limits(0.0)
    with pytest.raises(NoCurve):
        din_32645_limits(np.array([1.0, 2.0]), np.array([1.0, 2.0]))
    with pytest.raises(TooFewValues):
        din_32645_critical_from_blanks([1.0], 10.0)
    with pytest.raises(NotPhysical):
        din_32645_critical_from_blanks([1.0, 2.0], 0.0)
