"""Limits, marks and U of derived results where something is below or over its range; derivatives and ends by hand."""

from math import sqrt

import pytest

from labresults.calculation.derived import derive
from labresults.calculation.derived_formula import bounds, derivatives, value_at
from labresults.calculation.derived_terms import Definition, Term, flaws_of
from labresults.terms import BelowInSum, DerivedForm, Mark
from tests.calculation.derived_builders import a_share, a_sum, found, shipped

# ---------------------------------------------------------------- limits and k


def test_both_limits_are_roots_of_squares_of_their_own() -> None:
    """By hand: detection limits √(3² + 4²) = 5, quantification limits √(6² + 8²) = 10."""
    definition = a_sum("Ca", "Mg")
    limits = {"detection_limit": {"Ca": 3.0, "Mg": 4.0}, "quantification_limit": {"Ca": 6.0, "Mg": 8.0}}
    derived = derive(definition, found(definition, {"Ca": 30.0, "Mg": 40.0}, "mg/L", **limits))
    assert (derived.detection_limit, derived.quantification_limit) == (5.0, 10.0)


def test_the_largest_k_of_the_inputs_is_that_of_the_whole() -> None:
    """By hand: u = 0.5, and U = 2.78 × 0.5 where one input has k = 2 and the other k = 2.78."""
    definition = a_sum("Ca", "Mg")
    inputs = found(
        definition, {"Ca": 10.0, "Mg": 20.0}, "mg/L", u={"Ca": 0.3, "Mg": 0.4},
        coverage_factor={"Ca": 2.78, "Mg": 2.0},
    )  # fmt: skip
    derived = derive(definition, inputs)
    assert derived.coverage_factor == 2.78
    assert derived.expanded_u == pytest.approx(1.39)


# SAR with Na 8, Ca 3 and Mg below its limit of 5. With Mg at its limit the root is √(8 / 2) = 2, and the derivatives
# are 1/2 by Na and −8 / (2 × 8 × 2) = −1/4 by Mg: √((0.4 / 2)² + (5 / 4)²). With Mg as nothing the root is √(3 / 2),
# and they are 1 / √1.5 and −8 / (2 × 3 × √1.5): √((0.4 / √1.5)² + (5 × 8 / (6 √1.5))²).
@pytest.mark.parametrize(
    ("rule", "detection_limit"),
    [
        (BelowInSum.RANGE, sqrt(0.2**2 + 1.25**2)),
        (BelowInSum.LIMIT, sqrt(0.2**2 + 1.25**2)),
        (BelowInSum.ZERO, sqrt((0.16 + (40 / 6) ** 2) / 1.5)),
    ],
)
def test_limits_are_those_at_the_point_that_the_rule_says(rule: BelowInSum, detection_limit: float) -> None:
    definition = shipped("sar", below=rule)
    limits = {"Na": 0.4, "Ca": 0.0, "Mg": 5.0}
    inputs = found(definition, {"Na": 8.0, "Ca": 3.0, "Mg": 1.0}, "mmol(c)/L", detection_limit=limits)
    assert derive(definition, inputs).detection_limit == pytest.approx(detection_limit)


def test_the_top_of_its_range_stands_in_place_of_what_is_over_it() -> None:
    """By hand: Ca over 24 with Mg 8 and Na 8: root 4, so 0.4 / 4 of sodium's limit is the limit of the whole."""
    definition = shipped("sar")
    inputs = found(
        definition, {"Na": 8.0, "Ca": None, "Mg": 8.0}, "mmol(c)/L", detection_limit={"Na": 0.4, "Ca": 0.0, "Mg": 0.0},
        over_range={"Na": False, "Ca": True, "Mg": False}, upper_limit={"Na": None, "Ca": 24.0, "Mg": None},
    )  # fmt: skip
    assert derive(definition, inputs).detection_limit == pytest.approx(0.1)


# ---------------------------------------------------------------- U and marks beside bounds


