"""Factors between units, and what is refused."""

from decimal import Decimal

import numpy as np
import pytest

from labresults.calculation.errors import NeedsDensity, NotPhysical, UnknownUnit, UnlikeUnits
from labresults.calculation.units import UNITS, convert, factor, factor_with_density, unit
from tests.calculation.published import published

UNIT_CASES = published("units")


@pytest.mark.parametrize("case", UNIT_CASES["conversions"], ids=lambda case: f"{case['from']} to {case['to']}")
def test_a_number_is_carried_from_unit_to_unit(case: dict[str, float | str]) -> None:
    found = convert(np.array([case["value"]]), str(case["from"]), str(case["to"]))
    assert found[0] == pytest.approx(case["expected"], rel=5e-9)


@pytest.mark.parametrize(
    ("one", "other", "expected"),
    [("%", "mg/kg", "1E+4"), ("g/t", "mg/kg", "1"), ("g/100 g", "%", "1"), ("ug/L", "mg/L", "0.001")],
)
def test_factors_are_exact(one: str, other: str, expected: str) -> None:
    assert factor(one, other) == Decimal(expected)


def test_a_troy_ounce_per_short_ton_is_240_sevenths_of_a_gram_per_tonne() -> None:
    assert factor("oz/st", "g/t") * 7 == pytest.approx(Decimal(240), rel=Decimal("1e-25"))


@pytest.mark.parametrize("text", ["µg/kg", "μg/kg", "ug/kg", " ug/kg "], ids=["micro", "mu", "u", "spaces"])
def test_micro_is_read_in_each_way_that_it_is_written(text: str) -> None:
    assert unit(text).key == "ug/kg"


@pytest.mark.parametrize("key", UNITS)
def test_a_printed_unit_leads_back_to_its_key(key: str) -> None:
    assert unit(UNITS[key].printed).key == key


@pytest.mark.parametrize("text", ["ppm", "ppb", "mg", "", "mg/l"])
def test_a_unit_without_a_clear_meaning_is_refused(text: str) -> None:
    with pytest.raises(UnknownUnit, match="Use one of"):
        unit(text)


def test_mass_and_volume_do_not_meet_without_a_density() -> None:
    with pytest.raises(UnlikeUnits, match="density"):
        factor("mg/L", "mg/kg")
    with pytest.raises(NeedsDensity, match="kg/L"):
        factor_with_density("mg/L", "mg/kg", None)


def test_a_density_leads_from_volume_to_mass_and_back() -> None:
    # given 8.0 mg/L in an oil of 0.832 kg/L (constructed)
    case = next(case for case in UNIT_CASES["basis"] if case["name"] == "density conversion")
    there = convert(np.array([case["value_mg_L"]]), "mg/L", "mg/kg", case["density_kg_L"])
    assert there[0] == pytest.approx(case["expected_mg_kg"], rel=1e-6)
    assert convert(there, "mg/kg", "ug/L", case["density_kg_L"])[0] == pytest.approx(8000.0)


def test_an_impossible_density_is_refused() -> None:
    with pytest.raises(NotPhysical):
        factor_with_density("mg/L", "mg/kg", 0.0)


def test_what_is_missing_stays_missing() -> None:
    assert np.isnan(convert(np.array([np.nan]), "mg/kg", "%")[0])
