"""Digits of uncertainties and of the results beside them."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labresults.terms import Tie
from reports.rules.rounding import text
from reports.rules.uncertainty import UncertaintyRule, round_beside, round_uncertainty
from tests.rules.published import published

NUMBERS = published("rounding_uncertainty")
RESULTS = NUMBERS["gum"]["results"] + NUMBERS["pdg"]["results"]


@pytest.mark.parametrize("case", NUMBERS["gum"]["uncertainties"], ids=lambda c: f"GUM 7.2.6 {c['u']} {c['rule']}")
def test_uncertainties_of_the_guide(case: dict[str, str]) -> None:
    rounded = round_uncertainty(float(case["u"]), UncertaintyRule(case["rule"]), Tie.HALF_EVEN)
    assert text(rounded) == case["printed"]


@pytest.mark.parametrize("case", RESULTS, ids=lambda c: f"{c['rule']}: {c['value']} ± {c['u']}")
def test_results_go_to_the_place_of_their_uncertainty(case: dict[str, str]) -> None:
    u = round_uncertainty(float(case["u"]), UncertaintyRule(case["rule"]), Tie.HALF_EVEN)
    value = round_beside(float(case["value"]), u, Tie.HALF_EVEN)
    assert (text(value), text(u)) == (case["printed"], case["printed_u"])


# 950 to 999 keep two figures of 1000: Review of Particle Physics, 5.3.
@pytest.mark.parametrize(
    ("u", "printed"),
    [(0.0951, "0.10"), (0.9499, "0.9"), (0.95, "1.0"), (0.354, "0.35"), (0.355, "0.4"), (951.0, "1000"), (0.0, "0")],
)
def test_edges_of_the_particle_data_group_rule(u: float, printed: str) -> None:
    rounded = round_uncertainty(u, UncertaintyRule.PARTICLE_DATA_GROUP, Tie.HALF_EVEN)
    assert text(rounded, "") == printed


def test_result_to_tens() -> None:
    assert text(round_beside(18704.3, Decimal("8.2E+2"), Tie.HALF_EVEN), "") == "18700"


@pytest.mark.parametrize("u", [-0.1, float("nan")])
def test_impossible_uncertainties_are_refused(u: float) -> None:
    with pytest.raises(ValueError, match=r"uncertainty|cannot be printed"):
        round_uncertainty(u, UncertaintyRule.TWO_FIGURES, Tie.HALF_EVEN)


@given(u=st.floats(min_value=1e-9, max_value=1e9), rule=st.sampled_from(UncertaintyRule))
def test_never_nothing_and_never_far_off(u: float, rule: UncertaintyRule) -> None:
    rounded = round_uncertainty(u, rule, Tie.HALF_EVEN)
    assert rounded > 0
    assert abs(float(rounded) / u - 1) <= 0.15


@given(u=st.floats(min_value=1e-9, max_value=1e9))
def test_upwards_is_never_less_than_it_was(u: float) -> None:
    rounded = round_uncertainty(u, UncertaintyRule.TWO_FIGURES_UP, Tie.HALF_EVEN)
    assert rounded >= Decimal(repr(u))
    assert len(rounded.as_tuple().digits) <= 2
