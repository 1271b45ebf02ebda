"""Control samples made of another position: pairs near the limit, pairs and Horwitz, spikes that a sample drowns."""

from dataclasses import replace

import pytest

from labresults.calculation.evaluation import evaluate
from labresults.calculation.quality_control import absolute_difference, horwitz_ratio
from labresults.calculation.run import ControlOutcome, Criterion
from labresults.terms import Measure, Reach, Role, SolutionKind, Verdict
from tests.calculation.builders import At, changed, criterion, method, run_of, sample, solid, standards
from tests.calculation.published import published

CASES = published("quality_control")["cases"]
PAIR = criterion(Role.DUPLICATE, Measure.DIFFERENCE, None, 20.0, Reach.BATCH)
NEAR = replace(PAIR, near_limit_times=5.0, near_limit_high=1.0)  # EPA contract laboratory practice, from memory
HORWITZ = criterion(Role.DUPLICATE, Measure.HORWITZ_RATIO, None, 1.3, Reach.BATCH)
SPIKE = replace(criterion(Role.SPIKE, Measure.SPIKE_RECOVERY, 75.0, 125.0, Reach.BATCH), least_share=0.3)
AFTERWARDS = replace(SPIKE, role=Role.POST_DIGESTION_SPIKE, reach=Reach.SAMPLE)
SERIAL = criterion(Role.SERIAL_DILUTION, Measure.DILUTION_DIFFERENCE, None, 20.0, Reach.SAMPLE)


def judged(criterion_: Criterion, *places: At) -> ControlOutcome:
    """Return the one outcome of a run of copper: standards at 1 to 4, then the places from position 5 on."""
    (outcome,) = evaluate(run_of(*standards(Cu=10.0), *places), method(criterion_)).outcomes
    return outcome


def pair(one: float, other: float, mass_g: float = 0.5) -> tuple[At, At]:
    """Return a sample of half a gram and its duplicate, mg/L in the solutions."""
    second = sample("A dup", solid("A dup", mass_g=mass_g), role=Role.DUPLICATE, Cu=other)
    return sample("A", Cu=one), changed(second, parent=5)


@pytest.mark.parametrize(
    ("one", "other", "measure", "observed", "verdict"),
    [
        # a quantification limit of 0.03 mg/L in the solution: near is a mean under 0.15 mg/L
        (0.1, 0.12, Measure.ABSOLUTE_DIFFERENCE, 2 / 3, Verdict.WITHIN),
        (0.1, 0.1299, Measure.ABSOLUTE_DIFFERENCE, 0.9966667, Verdict.CLOSE),
        (0.1, 0.131, Measure.ABSOLUTE_DIFFERENCE, 1.0333333, Verdict.OUTSIDE),
        (0.01, 0.2, Measure.ABSOLUTE_DIFFERENCE, 6.3333333, Verdict.OUTSIDE),
        (0.149, 0.1509, Measure.ABSOLUTE_DIFFERENCE, 0.0633333, Verdict.WITHIN),
        (0.149, 0.1511, Measure.DIFFERENCE, 1.3995335, Verdict.WITHIN),
        (0.14, 0.18, Measure.DIFFERENCE, 25.0, Verdict.OUTSIDE),
    ],
    ids=["near", "near, close", "near, outside", "one below the limit", "just near", "just not near", "not near"],
)
def test_a_pair_near_the_limit_is_judged_by_its_absolute_difference(
    one: float, other: float, measure: Measure, observed: float, verdict: Verdict
) -> None:
    outcome = judged(NEAR, *pair(one, other))
    assert (outcome.measure, outcome.verdict) == (measure, verdict)
    assert outcome.observed == pytest.approx(observed, rel=1e-6)
    assert (outcome.low, outcome.high) == (None, 1.0 if measure is Measure.ABSOLUTE_DIFFERENCE else 20.0)
    assert outcome.touches == ((5, 6) if verdict is Verdict.OUTSIDE else ())


def test_of_two_limits_the_higher_one_decides_what_is_near() -> None:
    # given 14 and 15 mg/kg from half a gram and from a quarter, whose limit is 6 mg/kg: under five of these
    outcome = judged(NEAR, *pair(0.14, 0.075, mass_g=0.25))
    assert (outcome.measure, outcome.observed) == (Measure.ABSOLUTE_DIFFERENCE, pytest.approx(1.0 / 6.0))


def test_without_a_bound_of_its_own_a_pair_near_the_limit_is_judged_as_any_other() -> None:
    outcome = judged(PAIR, *pair(0.1, 0.131))
    assert (outcome.measure, outcome.verdict) == (Measure.DIFFERENCE, Verdict.OUTSIDE)


def test_the_worked_pair_near_the_limit() -> None:
    case = CASES["duplicate near LLOQ, absolute rule"]["inputs"]
    found = absolute_difference(case["d1"], case["d2"], case["lloq"])
    expected = CASES["duplicate near LLOQ, absolute rule"]["expected"]
    assert found * case["lloq"] == pytest.approx(expected["abs_difference"])
    assert (found <= 1.0) is expected["ok"]


@pytest.mark.parametrize(
    ("fraction", "expected_percent"),
    # AOAC INTERNATIONAL, HorRat for SLV (2004), table D1: PRSD printed as 2, 4, 8, 16, 32
    [(1.0, 2.0), (1e-2, 4.0), (1e-4, 8.0), (1e-6, 16.0), (1e-8, 32.0)],
)
def test_a_pair_that_spreads_as_expected_has_a_ratio_of_one(fraction: float, expected_percent: float) -> None:
    half = fraction * expected_percent / 100.0 / 2.0**0.5
    assert horwitz_ratio(fraction - half, fraction + half, 1.0) == pytest.approx(1.0, rel=0.012)


