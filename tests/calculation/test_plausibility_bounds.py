"""Just beyond a bound and just within it; below a limit; other units and forms; and the words, number by number."""

from dataclasses import replace
from math import log10

import pytest

from labresults.calculation.plausibility import (
    Rule,
    Seen,
    beside_earlier,
    by_two_methods,
    comparable,
    dissolved_above_total,
    duplicates_differ,
    farther_apart,
    oxide_total,
    ratio_outside,
)
from labresults.terms import PlausibilityKind
from tests.calculation.test_plausibility import rule, seen

BELOW = {"is_below": True}


# ---------------------------------------------------------------- two values


@pytest.mark.parametrize(
    ("one", "other", "asks"),
    [
        # a limit of 10 µg/L is one of 0.01 mg/L: 0.012 − 0.001 lies above it, 0.0105 − 0.001 does not
        (seen(0.012, 0.001), seen(0.0, unit="ug/L", detection_limit=10.0, **BELOW), True),
        (seen(0.0105, 0.001), seen(0.0, unit="ug/L", detection_limit=10.0, **BELOW), False),
        # both below: between 0 and 1, and between 0 and 10, though one reads 5 ± 1
        (seen(0.2, detection_limit=1.0, **BELOW), seen(5.0, 1.0, detection_limit=10.0, **BELOW), False),
        # 3 − 1 is the limit of 2, and not above it
        (seen(3.0, 1.0), seen(0.0, detection_limit=2.0, **BELOW), False),
        # farther apart than √(0.3² + 0.4²) = 0.5, and by just that
        (seen(10.0, 0.3), seen(10.5, 0.4), False),
        (seen(10.0, 0.3), seen(10.5001, 0.4), True),
    ],
)
def test_two_values_are_apart_beyond_both_u_and_no_sooner(one: Seen, other: Seen, asks: bool) -> None:
    for first, second in ((one, other), (other, one)):
        assert bool(by_two_methods(first, second, rule(PlausibilityKind.SAME_BY_TWO))) is asks
        assert bool(farther_apart(first, second)) is asks


def test_a_second_measurement_is_given_as_the_first_is_reported() -> None:
    """By hand: 10 000 ± 400 µg/L, above a limit of 20 µg/L, is 10 ± 0.4 mg/L above one of 0.02."""
    other = seen(10_000.0, 400.0, unit="ug/L", detection_limit=20.0)
    found = farther_apart(seen(12.0, 0.3), other)
    assert found is not None
    assert (found.value, found.expanded_u, found.detection_limit, found.unit) == (10.0, 0.4, 0.02, "mg/L")
    oxide = farther_apart(an_oxide("Fe", "Fe", 5.0), an_oxide("Fe", "Fe2O3", 14.297))
    assert oxide is not None
    assert (oxide.value, oxide.reported_as) == (pytest.approx(10.0, rel=1e-4), "Fe")  # 14.297 / 1.4297


@pytest.mark.parametrize("other", [{"basis": "dry"}, {"unit": "mg/kg"}, {"element": "Zn", "reported_as": "Zn"}])
def test_what_cannot_be_brought_together_is_not_compared(other: dict[str, str]) -> None:
    one, two = seen(99.0, 0.1), seen(1.0, 0.1, **other)
    assert farther_apart(one, two) is None
    assert dissolved_above_total(one, two, rule(PlausibilityKind.DISSOLVED_AND_TOTAL)) is None
    assert duplicates_differ(one, two, rule(PlausibilityKind.DUPLICATES, high=20.0)) is None


@pytest.mark.parametrize(
    ("dissolved", "total", "asks"),
    [
        # below a limit of 1: it may be nothing, whatever was read
        (seen(0.5, 0.01, detection_limit=1.0, **BELOW), seen(0.2, 0.01), False),
        # 500 ± 20 µg/L above 0.2 mg/L
        (seen(500.0, 20.0, unit="ug/L"), seen(0.2, 0.01), True),
    ],
)
def test_dissolved_beside_a_total(dissolved: Seen, total: Seen, asks: bool) -> None:
    found = dissolved_above_total(replace(dissolved, key=7), total, rule(PlausibilityKind.DISSOLVED_AND_TOTAL))
    assert bool(found) is asks
    if found:
        assert found.keys == (7, 1)
        assert found.words == "Cu dissolved is 500 ± 20 ug/L, above the total of 200 ± 10 ug/L, beyond both U."


