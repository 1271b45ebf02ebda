"""What control samples should hold, in the unit of the report: m = c V, then as every content goes to the report."""

import pytest

from labresults.calculation.errors import NeedsMoisture, UnlikeUnits
from labresults.calculation.run import Determination, Portion
from labresults.calculation.spiking import added_as_reported, certified_as_reported, spiked_mg
from labresults.terms import Basis, SolutionKind, State


@pytest.mark.parametrize(
    ("value", "content_unit", "volume_mL", "expected_mg"),
    [(100.0, "mg/L", 1.0, 0.1), (1.0, "g/L", 0.5, 0.5), (500.0, "ug/L", 2.0, 0.001)],
)
def test_mass_added_with_a_solution(value: float, content_unit: str, volume_mL: float, expected_mg: float) -> None:
    assert spiked_mg(value, content_unit, volume_mL) == pytest.approx(expected_mg, rel=1e-15)


def test_a_solution_by_mass_adds_no_known_mass() -> None:
    with pytest.raises(UnlikeUnits, match="without a density"):
        spiked_mg(100.0, "mg/kg", 1.0)


def spiked(**changes: object) -> Portion:
    """0.5 g with 0.1 mg of copper, 20 % moisture: 200 mg/kg as received, 250 mg/kg on the dry basis."""
    given = {"mass_g": 0.5, "added_mg": {"Cu": 0.1}, "moisture_percent": 20.0, **changes}
    return Portion("A S", "B26-0001", SolutionKind.MASS_IN_VOLUME, **given)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("portion", "determination", "expected"),
    [
        (spiked(), Determination("Cu", "Cu", "mg/kg"), 200.0),
        (spiked(), Determination("Cu", "Cu", "g/t"), 200.0),
        (spiked(), Determination("Cu", "Cu", "%"), 0.02),
        (spiked(basis=Basis.DRY), Determination("Cu", "Cu", "mg/kg"), 250.0),
        # 1 Cu to CuO: 79.545/63.546 with the weights of CIAAW 2024 (63.546, 15.999)
        (spiked(), Determination("Cu", "CuO", "mg/kg"), 200.0 * 79.545 / 63.546),
    ],
)
def test_added_content_in_the_unit_and_on_the_basis_of_the_report(
    portion: Portion, determination: Determination, expected: float
) -> None:
    assert added_as_reported(portion, determination) == pytest.approx(expected, rel=1e-9)


def test_an_element_that_was_not_spiked_has_no_added_content() -> None:
    assert added_as_reported(spiked(), Determination("Pb", "Pb", "mg/kg")) is None


def test_added_content_of_a_water() -> None:
    water = Portion("W S", "B26-0001", SolutionKind.VOLUME_IN_VOLUME, aliquot_mL=50.0, added_mg={"Cu": 0.01})
    assert added_as_reported(water, Determination("Cu", "Cu", "ug/L")) == pytest.approx(200.0, rel=1e-12)


def test_without_the_moisture_there_is_no_dry_basis() -> None:
    wet = spiked(moisture_percent=None, state=State.AS_RECEIVED, basis=Basis.DRY)
    with pytest.raises(NeedsMoisture, match="loss on drying"):
        added_as_reported(wet, Determination("Cu", "Cu", "mg/kg"))


def test_a_certified_content_as_it_is_reported() -> None:
    assert certified_as_reported(120.0, "mg/kg", Determination("Cu", "Cu", "%")) == pytest.approx(0.012, rel=1e-12)
    with pytest.raises(UnlikeUnits):
        certified_as_reported(5.0, "mg/L", Determination("Cu", "Cu", "mg/kg"))
