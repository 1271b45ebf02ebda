"""Method blank, internal standard, standard additions, and the working range in use."""

from dataclasses import replace

import numpy as np
import pytest

from labresults.calculation.evaluation import evaluate
from labresults.calculation.run import RULES, Position
from labresults.calculation.solutions import Solutions, find_solutions
from labresults.terms import BlankRule, Role
from tests.calculation.builders import (
    CU,
    At,
    check,
    method,
    noisy,
    result_at,
    run_of,
    sample,
    solid,
    standards,
)

BLANKS = [
    sample("MB 1", role=Role.METHOD_BLANK, Cu=0.02),
    sample("MB 2", role=Role.METHOD_BLANK, Cu=0.04),
    sample("MB 3", solid("MB 3", batch="B2"), role=Role.METHOD_BLANK, Cu=1.0),
]


@pytest.mark.parametrize(
    ("rule", "expected"), [(BlankRule.JUDGE, 100.0), (BlankRule.SUBTRACT, 97.0)], ids=["judged", "subtracted"]
)
def test_the_method_says_whether_the_blank_is_subtracted(rule: BlankRule, expected: float) -> None:
    # given two blanks of the sample's batch, of 0.03 mg/L in the mean, and one of another batch
    run = run_of(*standards(Cu=10.0), *BLANKS, sample("A", Cu=1.0))
    evaluation = evaluate(run, method(blank_rule=rule))
    assert result_at(evaluation, 8).value == pytest.approx(expected)
    assert result_at(evaluation, 5).value == pytest.approx(2.0)  # a blank is not subtracted from itself


@pytest.mark.parametrize(
    ("dilution", "volume_mL", "blank"), [(10.0, 50.0, 0.003), (1.0, 100.0, 0.015)], ids=["diluted", "twice the volume"]
)
def test_the_blank_is_scaled_to_the_solution(dilution: float, volume_mL: float, blank: float) -> None:
    portion = solid("A", dilution=dilution, volume_mL=volume_mL)
    run = run_of(*standards(Cu=10.0), *BLANKS, sample("A", portion, Cu=1.0))
    found = result_at(evaluate(run, method(blank_rule=BlankRule.SUBTRACT)), 8)
    assert found.solution == pytest.approx(1.0 - blank)


def test_a_batch_without_its_blank_has_no_value_where_it_is_subtracted() -> None:
    run = run_of(*standards(Cu=10.0), *BLANKS, sample("A", solid("A", batch="B3"), Cu=1.0))
    found = result_at(evaluate(run, method(blank_rule=BlankRule.SUBTRACT)), 8)
    assert found.value is None
    assert "batch B3 has none" in str(found.why_no_value)


def test_a_blank_that_was_not_read_is_left_out_of_the_mean() -> None:
    run = run_of(*standards(Cu=10.0), *BLANKS, sample("A", Cu=1.0))
    run.signal[4, 0] = np.nan
    found = result_at(evaluate(run, method(blank_rule=BlankRule.SUBTRACT)), 8)
    assert found.solution == pytest.approx(0.96)


def test_a_post_digestion_spike_carries_the_blank_of_its_batch() -> None:
    spike = sample("P", solid("A"), role=Role.POST_DIGESTION_SPIKE, Cu=1.5)
    found = find_solutions(run_of(*standards(Cu=10.0), *BLANKS, spike), method(blank_rule=BlankRule.SUBTRACT))
    assert found.concentration[7, 0] == pytest.approx(1.47)


# ---------------------------------------------------------------- uncertainties of the corrections


def subtracting(*blanks: At, rules: int = RULES) -> Solutions:
    """Return the solutions of a batch with these blanks and one sample, the last position."""
    run = noisy(run_of(*standards(Cu=10.0), *blanks, sample("A", solid("A", dilution=2.0), Cu=1.0)))
    return find_solutions(run, method(blank_rule=BlankRule.SUBTRACT, rules=rules))


def blanks(*contents: float) -> list[At]:
    return [sample(f"MB {i}", role=Role.METHOD_BLANK, Cu=content) for i, content in enumerate(contents)]