@pytest.mark.parametrize(
    ("below", "calcium", "magnesium", "sign", "has_u", "marks"),
    [
        (BelowInSum.ZERO, 30.0, 40.0, "", True, ()),
        (BelowInSum.ZERO, 30.0, 0.1, "", True, ()),
        (BelowInSum.RANGE, 30.0, 0.1, "", False, ()),  # from 30 to 31: a range has no U
        (BelowInSum.ZERO, 0.1, 0.1, "<", True, (Mark.BELOW_DETECTION,)),
        (BelowInSum.RANGE, 0.1, 0.1, "<", True, (Mark.BELOW_DETECTION,)),
        (BelowInSum.ZERO, None, 40.0, ">", False, (Mark.OVER_RANGE,)),
        (BelowInSum.ZERO, None, 0.1, ">", False, (Mark.OVER_RANGE,)),
    ],
)
def test_u_stands_beside_a_value_and_never_beside_a_range_or_what_is_at_least(
    below: BelowInSum, calcium: float | None, magnesium: float, sign: str, has_u: bool, marks: tuple[Mark, ...]
) -> None:
    definition = a_sum("Ca", "Mg", below=below)
    inputs = found(
        definition, {"Ca": calcium, "Mg": magnesium}, "mg/L", detection_limit=1.0, u=0.3, upper_limit=100.0,
        over_range={"Ca": calcium is None, "Mg": False},
    )  # fmt: skip
    derived = derive(definition, inputs)
    assert derived.sign == sign
    assert (derived.u is not None) is has_u
    assert derived.marks == marks


def test_u_is_not_that_of_a_quotient_of_which_only_a_bound_is_known() -> None:
    # given Ca over its range below the line: at most 8 / √((24 + 8) / 2)
    definition = shipped("sar")
    over = {"over_range": {"Na": False, "Ca": True, "Mg": False}, "upper_limit": {"Na": None, "Ca": 24.0, "Mg": None}}
    derived = derive(definition, found(definition, {"Na": 8.0, "Ca": None, "Mg": 8.0}, "mmol(c)/L", u=0.1, **over))
    assert (derived.sign, derived.bound, derived.u, derived.marks) == ("<", 2.0, None, (Mark.OVER_RANGE,))


def test_nothing_found_is_marked_and_less_than_its_own_limit_is_not() -> None:
    """By hand: limits 3 and 4 give 5 for the sum; 4.5 with 1 below 4 is less than 5, and may be 8.5."""
    definition = a_sum("Ca", "Mg")
    limits = {"detection_limit": {"Ca": 3.0, "Mg": 4.0}}
    nothing = derive(definition, found(definition, {"Ca": 1.0, "Mg": 1.0}, "mg/L", **limits))
    little = derive(definition, found(definition, {"Ca": 4.5, "Mg": 1.0}, "mg/L", **limits))
    assert (nothing.bound, nothing.marks) == (7.0, (Mark.BELOW_DETECTION,))
    assert (little.bound, little.marks) == (8.5, ())


@pytest.mark.parametrize(
    ("magnesium", "value", "at_most"),
    [(1.0, 10.0, 14.0), (4.0, 14.0, None)],  # below its limit of 4, and just found
)
def test_what_a_value_may_be_at_most_is_kept(magnesium: float, value: float, at_most: float | None) -> None:
    definition = a_sum("Ca", "Mg")
    limits = {"Ca": 3.0, "Mg": 4.0}
    derived = derive(definition, found(definition, {"Ca": 10.0, "Mg": magnesium}, "mg/L", detection_limit=limits))
    assert (derived.value, derived.sign, derived.at_most) == (value, "", at_most)


# ---------------------------------------------------------------- derivatives and ends, by hand


