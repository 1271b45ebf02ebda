"""What a portion was made up to, by volume or by mass.

V = m / ρ with m in g and ρ in kg/L (= g/mL) gives mL; solvent = solution − portion − internal standard, all in g
(common practice, no source).
"""

from labresults.calculation.errors import NeedsDensity, NotPhysical

AGREES_WITHIN = 0.005
"""How far a volume and a mass of the same solution may lie apart, relative (common practice, no source)."""

DENSITIES = (0.5, 2.5)
"""What the density of a test solution can be, kg/L: from petrol to concentrated acids, with room (common practice,
no source). A density in g/L, a thousandfold, is caught by it."""


def final_volume(volume_mL: float | None, final_g: float | None, solution_kg_per_L: float | None) -> float | None:
    """Return the volume of the solution [mL]: as measured, else from its mass and density; None where neither is known.

    Raises NeedsDensity where only the mass is known; NotPhysical for a density that no solution has, and where volume
    and mass disagree by more than 0.5 %.
    """
    if solution_kg_per_L is not None and not DENSITIES[0] <= solution_kg_per_L <= DENSITIES[1]:
        raise NotPhysical(
            f"{solution_kg_per_L} kg/L is not the density of a solution: it lies between {DENSITIES[0]} and "
            f"{DENSITIES[1]} kg/L. Look at its unit."
        )
    if final_g is None:
        return volume_mL
    if solution_kg_per_L is None:
        raise NeedsDensity("The solution was weighed: give its density in kg/L too.")
    by_mass_mL = final_g / solution_kg_per_L
    if volume_mL is None:
        return by_mass_mL
    if abs(volume_mL - by_mass_mL) > AGREES_WITHIN * by_mass_mL:
        raise NotPhysical(
            f"{final_g} g at {solution_kg_per_L} kg/L are {by_mass_mL:.6g} mL, and {volume_mL} mL is given. Correct "
            "the one that is wrong, or leave it out."
        )
    return volume_mL


def solvent_mass(
    mass_g: float | None, solvent_g: float | None, final_g: float | None, internal_standard_g: float | None
) -> float | None:
    """Return the mass of solvent [g]: as weighed, else what the solution weighs beyond portion and internal standard.

    None where neither is known. Raises NotPhysical where nothing is left for the solvent, and where the two disagree
    by more than 0.5 % of the solution.
    """
    if final_g is None:
        return solvent_g
    by_difference_g = final_g - (mass_g or 0.0) - (internal_standard_g or 0.0)
    if by_difference_g <= 0:
        raise NotPhysical(f"The solution weighs {final_g} g: nothing is left for the solvent. Weigh or read again.")
    if solvent_g is None:
        return by_difference_g
    if abs(solvent_g - by_difference_g) > AGREES_WITHIN * final_g:
        raise NotPhysical(
            f"The solution of {final_g} g leaves {by_difference_g:.6g} g for the solvent, and {solvent_g} g is given. "
            "Correct the one that is wrong, or leave it out."
        )
    return solvent_g
