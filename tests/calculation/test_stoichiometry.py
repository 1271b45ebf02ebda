"""Formulas, and factors from element to compound."""

import pytest

from labresults.calculation.atomic_weights.ciaaw_2024 import ELEMENTS
from labresults.calculation.errors import UnknownCompound
from labresults.calculation.stoichiometry import WEIGHTS_EDITION, compound_factor, oxide_factor, parse_formula
from tests.calculation.published import published

OXIDES = published("oxide_factors")


@pytest.mark.parametrize(("oxide", "row"), OXIDES["factors"].items(), ids=OXIDES["factors"])
def test_oxide_factors_follow_from_the_weights(oxide: str, row: tuple[str, float]) -> None:
    element, expected = row
    assert oxide_factor(oxide, element) == pytest.approx(expected, abs=6e-7)


def test_zirconium_has_its_weight_of_2024() -> None:
    assert oxide_factor("ZrO2", "Zr") == pytest.approx(OXIDES["ZrO2 with 91.222"], abs=6e-7)
    assert "2024" in WEIGHTS_EDITION


@pytest.mark.parametrize("case", OXIDES["cases"], ids=lambda case: case["oxide"])
def test_contents_are_carried_between_element_and_oxide(case: dict[str, float | str]) -> None:
    # given a content of the element to be reported as oxide, or (K2O) the other way
    factor = oxide_factor(str(case["oxide"]), str(case["element"]))
    value = float(case["value_percent"])
    found = value / factor if case["oxide"] == "K2O" else value * factor
    assert found == pytest.approx(case["expected_percent"], abs=5e-3 if case["oxide"] == "Al2O3" else 5e-4)


def test_an_element_as_itself_is_left_alone() -> None:
    assert compound_factor("Cu", "Cu") == 1.0


@pytest.mark.parametrize(
    ("formula", "expected"),
    [
        ("Ca3(PO4)2", {"Ca": 3, "P": 2, "O": 8}),
        ("Al2(SO4)3", {"Al": 2, "S": 3, "O": 12}),
        ("NH4NO3", {"N": 2, "H": 4, "O": 3}),
        ("Mg(Al(OH)4)2", {"Mg": 1, "Al": 2, "O": 8, "H": 8}),
    ],
)
def test_formulas_are_read(formula: str, expected: dict[str, int]) -> None:
    assert dict(parse_formula(formula)) == expected


@pytest.mark.parametrize("formula", ["", "Xx2O3", "al2o3", "Al2O3 ", "(AlO", "AlO)", "2Al", "Al-O", "Al0"], ids=repr)
def test_what_is_no_formula_is_refused(formula: str) -> None:
    with pytest.raises(UnknownCompound):
        parse_formula(formula)


def test_a_compound_that_lacks_the_element_is_refused() -> None:
    with pytest.raises(UnknownCompound, match="holds no Mg"):
        compound_factor("CaCO3", "Mg")
    with pytest.raises(UnknownCompound, match="not an oxide"):
        oxide_factor("CaCO3", "Ca")


@pytest.mark.parametrize("element", ELEMENTS.values(), ids=ELEMENTS)
def test_cas_numbers_have_their_check_digit(element: object) -> None:
    digits = [int(digit) for digit in element.cas.replace("-", "")]  # type: ignore[attr-defined]
    weighted = sum(place * digit for place, digit in enumerate(reversed(digits[:-1]), start=1))
    assert weighted % 10 == digits[-1]
