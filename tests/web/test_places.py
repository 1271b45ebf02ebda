"""Numbers of control samples and blanks, as a run's page shows them."""

import pytest

from labresults.templatetags.quantities import measure_unit, to_place
from labresults.terms import Measure


@pytest.mark.parametrize(
    ("value", "places", "expected"),
    [
        pytest.param(None, 1, "", id="nothing read"),
        pytest.param(2.96e-17, 3, "0.000", id="noise of a blank"),
        pytest.param(-0.0004, 3, "0.000", id="a rounded nothing has no sign"),
        pytest.param(-0.0126, 3, "\N{MINUS SIGN}0.013", id="below nothing"),
        pytest.param(113.42, 1, "113.4", id="percent"),
        pytest.param(0.35001, 3, "0.350", id="no finer than its limit"),
        pytest.param(12345.6, 3, "12\N{NO-BREAK SPACE}346", id="four figures, whole numbers whole"),
    ],
)
def test_a_value_is_shown_no_finer_than_it_means_something(value: float | None, places: int, expected: str) -> None:
    assert to_place(value, places) == expected


def test_every_measure_has_its_unit() -> None:
    units = {measure: measure_unit(measure).strip() for measure in Measure}

    assert units[Measure.RECOVERY] == "%"
    assert units[Measure.TIMES_QUANTIFICATION_LIMIT].endswith("limit")
    # ratios, a correlation and a probability are bare numbers
    bare = {Measure.ERROR_RATIO, Measure.HORWITZ_RATIO, Measure.CORRELATION, Measure.LACK_OF_FIT}
    assert {measure for measure, unit in units.items() if not unit} == bare
