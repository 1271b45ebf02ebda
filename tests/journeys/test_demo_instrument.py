"""The invented bench and instrument: a reader finds what they write, and the same truth gives the same bytes."""

import json
from dataclasses import replace

import numpy as np
import pytest

from labresults.readers.layout import Layout
from labresults.readers.read import read as read_readings
from labresults.terms import SolutionKind
from reports.demo.bench import MadeUp, solution
from reports.demo.data import read
from reports.demo.files import FORMS
from reports.demo.instrument import Disturbance, Instrument, Measured, Place, ReadLine, measure
from reports.demo.truth import Population, Zone, about, contents, of_portion

SILENT = Instrument(
    replicates=3,
    scatter=0.0,
    floor=0.0,
    uptake_scatter=0.0,
    drift_a_place=0.0,
    saturated_at=4.0,
    background=50.0,
    full_scale=1000.0,
)
"""Without noise, so that what it does can be told by hand: 1000 counts/s at the top of a range."""

COPPER = ReadLine("Cu 327.396", "Cu", range_top=10.0, detection_limit=0.01)
ZINC = ReadLine("Zn 213.856", "Zn", range_top=10.0, detection_limit=0.01, pretended={"Cu": 0.1})
PLACES = [
    Place(1, "STD 0", {}),
    Place(2, "KF26-00001", {"Cu": 2.0, "Zn": 1.0}),
    Place(3, "KF26-00002", {"Cu": 41.0, "Zn": 0.5}),
]


def layouts() -> dict[str, Layout]:
    found = [Layout.from_json(json.dumps(raw)) for raw in read("layouts")["layouts"]]
    return {layout.name: layout for layout in found}


def measured(**named: object) -> Measured:
    return measure(SILENT, PLACES, [COPPER, ZINC], seed=(1,), **named)  # type: ignore[arg-type]


@pytest.mark.parametrize("form", list(FORMS))
def test_each_form_is_read_back_number_by_number(form: str) -> None:
    noisy = Instrument(**{**vars(SILENT), "scatter": 0.01, "floor": 1.0})
    signals = measure(noisy, PLACES, [COPPER, ZINC], seed=(7,))
    write, ending = FORMS[form]

    found = read_readings(write(signals), f"readings.{ending}", layouts()[form])

    assert not found.problems
    assert found.lines == ("Cu 327.396", "Zn 213.856")
    by_place = {(r.position, r.line): r for r in found.readings}
    assert by_place[3, "Cu 327.396"].saturated
    for i, place in enumerate(PLACES):
        for j, line in enumerate((COPPER, ZINC)):
            reading = by_place[place.number, line.key]
            assert reading.label == place.label
            assert reading.count == (0 if reading.saturated else 3)
            if not reading.saturated:
                assert reading.mean == pytest.approx(signals.signals[i, j].mean(), abs=0.005)


@pytest.mark.parametrize("form", list(FORMS))
def test_the_same_readings_give_the_same_bytes(form: str) -> None:
    write, _ = FORMS[form]
    assert write(measured()) == write(measured())


def test_a_signal_is_background_sensitivity_and_what_others_pretend() -> None:
    signals = measured().signals[:, :, 0]
    np.testing.assert_allclose(signals[0], [50.0, 50.0])
    np.testing.assert_allclose(signals[1], [50.0 + 200.0, 50.0 + 100.0 + 20.0])
    assert np.isnan(signals[2, 0])  # 41 is more than four times the range of 10
    assert np.isfinite(signals[2, 1])


def test_a_disturbance_reaches_its_places_and_its_line_only() -> None:
    disturbed = measured(disturbances=[Disturbance("Zn 213.856", 2, 2, 1.5)]).signals[:, :, 0]
    usual = measured().signals[:, :, 0]
    assert disturbed[1, 1] - 50.0 == pytest.approx(1.5 * (usual[1, 1] - 50.0))
    disturbed[1, 1] = usual[1, 1]
    np.testing.assert_array_equal(disturbed, usual)


