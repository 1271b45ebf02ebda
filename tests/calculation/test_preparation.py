"""The chain from the solution back to the sample."""

from dataclasses import replace

import pytest

from labresults.calculation.errors import NeedsDensity, NeedsMoisture, NotPhysical, UnknownCompound, UnlikeUnits
from labresults.calculation.preparation import added_content, chain_factor, content_factor, reference_factor
from labresults.calculation.run import Determination, Portion
from labresults.terms import Basis, SolutionKind, State
from tests.calculation.builders import solid
from tests.calculation.published import published

PREPARATION = published("preparation")
BASIS = {case["name"]: case for case in published("units")["basis"]}
CU = Determination("Cu", "Cu", "mg/kg")
WATER = Portion("W1", "B1", SolutionKind.VOLUME_IN_VOLUME, volume_mL=50.0, aliquot_mL=10.0)
OIL = Portion("O1", "B1", SolutionKind.MASS_IN_MASS, mass_g=1.0, solvent_g=9.0)


def test_a_solid_is_carried_to_the_dry_basis() -> None:
    # given EPA 6010D, 12.2: 1.25 mg/L, 100 mL, 1.05 g, 82.3 % solids
    given, expected = PREPARATION["dry basis"]["inputs"], PREPARATION["dry basis"]["expected"]
    portion = solid(
        "P",
        mass_g=given["W_kg"] * 1000,
        volume_mL=given["V_L"] * 1000,
        moisture_percent=100.0 - given["percent_solids"],
    )
    # when carried as received and dry
    wet = given["C_mg_L"] * chain_factor(portion, CU, solution_unit="mg/L")
    dry = given["C_mg_L"] * chain_factor(portion, replace(CU, basis=Basis.DRY), solution_unit="mg/L")
    # then both are those of the formula
    assert wet == pytest.approx(expected["wet_mg_kg"], abs=5e-7)
    assert dry == pytest.approx(expected["dry_mg_kg"], abs=5e-7)


def test_a_dilution_multiplies_the_content() -> None:
    given = PREPARATION["diluted"]["inputs"]
    portion = solid("P", mass_g=given["W_kg"] * 1000, volume_mL=given["V_L"] * 1000, dilution=given["D"])
    found = given["C_mg_L"] * chain_factor(portion, CU, solution_unit="mg/L")
    assert found == pytest.approx(PREPARATION["diluted"]["expected"]["mg_kg"])


@pytest.mark.parametrize(("of_portion", "at_instrument"), [(5.0, 1.0), (1.0, 5.0), (2.0, 2.5)])
def test_dilutions_of_the_portion_and_at_the_instrument_multiply(of_portion: float, at_instrument: float) -> None:
    given = PREPARATION["reporting"]
    portion = solid("P", mass_g=given["mass_g"], volume_mL=given["volume_mL"], dilution=of_portion)
    found = given["c_mg_L"] * chain_factor(portion, CU, solution_unit="mg/L", dilution=at_instrument)
    assert found == pytest.approx(given["expected_mg_kg"])


@pytest.mark.parametrize(
    ("portion", "determination", "solution_unit", "expected"),
    [
        (WATER, Determination("Cu", "Cu", "ug/L"), "mg/L", 5000.0),
        (WATER, Determination("Cu", "Cu", "mg/L"), "ug/L", 0.005),
        (replace(WATER, volume_mL=None, aliquot_mL=None), Determination("Cu", "Cu", "mg/L"), "mg/L", 1.0),
        (OIL, CU, "mg/kg", 10.0),
        (replace(OIL, solvent_g=0.0), CU, "mg/kg", 1.0),
        (replace(OIL, density_kg_per_L=0.8), Determination("Cu", "Cu", "mg/L"), "mg/kg", 8.0),
        (replace(OIL, dilution=2.0), CU, "mg/kg", 20.0),
        (solid("P"), Determination("Cu", "Cu", "g/t"), "mg/L", 100.0),
        (solid("P"), Determination("Cu", "Cu", "%"), "mg/L", 0.01),
        (solid("P"), Determination("Al", "Al2O3", "%"), "mg/L", 0.01889426),
    ],
    ids=["water", "in ug/L", "as it is", "oil", "no solvent", "oil by volume", "diluted oil", "g/t", "%", "oxide"],
)
def test_each_kind_of_portion_has_its_way_back(
    portion: Portion, determination: Determination, solution_unit: str, expected: float
) -> None:
    assert chain_factor(portion, determination, solution_unit=solution_unit) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("state", "moisture", "basis", "expected"),
    [
        (State.AS_RECEIVED, None, Basis.AS_RECEIVED, 1.0),
        (State.AS_RECEIVED, 12.5, Basis.AS_RECEIVED, 1.0),
        (State.AS_RECEIVED, 12.5, Basis.DRY, 4.8 / 4.2),
        (State.AIR_DRY, 2.0, Basis.DRY, 100.0 / 98.0),
        (State.DRIED_105, None, Basis.DRY, 1.0),
        (State.DRIED_105, 12.5, Basis.DRY, 1.0),
        (State.DRIED_105, 12.5, Basis.AS_RECEIVED, 4.2 / 4.8),
    ],
)
def test_a_basis_is_reached_through_the_moisture_of_the_state(
    state: State, moisture: float | None, basis: Basis, expected: float
) -> None:
    assert (BASIS["as received to dry"]["value"], BASIS["as received to dry"]["expected"]) == (4.2, 4.8)
    portion = solid("P", state=state, moisture_percent=moisture)
    found = chain_factor(portion, replace(CU, basis=basis), solution_unit="mg/L")
    assert found == pytest.approx(100.0 * expected)