@pytest.mark.parametrize(
    ("definition", "values", "expected"),
    [
        # y = x / √(z / 2) at x = 8, z = 3 + 5: root 2, so 1/2, and −8 / (2 × 8 × 2) = −1/4 twice
        (shipped("sar"), {"Na": 8.0, "Ca": 3.0, "Mg": 5.0}, [0.5, -0.25, -0.25]),
        # y = 100 a / b at a = 10, b = 30 + 20: 100 / 50 = 2, and −100 × 10 / 50² = −0.4 twice
        (a_share(), {"Cu": 10.0, "Pb": 30.0, "Zn": 20.0}, [2.0, -0.4, -0.4]),
        (a_share(), {"Cu": 0.1, "Pb": 0.3, "Zn": 0.2}, [200.0, -40.0, -40.0]),  # 100 / 0.5, −100 × 0.1 / 0.5²
        # y = 100 a / (a + r) at a = 6, r = 2: 100 r / 64 = 3.125 for each of a, and −100 a / 64 = −9.375
        (
            shipped("base-saturation"), {"Ca": 6.0, "Mg": 0.0, "K": 0.0, "Na": 0.0, "Al": 2.0},
            [3.125, 3.125, 3.125, 3.125, -9.375],
        ),
        (a_sum("Ca", "Mg"), {"Ca": 6.0, "Mg": 2.0}, [1.0, 1.0]),
    ],
)  # fmt: skip
def test_derivatives(definition: Definition, values: dict[str, float], expected: list[float]) -> None:
    entered = derive(definition, found(definition, values, definition.terms[0].unit)).entered
    assert derivatives(definition, entered, {}) == pytest.approx(expected)


def test_less_than_one_may_be_divided_by() -> None:
    definition = a_share()
    inputs = found(definition, {"Cu": 0.1, "Pb": 0.3, "Zn": 0.2}, "mg/kg")
    assert derive(definition, inputs).value == pytest.approx(20.0)  # 100 × 0.1 / 0.5


def test_derivatives_are_nothing_where_nothing_is_divided_by() -> None:
    definition = a_share()
    entered = derive(definition, found(definition, {"Cu": 1.0, "Pb": 3.0, "Zn": 2.0}, "mg/kg")).entered
    assert derivatives(definition, entered, {1: 0.0, 2: 0.0}) == [0.0, 0.0, 0.0]
    assert value_at(definition, entered, {1: 0.0, 2: 0.0}) is None


# 100 Cu / (Pb + Zn) with Cu 10, Pb 50 and Zn below its limit of 30: from 100 × 10 / 80 to 100 × 10 / 50.
@pytest.mark.parametrize(
    ("rule", "value", "low", "high"),
    [
        (BelowInSum.RANGE, None, 12.5, 20.0),
        (BelowInSum.LIMIT, 12.5, None, None),
        (BelowInSum.ZERO, 20.0, None, None),
    ],
)
def test_a_share_of_what_it_is_no_part_of(
    rule: BelowInSum, value: float | None, low: float | None, high: float | None
) -> None:
    definition = a_share(rule)
    limits = {"Cu": 1.0, "Pb": 1.0, "Zn": 30.0}
    derived = derive(
        definition, found(definition, {"Cu": 10.0, "Pb": 50.0, "Zn": 2.0}, "mg/kg", detection_limit=limits)
    )
    assert (derived.value, derived.low, derived.high) == (value, low, high)
    assert bounds(definition, derived.entered) == (12.5, 20.0)


# 100 (Ca + Mg + K + Na) / (the same + Al), Al 2: with Ca 6 alone found 75 %; a limit of 2 for Mg leaves it at
# 100 × 8 / 10 = 80 % at most. With Al below its limit of 2 instead: from 75 % to 100 %.
@pytest.mark.parametrize(
    ("values", "limits", "ends"),
    [
        ({"Ca": 6.0, "Mg": 0.5, "Al": 2.0}, {"Mg": 2.0}, (75.0, 80.0)),
        ({"Ca": 6.0, "Mg": 0.0, "Al": 0.5}, {"Al": 2.0}, (75.0, 100.0)),
    ],
)
def test_the_ends_of_a_share_of_a_whole(
    values: dict[str, float], limits: dict[str, float], ends: tuple[float, float]
) -> None:
    definition = shipped("base-saturation", below=BelowInSum.RANGE)
    values = values | {"K": 0.0, "Na": 0.0}
    inputs = found(
        definition, values, "cmol(+)/kg", detection_limit={element: limits.get(element, 0.0) for element in values}
    )
    derived = derive(definition, inputs)
    assert (derived.low, derived.high) == ends