def test_a_disturbance_may_grow_and_may_be_of_one_replicate() -> None:
    usual = measured().signals - 50.0
    grown = measured(disturbances=[Disturbance("Zn 213.856", 1, 3, 0.8, grows=True)]).signals - 50.0
    np.testing.assert_allclose(grown[:, 1], usual[:, 1] * np.array([[1.0], [0.9], [0.8]]))
    single = measured(disturbances=[Disturbance("Zn 213.856", 2, 2, 0.5, replicate=1)]).signals
    np.testing.assert_allclose(single[1, 1] / measured().signals[1, 1], [1.0, 0.5, 1.0])


def test_a_line_that_carries_over_still_sees_what_was_read_before() -> None:
    carrying = Instrument(**{**vars(SILENT), "carried": 0.1})
    lines = [COPPER, replace(ZINC, pretended={}, carries=True)]
    signals = measure(carrying, [*PLACES, Place(4, "RINSE 1", {})], lines, seed=(1,)).signals[:, :, 0] - 50.0
    np.testing.assert_allclose(signals[:, 1], [0.0, 100.0, 50.0 + 10.0, 5.0])  # of what stood before, not of its rest
    assert signals[3, 0] == 0.0


@pytest.mark.parametrize(
    ("made", "expected"),
    [
        (MadeUp(SolutionKind.MASS_IN_VOLUME, mass_g=0.5, volume_mL=50.0), 2.0),
        (MadeUp(SolutionKind.MASS_IN_VOLUME, mass_g=0.5, volume_mL=50.0, dilution=10.0), 0.2),
        (MadeUp(SolutionKind.MASS_IN_VOLUME, mass_g=0.5, volume_mL=50.0, dry=0.9), 1.8),
        (MadeUp(SolutionKind.MASS_IN_VOLUME, mass_g=0.5, volume_mL=50.0, added_mg={"Cu": 0.1}), 4.0),
        (MadeUp(SolutionKind.MASS_IN_MASS, mass_g=5.0, solvent_g=45.0), 20.0),
        (MadeUp(SolutionKind.VOLUME_IN_VOLUME, aliquot_mL=25.0, volume_mL=50.0), 100.0),
        (MadeUp(SolutionKind.MASS_IN_VOLUME, volume_mL=50.0, added_mg={"Cu": 0.1}), 2.0),  # a method blank
    ],
    ids=["mass", "diluted", "moist", "spiked", "oil", "water", "blank"],
)
def test_a_portion_becomes_a_solution(made: MadeUp, expected: float) -> None:
    assert solution({"Cu": 200.0}, made)["Cu"] == pytest.approx(expected)


def test_contents_follow_the_stated_rule_and_what_is_stated_wins() -> None:
    population = Population(
        seed=9,
        unit="mg/kg",
        base={"Cu": 100.0, "Zn": 50.0},
        scatter={"Cu": 0.0, "Zn": 0.3},
        rise={"Cu": 2.0},
        zones=(Zone(centre=2.0, width=1.0, height=1.0),),
        stated={"3": {"Zn": 7.0}},
    )
    first, second, third = contents(population, 3, seed=1)

    assert second["Cu"] == pytest.approx(100.0 * 10**2)
    assert first["Cu"] == pytest.approx(100.0 * 10 ** (2 * np.exp(-0.5)))
    assert third["Zn"] == 7.0
    assert first["Zn"] not in (50.0, second["Zn"])
    assert contents(population, 3, seed=1)[0] == first
    assert contents(population, 3, seed=2)[0] != first


def test_two_portions_of_a_sample_differ_a_little_and_one_is_always_the_same() -> None:
    one, other = (of_portion({"Cu": 100.0}, key, 0.01, seed=1)["Cu"] for key in ("B1 a", "B1 a D"))
    assert one != other
    assert one == of_portion({"Cu": 100.0}, "B1 a", 0.01, seed=1)["Cu"]
    assert abs(one - 100.0) < 5.0


def test_masses_are_as_the_balance_shows_them() -> None:
    masses = about(30.0, 0.002, 0.01, [f"tube {n}" for n in range(50)], seed=1)
    assert all(mass == round(mass, 2) for mass in masses)
    assert all(abs(mass - 30.0) <= 2.5 * 0.002 * 30.0 + 0.005 for mass in masses)
    assert len(set(masses)) > 10