@pytest.mark.parametrize(
    ("one", "other", "high", "words"),
    [
        # 9 and 11 are 20 % of their mean apart: not more than 20
        (9.0, 11.0, 20.0, ""),
        (9.0, 11.0, 19.9, "Cu is 9 ± 0 mg/L here and 11 ± 0 mg/L in its duplicate: 20 % apart."),
        # where the rule allows nothing, all beyond both U: 0.5 %
        (10.0, 10.05, None, "Cu is 10 ± 0 mg/L here and 10.05 ± 0 mg/L in its duplicate: 0.499 % apart."),
    ],
)
def test_a_percentage_between_duplicates(one: float, other: float, high: float | None, words: str) -> None:
    found = duplicates_differ(seen(one), seen(other, key=2), rule(PlausibilityKind.DUPLICATES, high=high))
    assert (found.words if found else "") == words
    assert found is None or found.keys == (1,)


def test_duplicates_without_a_mean_to_be_a_percentage_of_ask() -> None:
    assert duplicates_differ(seen(1.0), seen(-1.0), rule(PlausibilityKind.DUPLICATES, high=20.0))


def test_either_of_two_duplicates_may_be_below_its_limit() -> None:
    # given 3 beside what is below 2: at least 40 % of their mean, whichever comes first
    below, above = seen(-1.0, detection_limit=2.0, **BELOW), seen(3.0)
    for one, other in ((below, above), (above, below)):
        found = duplicates_differ(one, other, rule(PlausibilityKind.DUPLICATES, high=20.0))
        assert found is not None
        assert "at least 40 % apart" in found.words
        assert "below 2 mg/L" in found.words


# ---------------------------------------------------------------- what is added up


def test_what_each_method_gives_of_another_element_stands_together_and_what_stands_twice_is_left_out() -> None:
    silica, alumina = (seen(50.0, element=of, method=by) for of, by in (("Si", "X"), ("Al", "Y")))
    assert comparable([silica, alumina]) == [[silica, alumina]]  # each once: one set, of two methods
    # given alumina twice by Y, then Y says nothing, and X what it has
    assert comparable([silica, alumina, replace(alumina, value=40.0)]) == [[silica]]


def an_oxide(element: str, compound: str, value: float, **other: object) -> Seen:
    return seen(value, **({"element": element, "reported_as": compound, "unit": "%"} | other))


SILICA, ALUMINA = an_oxide("Si", "SiO2", 80.0), an_oxide("Al", "Al2O3", 17.5, key=2)


def total(*, low: float | None = 98.0, high: float | None = 102.0) -> Rule:
    return rule(PlausibilityKind.OXIDE_TOTAL, low=low, high=high)


