"""Recoveries and differences, and how they stand against their bounds."""

from typing import Any

import pytest

from labresults.calculation.quality_control import (
    difference_percent,
    dilution_difference_percent,
    figures,
    judge,
    recovery_percent,
    spike_recovery_percent,
    times_limit,
)
from labresults.terms import Verdict
from tests.calculation.published import published

CASES = published("quality_control")["cases"]
RECOVERIES = [
    "ICV exactly at upper limit",
    "ICV just over",
    "CCV low",
    "low-level readback",
    "IPC first reading 200.7",
]


def is_allowed(value: float, low: float | None, high: float | None) -> bool:
    return judge(value, low, high, 0.1) is not Verdict.OUTSIDE


@pytest.mark.parametrize("name", RECOVERIES)
def test_recoveries(name: str) -> None:
    given, expected = CASES[name]["inputs"], CASES[name]["expected"]
    found = recovery_percent(given["found"], given["true"])
    assert found == pytest.approx(expected["recovery_percent"])
    assert is_allowed(found, *given["limits"]) is expected["ok"]


@pytest.mark.parametrize("name", ["matrix spike", "post-digestion spike"])
def test_spike_recoveries(name: str) -> None:
    given, expected = CASES[name]["inputs"], CASES[name]["expected"]
    found = spike_recovery_percent(given["spiked"], given["unspiked"], given["added"])
    assert found == pytest.approx(expected["recovery_percent"])
    assert is_allowed(found, *given["limits"]) is expected["ok"]


def test_a_spike_duplicate_is_compared_on_concentrations_not_on_recoveries() -> None:
    case = CASES["MSD and RPD on concentrations"]
    given, expected = case["inputs"], case["expected"]
    spiked = spike_recovery_percent(given["msd"], given["unspiked"], given["added"])
    assert spiked == pytest.approx(expected["msd_recovery_percent"])
    assert difference_percent(given["ms"], given["msd"]) == pytest.approx(expected["rpd_percent"], abs=5e-7)
    assert difference_percent(94.0, spiked) == pytest.approx(expected["rpd_of_recoveries_percent"], abs=5e-7)


@pytest.mark.parametrize("name", ["unspiked duplicate", "duplicate out"])
def test_relative_differences(name: str) -> None:
    given, expected = CASES[name]["inputs"], CASES[name]["expected"]
    found = difference_percent(given["d1"], given["d2"])
    assert found == pytest.approx(expected["rpd_percent"], abs=5e-7)
    assert is_allowed(found, None, given["rpd_limit"]) is expected["ok"]


def test_a_dilution_test() -> None:
    case = CASES["dilution test 6010D"]
    given, expected = case["inputs"], case["expected"]
    found = dilution_difference_percent(given["original"], given["diluted_reading"], given["dilution_factor"])
    assert found == pytest.approx(expected["difference_percent"], abs=5e-7)
    assert is_allowed(found, None, given["limit_percent"])
    assert not is_allowed(found, None, 10.0)  # the bound of EPA 200.7


def test_too_much_taken_away_counts_like_contamination() -> None:
    case = CASES["mixed interference check"]
    readings, limit = case["inputs"]["readings"], case["inputs"]["lloq"]
    for element, reading in readings.items():
        assert is_allowed(times_limit(reading, limit), None, 1.0) is case["expected"][f"{element}_ok"]


@pytest.mark.parametrize(
    "nothing",
    [
        recovery_percent(1.0, 0.0),
        difference_percent(0.0, 0.0),
        difference_percent(-1.0, 0.5),
        spike_recovery_percent(2.0, 1.0, 0.0),
        dilution_difference_percent(0.0, 1.0, 5.0),
    ],
    ids=["nothing expected", "both zero", "mean below zero", "nothing added", "original zero"],
)
def test_a_share_of_nothing_is_no_number(nothing: Any) -> None:
    assert nothing is None


@pytest.mark.parametrize(
    ("value", "low", "high", "expected"),
    [
        (100.0 * 1.1 / 1.0, 90.0, 110.0, Verdict.CLOSE),
        (90.0, 90.0, 110.0, Verdict.CLOSE),
        (89.999999, 90.0, 110.0, Verdict.OUTSIDE),
        (110.000001, 90.0, 110.0, Verdict.OUTSIDE),
        (91.0, 90.0, 110.0, Verdict.WITHIN),
        (90.9, 90.0, 110.0, Verdict.CLOSE),
        (109.1, 90.0, 110.0, Verdict.CLOSE),
        (18.0, None, 20.0, Verdict.WITHIN),
        (18.9, None, 20.0, Verdict.CLOSE),
        (20.1, None, 20.0, Verdict.OUTSIDE),
        (75.0, 75.0, None, Verdict.WITHIN),
        (74.0, 75.0, None, Verdict.OUTSIDE),
    ],
)
def test_bounds_are_included_and_their_neighbourhood_is_close(
    value: float, low: float | None, high: float | None, expected: Verdict
) -> None:
    assert judge(value, low, high, 0.1) is expected


@pytest.mark.parametrize(
    ("value", "bounds", "expected"),
    [
        (102.34567, (90.0, 110.0), "102.3"),
        (110.004, (90.0, 110.0), "110.004"),
        (89.999, (90.0, 110.0), "89.999"),
        (20.0, (None, 20.0), "20"),
        (110.00000000000001, (90.0, 110.0), "110"),
        (123456.7, (None, 20.0), "123457"),
    ],
)
def test_a_number_is_shown_on_its_own_side_of_its_bounds(
    value: float, bounds: tuple[float | None, float], expected: str
) -> None:
    assert figures(value, *bounds) == expected
