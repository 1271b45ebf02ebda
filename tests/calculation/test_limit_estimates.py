"""Limits from own values: which of the three each procedure gives, and its numbers beside published ones."""

import pytest

from labresults.calculation.detection import adjusted_sd
from labresults.calculation.errors import NotPhysical, TooFewValues
from labresults.calculation.limit_estimates import (
    from_blanks,
    from_calibration,
    from_reagent_blanks,
    from_spiked_and_blanks,
)
from labresults.terms import LimitQuantity

TEN = [0.011, 0.009, 0.010, 0.012, 0.008, 0.010, 0.011, 0.009, 0.010, 0.010]
"""Ten invented blanks, mg/L: mean 0.010, sum of squared differences 1.2e-5, so that s = sqrt(1.2e-5 / 9)."""

S = (1.2e-5 / 9) ** 0.5


def test_ten_blanks_give_three_and_ten_standard_deviations() -> None:
    detection, quantification = from_blanks(TEN, "mg/L")
    assert (detection.quantity, quantification.quantity) == (LimitQuantity.DETECTION, LimitQuantity.QUANTIFICATION)
    assert detection.value == pytest.approx(3 * S, rel=1e-12)
    assert quantification.value == pytest.approx(10 * S, rel=1e-12)
    assert "10 blanks" in detection.words


@pytest.mark.parametrize(
    ("replicates", "subtracted", "limit"),
    [(2, 0, 0.02545584412271571), (2, 2, 0.036), (1, 1, 0.05091168824543143)],
    ids=["two readings", "two, less two blanks", "one, less one blank"],
)
def test_what_is_subtracted_adds_its_own_spread(replicates: int, subtracted: int, limit: float) -> None:
    # Eurachem, Fitness for purpose, 2nd edition (2014), 6.2: s0' and 3 s0' (formula from memory, numbers recomputed)
    s0 = adjusted_sd(0.012, replicates=replicates, blanks_subtracted=subtracted)
    assert 3 * s0 == pytest.approx(limit, rel=1e-12)


def test_a_method_that_subtracts_its_blank_has_higher_limits() -> None:
    judged, subtracted = from_blanks(TEN, "mg/L"), from_blanks(TEN, "mg/L", blanks_subtracted=1)
    for one, other in zip(judged, subtracted, strict=True):
        assert other.value == pytest.approx(one.value * 2**0.5, rel=1e-12)


def test_reagent_blanks_give_their_mean_as_well_and_a_negative_mean_counts_as_zero() -> None:
    # EPA Method 6010D (2018), 9.3
    assert from_reagent_blanks(TEN, "mg/L")[0].value == pytest.approx(0.010 + 3 * S, rel=1e-12)
    lower = [value - 0.1 for value in TEN]
    assert from_reagent_blanks(lower, "mg/L")[0].value == pytest.approx(3 * S, rel=1e-9)


def test_the_limit_of_40_cfr_136_is_a_critical_value_and_the_greater_of_its_two_branches() -> None:
    # given seven spiked samples; t(0.99, 6) = 3.143 (40 CFR Part 136 Appendix B, Revision 2 (2017), from memory)
    spiked = [0.05, 0.06, 0.05, 0.04, 0.05, 0.06, 0.04]
    s = (sum((x - 0.05) ** 2 for x in spiked) / 6) ** 0.5
    (without,) = from_spiked_and_blanks(spiked, [], "mg/L")
    assert without.quantity is LimitQuantity.CRITICAL
    assert without.value == pytest.approx(3.143 * s, rel=2e-4)
    # when the method blanks say more, they decide
    blanks = [0.10, 0.11, 0.10, 0.09, 0.10, 0.11, 0.09]
    (with_blanks,) = from_spiked_and_blanks(spiked, blanks, "mg/L")
    assert with_blanks.value == pytest.approx(0.10 + 3.143 * s, rel=2e-4)
    # and when some of them found nothing, the highest of them does
    (some,) = from_spiked_and_blanks(spiked, [None, 0.2, *blanks[:6]], "mg/L")
    assert some.value == 0.2


def test_a_calibration_gives_all_three_in_their_order() -> None:
    critical, detection, quantification = from_calibration(
        [0.05, 0.10, 0.15, 0.20, 0.25, 0.30], [51.0, 99.0, 152.0, 199.0, 251.0, 298.0], "mg/L"
    )
    kinds = [critical.quantity, detection.quantity, quantification.quantity]
    assert kinds == [LimitQuantity.CRITICAL, LimitQuantity.DETECTION, LimitQuantity.QUANTIFICATION]
    assert critical.value < detection.value < quantification.value


@pytest.mark.parametrize("procedure", [from_blanks, from_reagent_blanks])
def test_too_few_blanks_or_blanks_that_do_not_differ_give_none(procedure: object) -> None:
    with pytest.raises(TooFewValues):
        procedure(TEN[:9], "mg/L")  # type: ignore[operator]
    with pytest.raises(NotPhysical, match="do not differ"):
        procedure([0.0] * 10, "mg/L")  # type: ignore[operator]
