"""Made up by volume or by mass: V = m / ρ, and solvent by difference (common practice, no source)."""

import pytest

from labresults.calculation.errors import CalculationError, NeedsDensity, NotPhysical
from labresults.calculation.making_up import final_volume, solvent_mass


@pytest.mark.parametrize(
    ("volume_mL", "final_g", "density", "expected"),
    [
        (50.0, None, None, 50.0),
        (None, None, None, None),
        (None, 51.0, 1.02, 50.0),
        (None, 10.0, 1.1, 10.0 / 1.1),  # unrounded
        (50.0, 51.0, 1.02, 50.0),
        (50.2, 51.0, 1.02, 50.2),  # 0.4 % away: as measured
        (50.0, None, 1.02, 50.0),
    ],
)
def test_the_volume_of_a_solution(
    volume_mL: float | None, final_g: float | None, density: float | None, expected: float | None
) -> None:
    assert final_volume(volume_mL, final_g, density) == expected


@pytest.mark.parametrize(
    ("given", "error", "says"),
    [
        ((None, 51.0, None), NeedsDensity, "density in kg/L too"),
        ((50.3, 51.0, 1.02), NotPhysical, "51.0 g at 1.02 kg/L are 50 mL, and 50.3 mL is given"),
        ((None, 51.0, 1020.0), NotPhysical, "is not the density of a solution"),
        ((50.0, None, 0.1), NotPhysical, "is not the density of a solution"),
    ],
)
def test_a_volume_that_cannot_be(given: tuple[float | None, ...], error: type[CalculationError], says: str) -> None:
    with pytest.raises(error, match=says):
        final_volume(*given)


@pytest.mark.parametrize(
    ("mass_g", "solvent_g", "final_g", "standard_g", "expected"),
    [
        (5.0, 45.0, None, None, 45.0),
        (5.0, None, None, None, None),
        (5.0, None, 50.0, None, 45.0),
        (5.0, None, 50.0, 0.5, 44.5),
        (None, None, 50.0, 0.5, 49.5),  # a method blank has no portion
        (5.0, 44.3, 50.0, 0.5, 44.3),  # 0.2 g of 50 g apart: as weighed
    ],
)
def test_the_solvent_is_weighed_or_what_is_left(
    mass_g: float | None, solvent_g: float | None, final_g: float | None, standard_g: float | None, expected: float
) -> None:
    assert solvent_mass(mass_g, solvent_g, final_g, standard_g) == expected


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ((5.0, None, 5.5, 0.5), "nothing is left for the solvent"),
        ((5.0, 44.0, 50.0, 0.5), "leaves 44.5 g for the solvent, and 44.0 g is given"),
    ],
)
def test_a_solvent_that_cannot_be(given: tuple[float | None, ...], says: str) -> None:
    with pytest.raises(NotPhysical, match=says):
        solvent_mass(*given)
