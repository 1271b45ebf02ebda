"""What is to be measured again: cause, kind, factor, and why with its numbers."""

from dataclasses import replace

import numpy as np
import pytest

from labresults.calculation.evaluation import evaluate
from labresults.calculation.run import Criterion, MethodSpecification, ProposedRepeat, RunTable
from labresults.terms import Curve, Measure, Reach, Repeat, RepeatCause, Role
from tests.calculation.builders import (
    CONTINUING,
    CU,
    FE,
    At,
    changed,
    check,
    criterion,
    method,
    run_of,
    sample,
    standards,
)

SPREAD = replace(criterion(Role.SAMPLE, Measure.SPREAD, None, 5.0, Reach.SAMPLE), least_times=10.0)
OTHER = replace(CU, key="Cu 327.396", rank=2)


def proposed(run: RunTable, *criteria: Criterion, **changes: object) -> tuple[ProposedRepeat, ...]:
    return evaluate(run, specification(*criteria, **changes)).repeats


def specification(*criteria: Criterion, **changes: object) -> MethodSpecification:
    return method(*criteria, **({"rules": 2} | changes))  # type: ignore[arg-type]


def diluted(label: str, factor: float, *, again: bool = False, **holds: float) -> At:
    return changed(sample(label, **holds), dilution=factor, is_repeat=again)


@pytest.mark.parametrize(
    ("at", "expected"),
    [
        (sample("A", Cu=12.0), (RepeatCause.OVER_RANGE, Repeat.RE_DILUTE, 2.0)),
        (sample("A", Cu=39.0), (RepeatCause.OVER_RANGE, Repeat.RE_DILUTE, 5.0)),
        (diluted("A", 2.0, Cu=12.0), (RepeatCause.OVER_RANGE, Repeat.RE_DILUTE, 5.0)),
        (sample("A", Cu=900.0), (RepeatCause.OVER_RANGE, Repeat.RE_DILUTE, None)),
        (diluted("A", 10.0, Cu=0.02), (RepeatCause.UNDER_RANGE, Repeat.RE_DILUTE, 1.0)),
        (diluted("A", 1000.0, Cu=0.029), (RepeatCause.UNDER_RANGE, Repeat.RE_DILUTE, 5.0)),
    ],
    ids=["over", "farther over", "over although diluted", "beyond the list", "diluted for nothing", "diluted too far"],
)
def test_a_reading_outside_its_range_asks_for_the_smallest_factor_of_the_list(
    at: At, expected: tuple[RepeatCause, Repeat, float | None]
) -> None:
    # given the method's list 2, 5, 10, 50 and a range of 0.03 to 10 mg/L
    (found,) = proposed(run_of(*standards(Cu=10.0), at))
    assert (found.cause, found.kind, found.factor) == expected
    assert (found.position, found.line) == (5, CU.key)


def test_the_sentence_says_what_was_read_what_is_allowed_and_what_to_do() -> None:
    (over,) = proposed(run_of(*standards(Cu=10.0), sample("A", Cu=12.0)))
    assert over.why == (
        "Cu 324.754 reads 12 mg/L, above the working range of 10 mg/L. Dilute it × 2 and read it again."
    )
    (under,) = proposed(run_of(*standards(Cu=10.0), diluted("A", 10.0, Cu=0.02)))
    assert under.why == (
        "Cu 324.754 reads 0.02 mg/L diluted × 10, below the quantification limit of 0.03 mg/L. Read it undiluted."
    )


def test_what_was_diluted_for_another_line_is_not_asked_for_again() -> None:
    # given a repeat at ten times, made since iron was over range
    assert proposed(run_of(*standards(Cu=10.0), diluted("A", 10.0, again=True, Cu=0.02))) == ()


def test_two_lines_over_range_are_one_dilution_that_serves_both() -> None:
    run = run_of(*standards(Cu=10.0, Fe=100.0), sample("A", Cu=12.0, Fe=390.0), lines=(CU, FE))
    (found,) = proposed(run, lines=(CU, FE))
    assert (found.line, found.factor) == (None, 5.0)
    assert "Cu 324.754 reads 12 mg/L" in found.why
    assert "Fe 238.204 reads 390 mg/L" in found.why


def test_a_saturated_reading_has_no_factor() -> None:
    run = run_of(*standards(Cu=10.0), sample("A", Cu=5.0))
    run.saturated[4, 0] = True
    (found,) = proposed(run)
    assert (found.cause, found.kind, found.factor) == (RepeatCause.SATURATED, Repeat.RE_DILUTE, None)
    assert "no number to compute a factor from" in found.why