def test_the_mean_blank_has_the_uncertainty_of_a_mean() -> None:
    """s/sqrt(n): JCGM 100:2008 (GUM), 4.2.3; half of it in a solution that is diluted twice."""
    found = subtracting(*blanks(0.02, 0.04, 0.09))
    read = found.read[4:7, 0]
    assert found.u_blank[7, 0] == pytest.approx(np.std(read, ddof=1) / 3**0.5 / 2.0)
    assert found.u[7, 0] == pytest.approx(np.hypot(found.u_read[7, 0], found.u_blank[7, 0]))
    assert np.isnan(found.u_blank[:7, 0]).all()  # nothing is subtracted from standards and blanks


def test_a_single_blank_has_the_uncertainty_of_its_own_reading() -> None:
    found = subtracting(*blanks(0.03))
    assert found.u_blank[5, 0] == pytest.approx(found.u_read[4, 0] / 2.0)


def test_a_blank_whose_uncertainty_is_not_known_leaves_none_to_what_it_is_taken_from() -> None:
    # given an instrument that calibrates, a sample of three replicates, and a blank that was read once
    places = [*blanks(0.03), sample("A", Cu=1.0)]
    run = run_of(*places, signal=np.array([[0.03], [1.0]]))
    run.spread[0, 0] = np.nan
    found = find_solutions(run, method(instrument_calibrates=True, blank_rule=BlankRule.SUBTRACT, rules=RULES))
    assert found.concentration[1, 0] == pytest.approx(0.97)
    assert np.isnan(found.u[1, 0])


def test_blanks_in_another_order_give_the_same_bits() -> None:
    run = noisy(run_of(*standards(Cu=10.0), *blanks(0.02, 0.041, 0.093), sample("A", Cu=1.0)))
    swapped = replace(run, signal=run.signal[[0, 1, 2, 3, 6, 4, 5, 7]])
    one, other = (
        find_solutions(each, method(blank_rule=BlankRule.SUBTRACT, rules=RULES)).concentration[7]
        for each in (run, swapped)
    )
    assert one.tobytes() == other.tobytes()


def test_by_the_first_rules_an_uncertainty_is_that_of_the_reading_alone() -> None:
    found = subtracting(*blanks(0.02, 0.04), rules=1)
    assert found.u.tobytes() == found.u_read.tobytes()


def test_where_means_are_fitted_a_reading_of_as_many_replicates_is_one_observation() -> None:
    """EURACHEM/CITAC QUAM (2012), example A5: p counts what the fit counts; the sample's replicates for each of theirs.

    By the first rules the replicates of the sample counted alone, whatever the standards had.
    """
    run = noisy(run_of(*standards(Cu=10.0), sample("A", Cu=2.0)))  # all read in three replicates
    single = replace(run, count=np.ones_like(run.count))
    now, then = (find_solutions(run, method(rules=rules)).u[4, 0] for rules in (RULES, 1))
    assert now == pytest.approx(find_solutions(single, method(rules=1)).u[4, 0])
    assert now > then


def test_where_the_instrument_calibrates_the_replicates_are_all_that_is_known() -> None:
    run = run_of(sample("A", Cu=2.0), signal=np.array([[2.0]]))
    found = find_solutions(run, method(instrument_calibrates=True, rules=RULES))
    assert found.u[0, 0] == pytest.approx(5.0 / 3**0.5)


# ---------------------------------------------------------------- internal standard

YTTRIUM = replace(CU, key="Y 371.029", element="Y")


def beside_yttrium(*signals: float) -> Solutions:
    """Return the solutions of four standards and one sample, with these signals of yttrium."""
    run = run_of(*standards(Cu=10.0), sample("A", Cu=2.0), lines=(CU, YTTRIUM))
    run.signal[:, 1] = signals
    return find_solutions(run, method(internal_standard=YTTRIUM.key, rules=RULES))


@pytest.mark.parametrize(
    ("signals", "recovery"),
    [
        ((4000.0, 4100.0, 3900.0, 4000.0, 3000.0), 75.0),
        ((4000.0, float("nan"), 4000.0, 4000.0, 4400.0), 110.0),
        ((4000.0, 4000.0, 4000.0, 4000.0, 0.0), 0.0),
        ((4000.0, 4000.0, 4000.0, 4000.0, float("nan")), float("nan")),
        ((0.0, 0.0, 0.0, 0.0, 4000.0), float("nan")),
    ],
    ids=["low", "one standard not read", "dead", "not read", "none in the standards"],
)
def test_the_internal_standard_is_compared_with_its_calibration_solutions(
    signals: tuple[float, ...], recovery: float
) -> None:
    assert beside_yttrium(*signals).internal_standard_recovery[4] == pytest.approx(recovery, nan_ok=True)


