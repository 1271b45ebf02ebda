"""An element printed as a compound, or as itself: the exact factor first, then one rounding.

| measured     | rule set asks for | factor | because                                                    |
|--------------|-------------------|--------|------------------------------------------------------------|
| Al 8.00 %    | Al2O3             | 1.8894 | M(Al2O3) / (2 M(Al)), atomic weights of CIAAW 2024         |
| P2O5 0.30 %  | P                 | 0.4364 | the other way round                                        |
| Ca, cmol/kg  | CaO               | none   | refused: an amount of charge is no mass fraction           |

Factors follow from the atomic weights (`labresults.calculation.stoichiometry`), never from a printed table.
"""

from labresults.calculation.stoichiometry import compound_factor

_OF_CHARGE = ("mol", "eq")


class NoForm(ValueError):
    """An element cannot be printed in the form that is asked for: says why and what to do."""


def form_factor(element: str, measured_as: str, printed_as: str, unit: str) -> float:
    """Return what a result is multiplied by to be printed in another form [1]; 1 where it is the same form.

    Raises NoForm where the unit counts moles or charges, UnknownCompound where a form does not hold the element.
    """
    if measured_as == printed_as:
        return 1.0
    if any(part in unit for part in _OF_CHARGE):
        raise NoForm(
            f"{element} in {unit} cannot be printed as {printed_as}: the unit counts moles or charges. "
            "Leave the form to the method in the reporting rules."
        )
    return compound_factor(printed_as, element) / compound_factor(measured_as, element)
