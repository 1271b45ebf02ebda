"""Scales, ticks and written numbers of drawings."""

import pytest

from labresults.plots.axes import Scale, round_step, sampled, signed, spanning, written


def test_a_scale_lays_its_ends_on_the_ends_and_keeps_to_them() -> None:
    scale = Scale(0, 50, 100, 200)

    assert [scale.at(value) for value in (0, 25, 50, 80, -3)] == [100, 150, 200, 200, 100]


def test_standards_over_several_decades_are_laid_out_logarithmically() -> None:
    scale = spanning([0.1, 1, 10, 100], 0, 300, room=0)

    assert scale.is_log
    assert [round(scale.at(value), 6) for value in (0.1, 1, 10, 100)] == [0, 100, 200, 300]
    assert scale.ticks() == pytest.approx([0.1, 1, 10, 100])


def test_standards_within_a_decade_are_laid_out_evenly() -> None:
    scale = spanning([0, 0.2, 0.4, 0.6, 0.8], 0, 100)

    assert not scale.is_log
    assert scale.ticks() == pytest.approx([0, 0.2, 0.4, 0.6, 0.8])


def test_one_value_alone_has_a_scale_too() -> None:
    scale = spanning([7.0], 0, 100)

    assert scale.at(7.0) == pytest.approx(50)


@pytest.mark.parametrize(("step", "expected"), [(0.9, 1), (1, 1), (1.1, 2), (2.1, 5), (5.5, 10), (0.03, 0.05)])
def test_steps_are_round(step: float, expected: float) -> None:
    assert round_step(step) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("value", "figures", "expected"),
    [
        (1874.66, 6, "1\N{NO-BREAK SPACE}874.66"),
        (0.1, 3, "0.1"),
        (1e-7, 3, "0.0000001"),
        (-12.5, 6, "\N{MINUS SIGN}12.5"),
        (100000, 3, "100\N{NO-BREAK SPACE}000"),
        (0.0, 3, "0"),
        (float("nan"), 3, "none"),
    ],
)
def test_numbers_are_written_in_plain_notation(value: float, figures: int, expected: str) -> None:
    assert written(value, figures) == expected


def test_residuals_carry_their_sign() -> None:
    assert [signed(value, 2) for value in (0.75, -0.72)] == ["+0.75", "\N{MINUS SIGN}0.72"]


def test_a_curve_is_sampled_from_end_to_end() -> None:
    scale = Scale(1, 100, 0, 10, is_log=True)

    points = sampled(lambda x: 2 * x, scale, count=3)

    assert points == [pytest.approx((1, 2)), pytest.approx((10, 20)), pytest.approx((100, 200))]
