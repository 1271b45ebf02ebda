"""What a control sample should hold, in the unit of the report: added to a spiked portion, or certified of a material.

m = c V for the mass added with a spiking solution (common practice, no source).
"""

from labresults.calculation.preparation import added_content, report_links, running_factors
from labresults.calculation.run import Determination, Portion
from labresults.calculation.stoichiometry import compound_factor
from labresults.calculation.units import factor


def spiked_mg(value: float, content_unit: str, volume_mL: float) -> float:
    """Return the mass that a volume of a spiking solution adds [mg].

    value, content_unit: what the solution holds, per volume. Raises UnlikeUnits for a content per mass; UnknownUnit.
    """
    return value * float(factor(content_unit, "mg/L")) * volume_mL / 1000


def added_as_reported(portion: Portion, determination: Determination) -> float | None:
    """Return what was spiked into the portion, in the unit and on the basis of the report; None where nothing was.

    Raises NotPhysical, NeedsMoisture, NeedsDensity, UnlikeUnits, UnknownUnit, UnknownCompound.
    """
    added = added_content(portion, determination.element)
    if added is None:
        return None
    factors = running_factors(report_links(portion, determination))
    return added * factors[-1] if factors else added


def certified_as_reported(value: float, content_unit: str, determination: Determination) -> float:
    """Return a certified content of the element, as it is reported: as the compound, in the unit of the report.

    The basis stays the one of the certificate. Raises UnlikeUnits, UnknownUnit, UnknownCompound.
    """
    compound = (
        1.0
        if determination.reported_as == determination.element
        else compound_factor(determination.reported_as, determination.element)
    )
    return value * compound * float(factor(content_unit, determination.unit))
