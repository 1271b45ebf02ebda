"""What fits together and what does not: beyond both uncertainties, on unrounded values, with the numbers in words."""

from dataclasses import replace

import pytest

from labresults.calculation.plausibility import (
    Rule,
    Seen,
    beside_earlier,
    by_two_methods,
    comparable,
    dissolved_above_total,
    duplicates_differ,
    oxide_total,
    ratio_outside,
)
from labresults.calculation.stoichiometry import oxide_factor
from labresults.terms import PlausibilityKind


def seen(value: float, u: float = 0.0, **other: object) -> Seen:
    """Copper in mg/L by one method, unless something else is said."""
    given: dict[str, object] = {
        "key": 1, "element": "Cu", "method": "A-1", "reported_as": "Cu", "unit": "mg/L", "value": value,
        "expanded_u": u, "detection_limit": 0.01,
    }  # fmt: skip
    return Seen(**(given | other))  # type: ignore[arg-type]


def rule(kind: PlausibilityKind, *elements: str, low: float | None = None, high: float | None = None) -> Rule:
    return Rule("a rule", kind, elements, low, high, "invented")


TWO = rule(PlausibilityKind.SAME_BY_TWO)


@pytest.mark.parametrize(
    ("one", "other", "asks"),
    [
        # |a − b| against √(U₁² + U₂²) (JCGM 100:2008, 5.1.2): 0.3² + 0.4² = 0.5²
        (seen(10.0, 0.3), seen(10.49, 0.4), False),
        (seen(10.0, 0.3), seen(10.51, 0.4), True),
        # mg/L beside µg/L: 10 mg/L is 10 000 µg/L
        (seen(10.0, 0.3), seen(10_000.0, 400.0, unit="ug/L"), False),
        # below a detection limit of 0.01: known to lie between zero and it
        (seen(0.0, 0.0, is_below=True), seen(0.012, 0.001), True),
        (seen(0.0, 0.0, is_below=True), seen(0.0105, 0.001), False),
        (seen(0.0, is_below=True), seen(0.0, is_below=True), False),
        # a mass fraction and a concentration need a density: nothing is said
        (seen(10.0, 0.3), seen(99.0, 0.4, unit="mg/kg"), False),
        (seen(10.0, 0.3), seen(99.0, 0.4, element="Zn", reported_as="Zn"), False),
        (seen(10.0, 0.3, basis="dry basis"), seen(99.0, 0.4, basis="as received"), False),
    ],
)
def test_one_element_by_two_methods(one: Seen, other: Seen, asks: bool) -> None:
    assert bool(by_two_methods(one, other, TWO)) is asks
    assert bool(by_two_methods(other, one, TWO)) is asks


def test_an_oxide_is_compared_as_the_element_that_it_holds() -> None:
    """Fe2O3 is 1.4297 times Fe: the standard atomic weights (CIAAW 2024), to the figures usually printed."""
    iron = seen(5.0, 0.05, element="Fe", reported_as="Fe", unit="%")
    oxide = seen(5.0 * oxide_factor("Fe2O3", "Fe"), 0.05, element="Fe", reported_as="Fe2O3", unit="%")
    assert oxide_factor("Fe2O3", "Fe") == pytest.approx(1.4297, abs=5e-5)
    assert by_two_methods(iron, oxide, TWO) is None
    found = by_two_methods(iron, seen(5.0, 0.05, element="Fe", reported_as="Fe2O3", unit="%", key=2), TWO)
    assert found is not None
    assert found.keys == (1, 2)
    assert "5 ± 0.05 %" in found.words


@pytest.mark.parametrize(
    ("dissolved", "total", "asks"),
    [
        (seen(1.2, 0.1), seen(1.0, 0.1), True),
        (seen(1.1, 0.1), seen(1.0, 0.1), False),  # within √2 × 0.1
        (seen(1.0, 0.1), seen(1.2, 0.1), False),
        (seen(0.02, 0.002), seen(0.0, is_below=True), True),
        (seen(0.0, is_below=True), seen(0.0, is_below=True), False),
    ],
)
def test_dissolved_is_not_above_total(dissolved: Seen, total: Seen, asks: bool) -> None:
    found = dissolved_above_total(dissolved, total, rule(PlausibilityKind.DISSOLVED_AND_TOTAL))
    assert bool(found) is asks


@pytest.mark.parametrize(("other", "asks"), [(11.9, False), (13.0, True), (10.1, False)])
def test_duplicates_agree_within_both_u_or_the_percentage(other: float, asks: bool) -> None:
    """10 and 11.9: 17.4 % of their mean, under 20 %; 10 and 13: 26 %."""
    allowed = rule(PlausibilityKind.DUPLICATES, high=20.0)
    assert bool(duplicates_differ(seen(10.0, 0.1), seen(other, 0.1), allowed)) is asks


OXIDES = {"Si": ("SiO2", 60.0), "Al": ("Al2O3", 15.0), "Fe": ("Fe2O3", 8.0), "Ca": ("CaO", 7.0)}
TOTAL = rule(PlausibilityKind.OXIDE_TOTAL, "Si", "Al", "Fe", "Ca", low=98.0, high=102.0)