@pytest.mark.parametrize(
    ("values", "ignition", "words"),
    [
        ([SILICA, ALUMINA], None, "2 oxides add up to 97.5 ± 0 %: expected 98 to 102 %."),
        ([SILICA, ALUMINA], 0.5, ""),  # 98, which is expected
        ([SILICA, ALUMINA], 0.4, "2 oxides with 0.4 % loss on ignition add up to 97.9 ± 0 %: expected 98 to 102 %."),
        ([SILICA], None, ""),  # one oxide is no total
        # 17.5 % is 175 000 mg/kg, and its U of 10 000 mg/kg is 1 %
        ([SILICA, replace(ALUMINA, value=175_000.0, unit="mg/kg")], 0.5, ""),
        (
            [SILICA, replace(ALUMINA, value=125_000.0, expanded_u=10_000.0, unit="mg/kg")], None,
            "2 oxides add up to 92.5 ± 1 %: expected 98 to 102 %.",
        ),
        # an element as itself is no oxide, and mg/L are no part of a mass: neither is added
        ([SILICA, ALUMINA, an_oxide("Fe", "Fe", 9.0)], 0.5, ""),
        ([SILICA, ALUMINA, an_oxide("Fe", "Fe2O3", 9.0, unit="mg/L")], 0.5, ""),
        # what is below its limit counts as zero, whatever was read
        ([SILICA, ALUMINA, an_oxide("Fe", "Fe2O3", 6.0, detection_limit=7.0, **BELOW)], 0.5, ""),
        (
            [SILICA, ALUMINA, an_oxide("Fe", "Fe2O3", 6.0, detection_limit=7.0, **BELOW)], None,
            "3 oxides add up to 97.5 ± 0 %: expected 98 to 102 %.",
        ),
        (
            [SILICA, ALUMINA, an_oxide("Fe", "Fe2O3", 6.0)], None,
            "3 oxides add up to 103.5 ± 0 %: expected 98 to 102 %.",
        ),
    ],
)  # fmt: skip
def test_oxides_are_what_is_added_up(values: list[Seen], ignition: float | None, words: str) -> None:
    found = oxide_total(values, ignition, total())
    assert (found.words if found else "") == words
    assert found is None or found.keys == (1,)  # silica, the largest, asks


@pytest.mark.parametrize(
    ("bounds", "sum_percent", "u", "expected"),
    [
        ({"low": None, "high": 90.0}, 97.5, 0.0, "at most 90"),
        ({"low": 99.0, "high": None}, 97.5, 0.0, "at least 99"),
        ({"low": None, "high": 97.5}, 97.5, 0.0, ""),
        ({"low": 97.5, "high": None}, 97.5, 0.0, ""),
        ({"low": None, "high": 97.0}, 97.5, 0.5, ""),  # 97.5 − 0.5 is 97, which is allowed
        ({"low": None, "high": 97.0}, 97.5, 0.4, "at most 97"),
        ({"low": 98.0, "high": None}, 97.5, 0.5, ""),
        ({"low": 98.0, "high": None}, 97.5, 0.4, "at least 98"),
    ],
)
def test_a_bound_may_stand_alone_and_u_reaches_over_it(
    bounds: dict[str, float | None], sum_percent: float, u: float, expected: str
) -> None:
    values = [replace(SILICA, value=sum_percent - 17.5, expanded_u=u), ALUMINA]
    found = oxide_total(values, None, total(**bounds))
    assert bool(found) is bool(expected)
    assert found is None or f"expected {expected} %" in found.words


# ---------------------------------------------------------------- beside earlier values

WIDE = [2.0, 2.0, 20.0, 20.0, 200.0, 200.0]
"""Logarithms 0, 0, 1, 1, 2, 2 above lg 2: median 20, median deviation 1, and s = 1.4826."""
S = 1.4826


def earlier(high: float | None = None) -> Rule:
    return rule(PlausibilityKind.BESIDE_EARLIER, high=high)


@pytest.mark.parametrize(
    ("z", "high", "asks"),
    [
        (4.9, None, False), (5.1, None, True), (-4.9, None, False), (-5.1, None, True),  # where nothing is said, 5
        (3.1, 3.0, True), (2.9, 3.0, False), (7.9, 8.0, False), (8.1, 8.0, True),
    ],
)  # fmt: skip
def test_z_beyond_what_the_rule_says(z: float, high: float | None, asks: bool) -> None:
    assert bool(beside_earlier(seen(20 * 10 ** (z * S)), WIDE, earlier(high))) is asks


def test_the_words_hold_range_median_and_z() -> None:
    found = beside_earlier(seen(2e9), WIDE, earlier(high=4.5))
    assert found is not None
    assert found.words == (
        "2e+09 ± 0 mg/L does not fit 6 earlier samples, 2 to 200 mg/L with a median of 20: z = 5.4 on a logarithmic"
        " scale, beyond 4.5."
    )


