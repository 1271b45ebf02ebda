"""How a portion becomes a solution, at the invented bench: the preparation forwards, written apart from the
calculation that goes back, so that the two can be compared. Pure.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from labresults.terms import SolutionKind

TO_SOLUTION_BASE = {"mg/kg": 1.0, "g/t": 1.0, "mg/L": 1.0, "%": 10_000.0, "g/100 g": 10_000.0}
"""From a unit of contents to mg/kg, or mg/L for waters. 1 % of mass is 10 000 mg/kg; 1 g/t is 1 mg/kg."""


@dataclass(frozen=True)
class MadeUp:
    """A portion as it was weighed, made up and diluted; `dilution` is the total factor [1], `dry` the dry share [1]."""

    kind: SolutionKind
    mass_g: float | None = None
    volume_mL: float | None = None
    aliquot_mL: float | None = None
    solvent_g: float | None = None
    dilution: float = 1.0
    dry: float = 1.0
    added_mg: Mapping[str, float] | None = None


def solution(content: Mapping[str, float], made: MadeUp) -> dict[str, float]:
    """Return what the measured solution holds of each element: mg/L, or mg/kg for portions diluted by mass.

    content: of the dry sample, mg/kg, or mg/L for a volume.
    """
    added = made.added_mg or {}
    elements = [*content, *(element for element in added if element not in content)]
    return {element: _one(content.get(element, 0.0), added.get(element, 0.0), made) for element in elements}


def _one(content: float, added_mg: float, made: MadeUp) -> float:
    if made.kind is SolutionKind.MASS_IN_MASS:
        mass_g, solvent_g = made.mass_g or 0.0, made.solvent_g or 0.0
        in_solution = content * made.dry * mass_g / (mass_g + solvent_g)
    else:
        taken = made.aliquot_mL if made.kind is SolutionKind.VOLUME_IN_VOLUME else made.mass_g
        amount_mg = content * made.dry * (taken or 0.0) / 1000 + added_mg
        in_solution = amount_mg / ((made.volume_mL or 1.0) / 1000)
    return in_solution / made.dilution