def test_replicates_that_spread_are_read_again_at_the_same_dilution() -> None:
    run = run_of(*standards(Cu=10.0), diluted("A", 2.0, Cu=5.0), sample("B", Cu=5.0))
    run.spread[4, 0] = 0.08 * run.signal[4, 0]
    (found,) = proposed(run, SPREAD)
    assert (found.position, found.cause, found.kind) == (5, RepeatCause.HIGH_SPREAD, Repeat.RE_READ)
    assert found.factor == 2.0


def test_a_failed_check_asks_for_what_it_brackets_and_nothing_else() -> None:
    # given a second check that reads a fifth too high, between two that hold
    places = [check("CCV 1", cu=5.0), sample("A", Cu=2.0), check("CCV 2", cu=6.0), sample("B", Cu=2.0)]
    run = run_of(*standards(Cu=10.0), *places, check("CCV 3", cu=5.0), sample("C", Cu=2.0), check("CCV 4", cu=5.0))
    found = proposed(run, CONTINUING)
    assert [(each.position, each.cause, each.kind) for each in found] == [
        (6, RepeatCause.FAILED_CHECK, Repeat.RE_READ),
        (8, RepeatCause.FAILED_CHECK, Repeat.RE_READ),
    ]
    assert found[0].why.startswith("CCV 2, position 7: Cu 324.754 found 6 mg/L of 5 mg/L: 120 %")


def test_a_failed_control_sample_of_a_batch_is_read_again_with_its_batch() -> None:
    blank = criterion(Role.METHOD_BLANK, Measure.TIMES_QUANTIFICATION_LIMIT, None, 0.5, Reach.BATCH)
    run = run_of(*standards(Cu=10.0), sample("MB", role=Role.METHOD_BLANK, Cu=0.1), sample("A", Cu=2.0))
    assert [each.position for each in proposed(run, blank)] == [5, 6]


def test_a_result_without_a_value_is_not_read_again_for_a_failed_check() -> None:
    run = run_of(*standards(Cu=10.0), sample("A", Cu=12.0), check("CCV 1", cu=6.0))
    assert [each.cause for each in proposed(run, CONTINUING)] == [RepeatCause.OVER_RANGE]


def test_an_internal_standard_outside_its_window_asks_for_the_whole_position() -> None:
    yttrium = replace(CU, key="Y 371.029", element="Y")
    window = criterion(Role.SAMPLE, Measure.INTERNAL_STANDARD, 70.0, 130.0, Reach.SAMPLE)
    run = run_of(*standards(Cu=10.0), sample("A", Cu=2.0), sample("B", Cu=2.0), lines=(CU, yttrium))
    run.signal[:, 1] = 10_000.0
    run.signal[4] *= 0.5
    found = proposed(run, window, lines=(CU, yttrium), internal_standard=yttrium.key)
    assert [(each.position, each.line, each.cause) for each in found] == [(5, None, RepeatCause.INTERNAL_STANDARD)]


def test_a_low_reading_after_a_very_high_one_is_read_again_after_a_rinse() -> None:
    sticky = replace(CU, carry_over=0.02)
    run = run_of(*standards(Cu=10.0), sample("A", Cu=9.0), sample("B", Cu=0.2), sample("C", Cu=0.2), lines=(sticky,))
    (found,) = proposed(run, lines=(sticky,))
    assert (found.position, found.cause, found.kind) == (6, RepeatCause.CARRY_OVER, Repeat.RE_READ)
    assert found.why.endswith("Read it again after a rinse.")
    assert found.why.count("Read it again") == 1


def test_lines_that_disagree_are_diluted_further() -> None:
    run = run_of(*standards(Cu=10.0), sample("A", Cu=5.0), lines=(CU, OTHER))
    run.signal[4, 1] *= 1.5
    (found,) = proposed(run, lines=(CU, OTHER), lines_agree_percent=10.0)
    assert (found.line, found.cause, found.kind, found.factor) == (
        None, RepeatCause.LINES_DISAGREE, Repeat.RE_DILUTE, 2.0,
    )  # fmt: skip


def test_what_was_not_read_is_read() -> None:
    run = run_of(*standards(Cu=10.0), sample("A", Cu=5.0))
    run.signal[4, 0] = np.nan
    (found,) = proposed(run)
    assert (found.cause, found.kind) == (RepeatCause.NOT_READ, Repeat.RE_READ)


def test_nothing_is_proposed_for_a_line_without_a_curve_or_for_what_holds() -> None:
    run = run_of(*standards(Cu=10.0), sample("A", Cu=5.0))
    assert proposed(run) == ()
    run.signal[:4, 0] = np.nan
    quadratic = replace(CU, curve=Curve.QUADRATIC)
    assert proposed(run, lines=(quadratic,)) == ()


def test_the_first_edition_of_the_rules_proposed_no_repeats() -> None:
    assert proposed(run_of(*standards(Cu=10.0), sample("A", Cu=12.0)), rules=1) == ()