@pytest.mark.parametrize(("high", "asks"), [(3.0, True), (3.2, False)])
def test_a_values_own_uncertainty_counts_on_the_scale_of_lg(high: float, asks: bool) -> None:
    """By hand: lg 1.06 = 0.025306, and u = 0.4 / 2 of 10.6 is 0.2 / 10.6 / ln 10 = 0.0081943 on that scale: z 3.09."""
    assert log10(1.06) / 0.0081943 == pytest.approx(3.09, abs=0.005)
    assert bool(beside_earlier(seen(10.6, 0.4), [10.0] * 8, earlier(high))) is asks


@pytest.mark.parametrize(
    ("value", "known"),
    [
        (seen(1e9), [2.0, 0.0, 20.0, 20.0, 200.0, 200.0]),  # five are above zero
        (seen(1e9), [2.0, -1.0, 20.0, 20.0, 200.0, 200.0]),
        (seen(0.0), WIDE),  # no logarithm
        (seen(-3.0), WIDE),
        (seen(30.0), [10.0] * 6),  # no spread and no uncertainty: nothing to measure by
        (seen(0.0, detection_limit=1e9, **BELOW), WIDE),  # below a limit far above: it may be like the others
        (seen(0.0, detection_limit=20 * 10 ** (0.8 * S), **BELOW), WIDE),  # as below one a little above, z 0.8
    ],
)
def test_nothing_is_said_where_nothing_can_be(value: Seen, known: list[float]) -> None:
    assert beside_earlier(value, known, earlier(high=0.5)) is None


# ---------------------------------------------------------------- ratios

RATIO = rule(PlausibilityKind.RATIO, "K", "Rb", low=None, high=300.0)
RUBIDIUM = seen(100.0, element="Rb", reported_as="Rb", unit="mg/kg", key=2)


@pytest.mark.parametrize(
    ("potassium", "rubidium", "words"),
    [
        # 4 % of K2O is 4 / 1.2046 = 3.3206 % of K, 33 206 mg/kg: 332 times the rubidium
        (an_oxide("K", "K2O", 4.0), RUBIDIUM, "K : Rb is 332 ± 0: expected at most 300."),
        (an_oxide("K", "K2O", 3.6), RUBIDIUM, ""),  # 299
        # 4 % of K and 0.01 % of Rb2O, which holds 0.914 of Rb: 40 000 / 91.4 = 437
        (an_oxide("K", "K", 4.0), replace(RUBIDIUM, reported_as="Rb2O"), "K : Rb is 437 ± 0: expected at most 300."),
        (an_oxide("K", "K", 4.0, detection_limit=9.0, **BELOW), RUBIDIUM, ""),
        (an_oxide("K", "K", 4.0), replace(RUBIDIUM, is_below=True), ""),
        (an_oxide("K", "K", 4.0), replace(RUBIDIUM, value=0.0), ""),
        (an_oxide("K", "K", 4.0), replace(RUBIDIUM, value=-100.0), ""),
        (an_oxide("K", "K", 4.0), replace(RUBIDIUM, value=0.5), "K : Rb is 8e+04 ± 0: expected at most 300."),
        (an_oxide("K", "K", 4.0), replace(RUBIDIUM, unit="mg/L"), ""),  # no density is guessed
    ],
)
def test_a_ratio_is_that_of_the_elements(potassium: Seen, rubidium: Seen, words: str) -> None:
    found = ratio_outside([rubidium, potassium], RATIO)
    assert (found.words if found else "") == words
    if found:
        assert found.keys == (1, 2)
        assert (found.rule, found.source) == ("a rule", "invented")


def test_a_ratio_is_of_two_elements() -> None:
    three = replace(RATIO, elements=("K", "Rb", "Cs"))
    assert ratio_outside([an_oxide("K", "K", 4.0), RUBIDIUM], replace(RATIO, elements=("K",))) is None
    assert ratio_outside([an_oxide("K", "K", 4.0), RUBIDIUM, an_oxide("Cs", "Cs", 1.0)], three) is None
