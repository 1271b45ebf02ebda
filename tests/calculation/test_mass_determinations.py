"""Moisture, loss on ignition, fire assay and extraction, against published figures."""

from dataclasses import replace

import pytest

from labresults.calculation import fire_assay, mass_loss
from labresults.calculation.errors import CalculationError, NeedsMoisture, NotPhysical, UnknownCompound, UnlikeUnits
from labresults.calculation.preparation import chain, chain_factor, content_factor
from labresults.calculation.run import Determination, Portion
from labresults.calculation.stoichiometry import charge_factor
from labresults.calculation.units import factor_with_density
from labresults.terms import Basis, SolutionKind, State
from tests.calculation.published import as_printed, published

PUBLISHED = published("mass_determinations")
SOIL = Portion("S1", "B1", SolutionKind.MASS_IN_VOLUME, mass_g=10.0, volume_mL=100.0, is_extraction=True)
CALCIUM = Determination("Ca", "Ca", "mg/kg", basis=Basis.DRY)


def test_water_on_dry_matter_is_the_published_one() -> None:
    # given a pan of 10.1 g, 36.8 g with wet soil, 32.2 g with dry soil
    given = PUBLISHED["soil water"]
    # when the loss is computed and put on the dry matter
    loss = mass_loss.loss_percent(given["tare_g"], given["before_g"], given["after_g"])
    # then it is the printed one; and the loss as a share of the whole is another number
    assert mass_loss.water_on_dry_matter(loss) == as_printed(given["expected_on_dry_matter"])
    assert loss == pytest.approx(100 * 4.6 / 26.7)
    assert mass_loss.moisture_from_water(mass_loss.water_on_dry_matter(loss)) == pytest.approx(loss, rel=1e-15)


def test_what_is_left_are_the_solids() -> None:
    given = PUBLISHED["percent solids"]
    loss = mass_loss.loss_percent(20.0, 120.0, 120.0 - given["moisture_percent"])
    assert 1 - loss / 100 == as_printed(given["expected_solids"])


@pytest.mark.parametrize("case", PUBLISHED["total moisture"]["cases"], ids=str)
def test_moisture_of_two_stages(case: dict[str, float | str]) -> None:
    found = mass_loss.total_moisture(float(case["air_dry"]), float(case["residual"]))
    assert found == as_printed(str(case["expected"]))


def test_a_content_of_the_ignited_material() -> None:
    given = PUBLISHED["ignited basis"]
    found = given["value"] * mass_loss.ignited_factor(given["loss_on_ignition_percent"])
    assert found == as_printed(given["expected"])


@pytest.mark.parametrize(
    ("tare_g", "before_g", "after_g", "says"),
    [
        (21.4, 21.4, 21.4, "was it put in"),
        (21.4, 26.6, 26.7, "exchanged"),
        (21.4, 26.6, 21.3, "another dish"),
        (-1.0, 26.6, 21.3, "was it put in"),
    ],
)
def test_masses_that_cannot_be_are_refused(tare_g: float, before_g: float, after_g: float, says: str) -> None:
    with pytest.raises(NotPhysical, match=says):
        mass_loss.loss_percent(tare_g, before_g, after_g)


@pytest.mark.parametrize(
    ("after_g", "again_g", "constant"),
    # 1 g of dry leaf in a dish of 21.0000 g: 0.1 % of it is 1 mg
    [(22.0009, 22.0000, True), (22.0011, 22.0000, False), (21.9991, 22.0000, True), (22.0, 22.0, True)],
)
def test_constant_mass(after_g: float, again_g: float, constant: bool) -> None:
    assert mass_loss.is_constant(after_g, again_g, 21.0) is constant


def test_the_second_weighing_counts() -> None:
    assert mass_loss.last_mass(22.7794, 22.7788) == 22.7788
    assert mass_loss.last_mass(22.7794, None) == 22.7794


def test_an_assay_ton_is_the_published_charge() -> None:
    given = PUBLISHED["assay ton"]
    assert as_printed(given["expected_g"]) == fire_assay.ASSAY_TON_G
    # 1 mg of bead from one assay ton is 1 troy ounce in a short ton, and as many g/t as the unit table says
    assert fire_assay.troy_ounces_per_short_ton(1.0, fire_assay.ASSAY_TON_G) == pytest.approx(1.0, rel=1e-15)
    in_g_per_t = fire_assay.content_of_bead(1.0, fire_assay.ASSAY_TON_G)
    assert in_g_per_t == as_printed(given["troy_ounce_per_short_ton_in_g_per_t"])
    assert in_g_per_t == pytest.approx(factor_with_density("oz/st", "g/t", None), rel=1e-12)