@pytest.mark.parametrize(
    ("state", "moisture", "basis"),
    [
        (State.AS_RECEIVED, None, Basis.DRY),
        (State.AIR_DRY, None, Basis.DRY),
        (State.AIR_DRY, 2.0, Basis.AS_RECEIVED),
        (State.DRIED_105, None, Basis.AS_RECEIVED),
        (State.DRIED_105, 0.0, Basis.AS_RECEIVED),
        (State.ASHED, 5.0, Basis.DRY),
        (State.ASHED, 5.0, Basis.AS_RECEIVED),
    ],
)
def test_a_basis_that_no_moisture_leads_to_is_refused(state: State, moisture: float | None, basis: Basis) -> None:
    portion = solid("P-7", state=state, moisture_percent=moisture)
    with pytest.raises(NeedsMoisture, match=f"P-7 was weighed {state.value}"):
        chain_factor(portion, replace(CU, basis=basis), solution_unit="mg/L")


def test_the_basis_of_the_sample_stands_before_that_of_the_determination() -> None:
    portion = solid("P", moisture_percent=50.0, basis=Basis.DRY)
    assert chain_factor(portion, CU, solution_unit="mg/L") == pytest.approx(200.0)


@pytest.mark.parametrize(
    ("portion", "reason"),
    [
        (solid("P", mass_g=0.0), "mass"),
        (replace(solid("P"), mass_g=None), "mass"),
        (solid("P", volume_mL=-1.0), "volume"),
        (solid("P", dilution=0.5), "at least 1"),
        (solid("P", mass_g=float("nan")), "mass"),
        (replace(WATER, aliquot_mL=None), "volume taken"),
        (replace(OIL, solvent_g=None), "solvent"),
    ],
    ids=["no mass", "mass missing", "volume", "dilution", "not a number", "aliquot", "solvent"],
)
def test_what_cannot_be_is_refused_by_name(portion: Portion, reason: str) -> None:
    with pytest.raises(NotPhysical, match=reason) as refusal:
        chain_factor(portion, CU, solution_unit="mg/kg" if portion.solvent_g or portion.key == "O1" else "mg/L")
    assert portion.key in str(refusal.value)


@pytest.mark.parametrize("moisture", [100.0, -1.0])
def test_a_moisture_that_cannot_be_is_refused(moisture: float) -> None:
    with pytest.raises(NotPhysical, match="loss on drying"):
        chain_factor(solid("P", moisture_percent=moisture), replace(CU, basis=Basis.DRY), solution_unit="mg/L")


def test_units_that_do_not_fit_are_refused() -> None:
    with pytest.raises(UnlikeUnits, match="calibrates in mg/kg"):
        chain_factor(solid("P"), CU, solution_unit="mg/kg")
    with pytest.raises(UnlikeUnits, match="no dry basis"):
        chain_factor(WATER, Determination("Cu", "Cu", "mg/L", Basis.DRY), solution_unit="mg/L")
    with pytest.raises(NeedsDensity):
        chain_factor(OIL, Determination("Cu", "Cu", "mg/L"), solution_unit="mg/kg")
    with pytest.raises(UnknownCompound):
        chain_factor(solid("P"), Determination("Mg", "CaCO3", "mg/kg"), solution_unit="mg/L")


def test_a_certified_content_is_compared_as_the_element() -> None:
    portion = solid("CRM", moisture_percent=20.0)
    determination = Determination("Al", "Al2O3", "%", Basis.DRY)
    assert reference_factor(portion, determination, "g/kg", solution_unit="mg/L") == pytest.approx(0.125)


@pytest.mark.parametrize(
    ("portion", "expected"),
    [(solid("S", added_mg={"Cu": 0.25}), 500.0), (replace(WATER, added_mg={"Cu": 0.25}), 25.0)],
    ids=["mg/kg", "mg/L"],
)
def test_what_was_added_is_a_content_of_the_portion(portion: Portion, expected: float) -> None:
    assert added_content(portion, "Cu") == pytest.approx(expected)
    assert added_content(portion, "Zn") is None


def test_the_content_as_weighed_knows_no_moisture() -> None:
    portion = solid("P", moisture_percent=50.0, basis=Basis.DRY)
    assert content_factor(portion, solution_unit="mg/L", dilution=2.0) == pytest.approx(200.0)