# Al over its range of 4 is at least 4 beside bases of 4: at most 50 %. Where it is over 0, at most 100 %: no bound.
@pytest.mark.parametrize(
    ("top", "sign", "bound", "why"), [(4.0, "<", 50.0, ""), (0.0, "", None, "> and < at once: over range")]
)
def test_a_share_of_at_most_all_of_it_is_no_bound(top: float, sign: str, bound: float | None, why: str) -> None:
    definition = shipped("base-saturation")
    values = {"Ca": 1.0, "Mg": 1.0, "K": 1.0, "Na": 1.0, "Al": None}
    inputs = found(
        definition, values, "cmol(+)/kg", over_range={element: element == "Al" for element in values},
        upper_limit={element: top if element == "Al" else None for element in values},
    )  # fmt: skip
    derived = derive(definition, inputs)
    assert (derived.sign, derived.bound, derived.why) == (sign, bound, why)


def test_a_share_of_what_it_is_no_part_of_may_be_more_than_all_of_it() -> None:
    """Cu over its range of 90, Pb 30 and Zn 20: at least 100 × 90 / 50 = 180 %."""
    definition = a_share()
    over = {"over_range": {"Cu": True, "Pb": False, "Zn": False}, "upper_limit": {"Cu": 90.0, "Pb": None, "Zn": None}}
    derived = derive(definition, found(definition, {"Cu": None, "Pb": 30.0, "Zn": 20.0}, "mg/kg", **over))
    assert (derived.sign, derived.bound) == (">", 180.0)


@pytest.mark.parametrize(
    ("definition", "column", "what"),
    [
        (a_share(unit="mg/kg"), "unit", "A part of a sum is given in %, not in mg/kg."),
        (a_share(unit="%"), "", ""),
    ],
)
def test_a_share_is_given_in_percent(definition: Definition, column: str, what: str) -> None:
    flaws = [(flaw.column, flaw.what) for flaw in flaws_of(definition)]
    assert flaws == ([(column, what)] if what else [])


def of_two_parts(form: DerivedForm, a: str, b: str) -> Definition:
    """Elements in either part, mg/kg."""
    terms = [Term(part, element, element, "mg/kg") for part, of in (("a", a), ("b", b)) for element in of.split()]
    return a_sum(unit="%", form=form, terms=tuple(terms), below=BelowInSum.RANGE)


# Zn is below its limit of 30 and may be nothing, Cu 10 and Pb 50 are known.
@pytest.mark.parametrize(
    ("definition", "ends"),
    [
        # of (Cu + Pb) / (Pb + Zn) one is in both parts, and the other is not: 60 / 80 and 60 / 50
        (of_two_parts(DerivedForm.PERCENT, "Cu Pb", "Pb Zn"), (75.0, 120.0)),
        # Pb in both parts of a quotient with a root: 50 / √(80 / 2) and 50 / √(50 / 2)
        (of_two_parts(DerivedForm.ROOT_RATIO, "Pb", "Pb Zn"), (50 / sqrt(40), 10.0)),
    ],
)
def test_the_ends_where_a_part_shares_something_with_the_other(
    definition: Definition, ends: tuple[float, float]
) -> None:
    values = {element: {"Cu": 10.0, "Pb": 50.0, "Zn": 2.0}[element] for element in
              dict.fromkeys(term.element for term in definition.terms)}  # fmt: skip
    limits = {element: 30.0 if element == "Zn" else 1.0 for element in values}
    entered = derive(definition, found(definition, values, "mg/kg", detection_limit=limits)).entered
    assert bounds(definition, entered) == pytest.approx(ends)


def test_a_share_of_a_whole_is_never_more_than_all_of_it() -> None:
    """Ca over its range of 5, beside 3 of other bases and 2 of Al: at least 100 × 8 / 10, at most 100 %."""
    definition = shipped("base-saturation")
    values = {"Ca": None, "Mg": 1.0, "K": 1.0, "Na": 1.0, "Al": 2.0}
    inputs = found(
        definition, values, "cmol(+)/kg", over_range={element: element == "Ca" for element in values},
        upper_limit={element: 5.0 if element == "Ca" else None for element in values},
    )  # fmt: skip
    assert bounds(definition, derive(definition, inputs).entered) == (80.0, 100.0)