def test_half_the_charge_doubles_what_a_bead_says() -> None:
    assert fire_assay.content_of_bead(0.3, 15.0) == 2 * fire_assay.content_of_bead(0.3, 30.0) == pytest.approx(20.0)
    with pytest.raises(NotPhysical, match="Weigh again"):
        fire_assay.content_of_bead(0.3, 0.0)


@pytest.mark.parametrize(
    ("button_g", "says"), [(24.9, "below 25"), (25.0, ""), (45.0, ""), (45.1, "reduce the charge")]
)
def test_a_button_is_judged_at_once(button_g: float, says: str) -> None:
    found = fire_assay.judge_button(button_g, 25.0, 45.0)
    assert says in found if says else found == ""


def test_a_smaller_charge_raises_the_detection_limit() -> None:
    gold = Determination("Au", "Au", "g/t")
    whole = Portion("F1", "B1", SolutionKind.MASS_IN_VOLUME, mass_g=30.0, volume_mL=10.0)
    reduced = replace(whole, mass_g=15.0)
    factors = [chain_factor(portion, gold, solution_unit="mg/L") for portion in (whole, reduced)]
    assert factors[1] == pytest.approx(2 * factors[0], rel=1e-15)


@pytest.mark.parametrize("case", PUBLISHED["exchangeable charge"]["cases"], ids=lambda case: str(case["element"]))
def test_exchangeable_cations_are_counted_by_charge(case: dict[str, str]) -> None:
    ion, factor = charge_factor(case["element"])
    assert ion.endswith("+")
    assert float(case["lb_per_acre"]) * 0.5 * factor == as_printed(case["expected"])


def test_the_chain_ends_in_charge() -> None:
    # given 200.39 mg/kg of calcium, which is one centimole of charge in a kilogram: 40.078 / 2 × 10
    determination = replace(CALCIUM, unit="cmol(+)/kg", basis=Basis.AS_RECEIVED)
    portion = replace(SOIL, is_extraction=False)
    links = chain(portion, determination, solution_unit="mg/L")
    factor = chain_factor(portion, determination, solution_unit="mg/L")
    # then 20.039 mg/L in 100 mL of 10 g are 1 cmol(+)/kg, and the last link names the ion
    assert 20.039 * factor == pytest.approx(1.0, rel=1e-12)
    assert links[-1].note.startswith("Ca2+")


@pytest.mark.parametrize(
    ("refused", "error"),
    [
        (lambda: charge_factor("Al2O3"), UnknownCompound),
        (lambda: factor_with_density("mg/kg", "cmol(+)/kg", 1.0), UnlikeUnits),
        (lambda: mass_loss.ignited_factor(100.0), NotPhysical),
        (lambda: mass_loss.moisture_from_water(-1.0), NotPhysical),
    ],
)
def test_what_cannot_be_converted_is_refused(refused: object, error: type[CalculationError]) -> None:
    with pytest.raises(error):
        refused()  # type: ignore[operator]


def test_a_moist_portion_brings_water_into_the_extractant() -> None:
    given = PUBLISHED["moist extraction"]
    portion = replace(SOIL, moisture_percent=given["moisture_percent"])
    found = given["c_mg_L"] * chain_factor(portion, CALCIUM, solution_unit="mg/L")
    assert found == as_printed(given["expected_dry_mg_kg"])
    assert "2 mL of the portion's own water" in chain(portion, CALCIUM, solution_unit="mg/L")[0].note


@pytest.mark.parametrize(
    ("state", "moisture_percent", "is_extraction", "expected_mL"),
    [
        (State.AS_RECEIVED, 20.0, False, 100.0),  # digested: made up to the mark, water and all
        (State.AIR_DRY, 3.0, True, 100.3),
        (State.AIR_DRY, None, True, 100.0),
        (State.DRIED_105, 20.0, True, 100.0),  # its water is gone
    ],
)
def test_only_water_that_is_there_adds(
    state: State, moisture_percent: float | None, is_extraction: bool, expected_mL: float
) -> None:
    portion = replace(SOIL, state=state, moisture_percent=moisture_percent, is_extraction=is_extraction)
    factor = content_factor(portion, solution_unit="mg/L")
    # content in mg/kg for 1 mg/L is volume in mL over mass in g
    assert factor * 10.0 == pytest.approx(expected_mL)


def test_a_field_moist_portion_without_its_moisture_is_refused() -> None:
    with pytest.raises(NeedsMoisture, match="its own water adds"):
        chain_factor(SOIL, replace(CALCIUM, basis=Basis.AS_RECEIVED), solution_unit="mg/L")
