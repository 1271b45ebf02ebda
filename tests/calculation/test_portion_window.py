"""What of a portion is not as its method states it: decided on the values as read, said in words with both."""

import pytest

from labresults.calculation.portion_window import departures, is_stated_volume


@pytest.mark.parametrize(
    ("volume_mL", "stated_mL", "is_it"),
    [
        (50.0, 50.0, True),
        (50.25, 50.0, True),  # a graduated tube, read to its quarter
        (52.1 / 1.02, 50.0, True),  # made up by mass
        (47.5, 50.0, True),  # the last that is meant as it
        (47.49, 50.0, False),
        (52.6, 50.0, False),
        (100.0, 50.0, False),  # the next flask
        (25.0, 20.0, False),  # the two nearest of the usual flasks
    ],
)
def test_a_volume_near_the_stated_one_is_meant_as_it(volume_mL: float, stated_mL: float, is_it: bool) -> None:
    assert is_stated_volume(volume_mL, stated_mL) is is_it


@pytest.mark.parametrize(
    ("mass_g", "volume_mL", "said"),
    [
        (0.5, 50.0, {}),
        (0.45, 50.0, {}),
        (0.4499, 50.0, {"mass_g": "0.4499 g lies outside 0.45 to 0.55 g."}),
        (0.5, 100.0, {"volume_mL": "100 mL is not the 50 mL that the method makes up to."}),
        (5.0, 25.0, {
            "mass_g": "5.0 g lies outside 0.45 to 0.55 g.",
            "volume_mL": "25 mL is not the 50 mL that the method makes up to.",
        }),
        (None, 100.0, {"volume_mL": "100 mL is not the 50 mL that the method makes up to."}),  # a method blank
        (None, None, {}),
    ],
)  # fmt: skip
def test_what_is_not_as_stated_is_said(mass_g: float | None, volume_mL: float | None, said: dict[str, str]) -> None:
    assert departures(mass_g, volume_mL, low_g=0.45, high_g=0.55, stated_mL=50.0) == said


def test_what_a_method_does_not_state_is_free() -> None:
    assert departures(3.0, 137.0, low_g=None, high_g=None, stated_mL=None) == {}