def test_without_an_internal_standard_there_is_no_recovery() -> None:
    found = find_solutions(run_of(*standards(Cu=10.0), sample("A", Cu=2.0)), method(rules=RULES))
    assert np.isnan(found.internal_standard_recovery).all()


# ---------------------------------------------------------------- standard additions


def added_to(number: int, *amounts: float, sensitivity: float) -> list[At]:
    """Return a sample of 2 mg/L at this position, in a matrix that takes some of the signal, with its additions."""
    parent = sample("A", Cu=2.0 * sensitivity)
    return [
        parent,
        *(
            At(
                Position(0, Role.STANDARD_ADDITION, f"A + {amount}", parent=number, added={"Cu": amount}),
                {"Cu": (2.0 + amount) * sensitivity},
            )
            for amount in amounts
        ),
    ]


def by_additions(*places: At, **changes: object) -> Solutions:
    return find_solutions(run_of(*standards(Cu=10.0), *places), method(by_additions=True, rules=RULES, **changes))


def test_a_sample_is_calibrated_in_its_own_matrix() -> None:
    # given a matrix that leaves 70 % of the signal
    found = by_additions(*added_to(5, 1.0, 2.0, 4.0, sensitivity=0.7))
    # then the curve reads too little, and the additions do not
    assert found.through_curve[4, 0] == pytest.approx(1.4)
    assert found.read[4, 0] == pytest.approx(2.0)
    assert found.concentration[4, 0] == pytest.approx(2.0)
    assert found.additions[4, 0].n == 4
    assert found.u_read[4, 0] == found.additions[4, 0].u


@pytest.mark.parametrize(
    ("places", "why"),
    [
        ([sample("A", Cu=2.0)], "A has none. Plan and read its additions"),
        (added_to(5, 1.0, sensitivity=0.7), "the solution itself and at least two additions are needed"),
        (added_to(5, 1.0, 20.0, sensitivity=0.7), "the solution itself and at least two additions are needed"),
    ],
    ids=["no additions", "one addition", "an addition over range is not used"],
)
def test_a_sample_without_enough_additions_has_no_value(places: list[At], why: str) -> None:
    found = by_additions(*places)
    assert np.isnan(found.concentration[4, 0])
    assert why in str(found.why_no_concentration(4, 0))


def test_a_sample_over_range_stays_over_range() -> None:
    found = by_additions(sample("A", Cu=11.0))
    assert found.is_over_range(4, 0)
    assert found.read[4, 0] == pytest.approx(11.0)


def test_control_samples_are_read_through_the_curve() -> None:
    found = by_additions(check("V", cu=5.0), *blanks(0.03))
    assert found.read[4:, 0] == pytest.approx([5.0, 0.03])
    assert [found.why_no_concentration(row, 0) for row in (4, 5)] == [None, None]


# ---------------------------------------------------------------- the working range in use


def test_a_standard_left_out_takes_its_part_of_the_working_range() -> None:
    # given the highest of the standards 1, 5 and 10 mg/L left out
    places = [*standards(Cu=10.0), sample("A", Cu=6.0), sample("B", Cu=4.0)]
    run = replace(run_of(*places), left_out=frozenset({(4, CU.key)}))
    found, before = find_solutions(run, method(rules=RULES)), find_solutions(run, method(rules=1))
    # then what lies above the standards in use is over range; by the first rules the line's own range counted
    assert [found.range_top(4, 0), before.range_top(4, 0)] == [5.0, 10.0]
    assert [found.is_over_range(row, 0) for row in (4, 5)] == [True, False]
    assert not before.is_over_range(4, 0)


def test_the_quantification_limit_is_not_below_the_lowest_standard_in_use() -> None:
    run = replace(run_of(*standards(Cu=10.0), sample("A", Cu=2.0)), left_out=frozenset({(2, CU.key)}))
    assert find_solutions(run, method(rules=RULES)).quantification_limit(4, 0) == 5.0
    assert find_solutions(run, method(rules=1)).quantification_limit(4, 0) == 0.03
