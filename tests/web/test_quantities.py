"""Numbers as pages show them: thousands parted, digits kept, judgement in a word and a shape."""

import pytest

from labresults.templatetags.quantities import (
    allowed,
    along,
    bound,
    day,
    factor,
    figures,
    gauge,
    observed,
    plain,
    things,
)
from labresults.terms import Measure

SPACE = "\u00a0"


@pytest.mark.parametrize(
    ("value", "count", "shown"),
    [
        (4.11991, 3, "4.12"),
        (4.119910, 7, "4.119910"),
        (5738.2, 7, f"5{SPACE}738.200"),
        (54270.0, 4, f"54{SPACE}270"),
        (0.0918, 4, "0.09180"),
        (9.9996, 4, "10.00"),
        (0.125, 2, "0.12"),
        (0.375, 2, "0.38"),
        (-0.5, 2, "\N{MINUS SIGN}0.50"),
        (0.0, 4, "0.0000"),
        (1e-7, 3, "0.000000100"),
        (1e30, 4, f"1{SPACE}" + SPACE.join(["000"] * 10)),
        (None, 4, ""),
    ],
)
def test_figures(value: float | None, count: int, shown: str) -> None:
    assert figures(value, count) == shown


@pytest.mark.parametrize(
    ("value", "sign", "shown"),
    [
        (6.615, "<", "6.7"),
        (6.615, ">", "6.6"),
        (0.0918, "<", "0.092"),
        (0.1 + 0.2, "<", "0.30"),  # 0.30000000000000004 is 0.3 that went through binary64
        (99.5, "<", "100"),
        (1234.5, ">", f"1{SPACE}234"),
    ],
)
def test_a_bound_holds_as_it_is_shown(value: float, sign: str, shown: str) -> None:
    assert bound(value, sign) == shown


@pytest.mark.parametrize(
    ("value", "shown"),
    [(0.45, "0.45"), (50.0, "50"), (1000.0, f"1{SPACE}000"), (48219, f"48{SPACE}219"), (1e-5, "0.00001"), (None, "")],
)
def test_plain(value: float | None, shown: str) -> None:
    assert plain(value) == shown


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (50 / 49, "1.02"),  # 1 mL added to 49 mL: 1.020408163
        (10.0, "10"),
        (2.5, "2.5"),
        (13.3333333, "13.33"),
        (12500.0, "12 500"),
        (12345.678, "12 346"),
        (None, ""),
    ],
)
def test_a_factor_has_four_figures_at_most_behind_which_nothing_before_the_point_is_lost(
    value: float | None, shown: str
) -> None:
    assert factor(value) == shown.replace(" ", SPACE)


@pytest.mark.parametrize(
    ("count", "word", "shown"),
    [(1, "sample", "1 sample"), (0, "sample", "0 samples"), (1200, "batch,batches", "1 200 batches")],
)
def test_things(count: int, word: str, shown: str) -> None:
    assert things(count, word) == shown.replace(" ", SPACE)


class Judged:
    """A criterion and an outcome in one."""

    def __init__(self, measure: Measure, low: float | None, high: float | None, observed: float | None = None) -> None:
        self.measure, self.low, self.high, self.observed = measure, low, high, observed


@pytest.mark.parametrize(
    ("judged", "shown"),
    [
        (Judged(Measure.RECOVERY, 90.0, 110.0), "90–110 %"),
        (Judged(Measure.DIFFERENCE, None, 20.0), "at most 20 %"),
        (Judged(Measure.RECOVERY, 80.0, None), "at least 80 %"),
        (Judged(Measure.TIMES_QUANTIFICATION_LIMIT, None, 0.5), "at most 0.5 × quantification limit"),
        (Judged(Measure.DIFFERENCE, -10.0, 10.0), "\N{MINUS SIGN}10 to 10 %"),
    ],
)
def test_what_is_allowed(judged: Judged, shown: str) -> None:
    assert allowed(judged).replace(SPACE, " ") == shown


@pytest.mark.parametrize(("value", "shown"), [(113.4, "113.4 %"), (None, "no value")])
def test_what_was_observed(value: float | None, shown: str) -> None:
    assert observed(Judged(Measure.RECOVERY, 90.0, 110.0, value)).replace(SPACE, " ") == shown


@pytest.mark.parametrize(
    ("value", "verdict", "shape", "css"),
    [
        (100.0, "within", "circle", 'class="gauge"'),
        (91.0, "close", "circle", "near"),
        (113.4, "outside", "path", "out"),
    ],
)
def test_a_gauge_has_a_shape_and_a_word(value: float, verdict: str, shape: str, css: str) -> None:
    drawn = gauge(value, 90.0, 110.0, verdict)
    assert f"<{shape}" in drawn
    assert css in drawn
    assert f">{verdict}</span>" in drawn


@pytest.mark.parametrize(("value", "low"), [(None, 90.0), (100.0, None)], ids=["no value", "one limit"])
def test_a_gauge_without_both_limits_is_a_word(value: float | None, low: float | None) -> None:
    drawn = gauge(value, low, 110.0, "outside")
    assert "<svg" not in drawn
    assert "outside" in drawn


def test_five_dots_say_where_in_words_too() -> None:
    drawn = along("runs")
    assert (drawn.count("<circle"), drawn.count('class="been"'), drawn.count('class="here"')) == (5, 2, 1)
    assert "at runs;" in drawn


def test_no_day_is_nothing() -> None:
    assert day(None) == ""
