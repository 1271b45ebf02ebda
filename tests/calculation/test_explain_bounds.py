"""The arithmetic of a bound, where a derived result has no value: what it is added up from, and why."""

import pytest

from labresults.terms import BelowInSum
from tests.calculation.derived_builders import a_set, a_sum, found, shipped
from tests.calculation.test_explain_derived import BASES, FLUORINE, steps_of


# The sum of Ca and Mg, with limits of 3 and 4: what is known where no value is, and why.
@pytest.mark.parametrize(
    ("calcium", "magnesium", "edition", "what", "numerator", "note"),
    [
        (1.0, 1.0, 2, "At most", "3 + 4", "nothing was found: every term at its limit"),
        (1.0, 1.0, 1, "At most", "5", "nothing was found"),  # √(3² + 4²), as it was
        (4.5, 1.0, 2, "At most", "4.5 + 4", "less was found than its detection limit: what was not found at its limit"),
        (None, 5.0, 2, "At least", "100 + 5", "Ca over range"),
        (None, 5.0, 1, "At least", "100 + 5", "Ca over range"),
        (None, None, 2, "At least", "100 + 100", "Ca and Mg over range"),
    ],
)
def test_a_bound_is_added_up_and_says_why(
    calcium: float | None, magnesium: float | None, edition: int, what: str, numerator: str, note: str
) -> None:
    definition = a_sum("Ca", "Mg")
    values = {"Ca": calcium, "Mg": magnesium}
    inputs = found(
        definition, values, "mg/L", detection_limit={"Ca": 3.0, "Mg": 4.0}, upper_limit=100.0, u=0.1,
        over_range={element: value is None for element, value in values.items()},
    )  # fmt: skip
    steps = steps_of(definition, inputs, edition)
    assert list(steps)[-1] == what
    assert (steps[what].numerator, steps[what].note, steps[what].denominator) == (numerator, note, None)
    assert "Standard uncertainty" not in steps
    assert "The formula" not in steps
    if calcium is None:
        assert steps["Ca, Ca"].numerator == "100 mg/L"
        assert steps["Ca, Ca"].note == "over range: at least the top of its range"


def test_a_bound_of_a_single_term_and_of_two_parts_is_the_number_alone() -> None:
    dry = shipped("dry-cu")
    moist = found(dry, {"Cu": 0.5}, "mg/kg", detection_limit=0.9, moisture_percent=10.0)
    assert steps_of(dry, moist)["At most"].numerator == "1"  # 0.9 / 0.9
    sar = shipped("sar")
    nothing = found(
        sar, {"Na": 8.0, "Ca": 0.1, "Mg": 0.1}, "mmol(c)/L", detection_limit={"Na": 0.0, "Ca": 1.0, "Mg": 1.0}
    )
    at_least = steps_of(sar, nothing)["At least"]
    assert (at_least.numerator, at_least.note) == ("8", "nothing was found of what it is divided by")  # 8 / √((1+1)/2)
    for count, numerator in ((7, "0.7"), (6, " + ".join(["0.1"] * 6))):
        many = a_set([(1.0, 0.05)] * count, detection_limit=count / 10)
        assert steps_of(shipped("grade-au"), many)["At most"].numerator == numerator
    share = shipped("base-saturation")
    over = {"over_range": {of: of == "Ca" for of in BASES}, "upper_limit": {of: 5.0 for of in BASES}}
    inputs = found(share, {**BASES, "Ca": None, "Mg": 3.0}, "cmol(+)/kg", **over)
    assert steps_of(share, inputs)["At least"].numerator == "80"  # 100 × (5 + 3) / (5 + 3 + 2)


def test_a_bound_of_the_first_edition_is_added_up_where_terms_counted_as_their_limits() -> None:
    definition = a_sum("Ca", "Mg", below=BelowInSum.LIMIT)
    limits = {"Ca": 3.0, "Mg": 4.0}
    nothing = found(definition, {"Ca": 1.0, "Mg": 1.0}, "mg/L", detection_limit=limits)
    assert steps_of(definition, nothing, 1)["At most"].numerator == "3 + 4"


def test_what_is_taken_away_has_its_sign_in_a_bound() -> None:
    """By hand: nothing found of either, so at most 1 of calcium, less nothing of fluorine."""
    steps = steps_of(FLUORINE, found(FLUORINE, {"Ca": 0.1, "F": 0.1}, "%", detection_limit=1.0))
    assert (steps["At most"].numerator, steps["At most"].value) == ("1 − 0", 1.0)


def test_the_limit_beside_a_bound_is_that_at_the_top_of_the_range() -> None:
    """Ca over 24 with Mg 8: root 4, so a quarter of sodium's limit of 0.4."""
    definition = shipped("sar")
    inputs = found(
        definition, {"Na": 8.0, "Ca": None, "Mg": 8.0}, "mmol(c)/L", detection_limit={"Na": 0.4, "Ca": 0.0, "Mg": 0.0},
        over_range={"Na": False, "Ca": True, "Mg": False}, upper_limit={"Na": None, "Ca": 24.0, "Mg": None},
    )  # fmt: skip
    step = steps_of(definition, inputs)["Detection limit"]
    assert (step.numerator, step.value) == ("√((0.25 × 0.4)²)", pytest.approx(0.1))