@pytest.mark.parametrize(
    ("one", "other", "verdict"),
    # at 100 mg/kg 8 % are expected (7.96): pairs may be 1.3 · √2 · 7.96 = 14.6 % apart
    [(1.0, 1.1, Verdict.WITHIN), (0.9275, 1.0725, Verdict.CLOSE), (0.926, 1.074, Verdict.OUTSIDE)],
)
def test_a_pair_is_compared_with_the_spread_that_is_expected_at_its_content(
    one: float, other: float, verdict: Verdict
) -> None:
    outcome = judged(HORWITZ, *pair(one, other))
    mean = 50.0 * (one + other) * 1e-6
    assert outcome.observed == pytest.approx(100 * abs(one - other) / 2**0.5 / (mean * 1e4) / (2 * mean**-0.15))
    assert outcome.verdict is verdict


@pytest.mark.parametrize("kind", ["both below", "a water"])
def test_a_spread_is_expected_only_where_something_was_found_and_of_mass_fractions(kind: str) -> None:
    one, other = pair(0.02, 0.025)
    if kind == "a water":
        water = {"kind": SolutionKind.VOLUME_IN_VOLUME, "mass_g": None, "aliquot_mL": 50.0}
        one = sample("A", solid("A", **water), Cu=1.0)
        other = changed(sample("A dup", solid("D", **water), role=Role.DUPLICATE, Cu=1.1), parent=5)
    outcome = judged(HORWITZ, one, other)
    assert outcome.verdict is Verdict.NOT_JUDGED
    assert ("mass fractions only" if kind == "a water" else "both below") in outcome.why


@pytest.mark.parametrize(
    ("unspiked", "verdict"),
    # 0.60 mg/L added; EPA 200.7 (1994), 9.4.3: not evaluated where that is less than 30 % of the background
    [(2.0, Verdict.WITHIN), (2.001, Verdict.NOT_JUDGED), (4.0, Verdict.NOT_JUDGED), (0.0, Verdict.WITHIN)],
    ids=["exactly 30 %", "just less", "15 %", "nothing in it"],
)
def test_a_spike_that_the_sample_drowns_is_not_judged(unspiked: float, verdict: Verdict) -> None:
    portion = solid("A spike", added_mg={"Cu": 0.03})
    second = sample("A spike", portion, role=Role.SPIKE, Cu=unspiked + 0.6)
    outcome = judged(SPIKE, sample("A", Cu=unspiked), changed(second, parent=5))
    assert outcome.verdict is verdict
    assert ("drowns the spike" in outcome.why) is (verdict is Verdict.NOT_JUDGED)


def test_the_worked_spike_that_is_skipped() -> None:
    case = CASES["LFM skipped"]
    at = sample("A spike", solid("A spike", added_mg={"Cu": 0.05}), role=Role.SPIKE, Cu=4.9)
    outcome = judged(SPIKE, sample("A", Cu=case["inputs"]["background"]), changed(at, parent=5))
    assert (outcome.verdict is not Verdict.NOT_JUDGED) is case["expected"]["evaluated"]


@pytest.mark.parametrize(
    ("spiked", "dilution", "observed", "verdict"),
    [
        (3.1, 1.0, 85.0, Verdict.WITHIN),  # EPA 6010D, 9.11.2; constructed
        (2.8, 1.0, 70.0, Verdict.OUTSIDE),
        (2.4, 2.0, 85.0, Verdict.WITHIN),  # the sample in it is diluted to half
    ],
)
def test_a_spike_of_the_digest_is_judged_in_the_measured_solution(
    spiked: float, dilution: float, observed: float, verdict: Verdict
) -> None:
    # given 1.4 mg/L in the digest, and 2.0 mg/L added to what is measured
    second = sample("A pds", role=Role.POST_DIGESTION_SPIKE, Cu=spiked)
    outcome = judged(AFTERWARDS, sample("A", Cu=1.4), changed(second, parent=5, dilution=dilution, added={"Cu": 2.0}))
    assert outcome.observed == pytest.approx(observed)
    assert (outcome.expected, outcome.verdict) == (2.0, verdict)
    assert outcome.touches == ((5,) if verdict is Verdict.OUTSIDE else ())


def test_a_digest_that_was_not_spiked_with_the_element_is_not_judged() -> None:
    second = changed(sample("A pds", role=Role.POST_DIGESTION_SPIKE, Cu=1.4), parent=5, added={"Fe": 2.0})
    assert judged(AFTERWARDS, sample("A", Cu=1.4), second).why == "A pds was not spiked with Cu."


@pytest.mark.parametrize(("least_times", "verdict"), [(None, Verdict.WITHIN), (50.0, Verdict.NOT_JUDGED)])
def test_a_method_may_ask_for_more_before_it_compares_a_dilution(least_times: float | None, verdict: Verdict) -> None:
    # given an original of 40 quantification limits: enough by EPA 6010D, 9.11.1 (25), not by a stricter method
    second = changed(sample("A 5x", role=Role.SERIAL_DILUTION, Cu=0.23), parent=5, dilution=5.0)
    assert judged(replace(SERIAL, least_times=least_times), sample("A", Cu=1.2), second).verdict is verdict