def oxides(scale: float = 1.0, u: float = 0.1) -> list[Seen]:
    return [
        seen(value * scale, u, key=place, element=element, reported_as=oxide, unit="%")
        for place, (element, (oxide, value)) in enumerate(OXIDES.items())
    ]


@pytest.mark.parametrize(
    ("scale", "ignition", "asks"),
    [
        (1.0, 10.0, False),  # 90 + 10 = 100
        (1.0, None, True),  # 90 alone
        (1.0, 7.9, False),  # 97.9 + U of 0.2 reaches 98
        (1.0, 7.7, True),  # 97.7 + 0.2 does not
        (1.1, 4.0, True),  # 103
    ],
)
def test_oxides_add_up_with_their_loss_on_ignition(scale: float, ignition: float | None, asks: bool) -> None:
    found = oxide_total(oxides(scale), ignition, TOTAL)
    assert bool(found) is asks
    if found:
        assert found.keys == (0,)  # silica, the largest, asks
        assert "98 to 102 %" in found.words


def test_oxides_say_nothing_where_one_of_them_is_missing() -> None:
    assert oxide_total(oxides()[1:], None, TOTAL) is None
    assert oxide_total([], None, TOTAL) is None


EARLIER = [10.0, 11.0, 9.0, 10.5, 9.5, 10.2]


@pytest.mark.parametrize(
    ("value", "earlier", "asks"),
    [
        (10.4, EARLIER, False),
        (30.0, EARLIER, True),
        (1.0, EARLIER, True),
        (30.0, EARLIER[:5], False),  # five say nothing
        (30.0, [3.0, 30.0, 300.0, 0.3, 10.0, 100.0], False),  # wide spread
        (10.01, [10.0] * 8, False),  # no spread: the value's own uncertainty counts
    ],
)
def test_a_value_beside_earlier_ones_on_a_logarithmic_scale(value: float, earlier: list[float], asks: bool) -> None:
    found = beside_earlier(seen(value, 0.2), earlier, rule(PlausibilityKind.BESIDE_EARLIER, high=5.0))
    assert bool(found) is asks


def test_z_is_that_of_median_and_median_deviation_of_logarithms() -> None:
    """Logarithms 0, 0, 1, 2, 2 and 1 again: median 1, deviations 1, 1, 0, 1, 1, 0, their median 1, s = 1.4826."""
    earlier = [1.0, 1.0, 10.0, 100.0, 100.0, 10.0]
    found = beside_earlier(seen(1e9), earlier, rule(PlausibilityKind.BESIDE_EARLIER, high=5.0))
    assert found is not None
    assert f"z = {8 / 1.4826:.1f}" in found.words
    below = seen(0.0, detection_limit=1e-9, is_below=True)
    assert beside_earlier(below, earlier, rule(PlausibilityKind.BESIDE_EARLIER)) is not None
    assert beside_earlier(seen(0.0, detection_limit=1e9, is_below=True), earlier, TWO) is None


@pytest.mark.parametrize(
    ("zinc", "cadmium", "asks"),
    [(100.0, 1.0, False), (100.0, 10.0, True), (100.0, 5.05, False), (100_000.0, 1.0, True)],
)
def test_the_ratio_of_two_elements_beyond_its_uncertainty(zinc: float, cadmium: float, asks: bool) -> None:
    """At 19.8 with U of 1.1 the ratio reaches 20."""
    pair = [
        seen(zinc, zinc * 0.04, key=1, element="Zn", reported_as="Zn", unit="mg/kg"),
        seen(cadmium * 1000, cadmium * 40, key=2, element="Cd", reported_as="Cd", unit="ug/kg"),
    ]
    bounds = rule(PlausibilityKind.RATIO, "Zn", "Cd", low=20.0, high=5000.0)
    assert bool(ratio_outside(pair, bounds)) is asks
    assert ratio_outside(pair[:1], bounds) is None


def test_what_is_below_its_limit_is_as_near_as_it_may_be_to_its_duplicate() -> None:
    # given 3 ± 0.1 here and -1, below a limit of 2, in the duplicate: at least 3 beside 2, 40 % of their mean
    below = replace(seen(-1.0, 0.1), is_below=True, detection_limit=2.0)
    rule = Rule("duplicates", PlausibilityKind.DUPLICATES, (), None, 20.0, "")
    found = duplicates_differ(seen(3.0, 0.1), below, rule)
    assert found
    assert "at least 40 % apart" in found.words
    assert duplicates_differ(seen(3.0, 0.1), below, replace(rule, high=41.0)) is None


def test_what_is_added_up_does_not_hang_on_the_order_of_rows() -> None:
    # given silica by one method, and alumina by two that do not agree
    silica, alumina = (replace(seen(70.0, 0.1), element=of, method="X", basis="dry") for of in ("Si", "Al"))
    other = replace(alumina, method="Y", value=15.0)
    for rows in ([silica, alumina, other], [other, silica, alumina]):
        assert [{row.method for row in group} for group in comparable(rows)] == [{"X"}, {"Y"}]
    # and what is on another basis stands apart
    received = replace(silica, basis="as received")
    assert [[row.basis for row in group] for group in comparable([alumina, received])] == [["as received"], ["dry"]]
