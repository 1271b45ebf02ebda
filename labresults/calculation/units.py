"""Exact factors between the units of the trade; unlike dimensions are refused.

Sources: NIST SP 811 (2008), appendix B (1 grain = 64.79891 mg, 1 troy ounce = 480 grains, 1 pound = 7000 grains, so
that 1 troy ounce per short ton is 240/7 g/t); UCUM 2.2 (2024) for the meaning of the codes.
"""

from dataclasses import dataclass
from decimal import Decimal
from enum import Enum
from functools import cache

import pint

from labresults.calculation.errors import NeedsDensity, NotPhysical, UnknownUnit, UnlikeUnits
from labresults.calculation.run import Array


class Kind(Enum):
    """What a unit measures."""

    MASS_FRACTION = "mass of analyte per mass of sample"
    MASS_CONCENTRATION = "mass of analyte per volume"
    CHARGE = "exchangeable charge per mass of sample"


@dataclass(frozen=True)
class Unit:
    """A unit by its key, as it is printed, and as the unit library reads it."""

    key: str
    printed: str
    expression: str
    kind: Kind


UNITS = {
    unit.key: unit
    for unit in (
        Unit("%", "%", "percent", Kind.MASS_FRACTION),
        Unit("g/100 g", "g/100 g", "percent", Kind.MASS_FRACTION),
        Unit("g/kg", "g/kg", "gram/kilogram", Kind.MASS_FRACTION),
        Unit("mg/kg", "mg/kg", "milligram/kilogram", Kind.MASS_FRACTION),
        Unit("g/t", "g/t", "gram/metric_ton", Kind.MASS_FRACTION),
        Unit("ug/g", "µg/g", "microgram/gram", Kind.MASS_FRACTION),
        Unit("ug/kg", "µg/kg", "microgram/kilogram", Kind.MASS_FRACTION),
        Unit("oz/st", "troy oz/short ton", "troy_ounce/short_ton", Kind.MASS_FRACTION),
        Unit("cmol(+)/kg", "cmol(+)/kg", "centimole/kilogram", Kind.CHARGE),
        Unit("g/L", "g/L", "gram/liter", Kind.MASS_CONCENTRATION),
        Unit("mg/L", "mg/L", "milligram/liter", Kind.MASS_CONCENTRATION),
        Unit("ug/L", "µg/L", "microgram/liter", Kind.MASS_CONCENTRATION),
    )
}
"""Every unit that a method may use. "ppm" and "ppb" are missing on purpose: they do not say what per what."""

PRINTED = {unit.printed: unit for unit in UNITS.values()}


def unit(text: str) -> Unit:
    """Return the unit that `text` names, by its key or as printed; both micro signs and "u" are read.

    Raises UnknownUnit for anything else.
    """
    plain = text.strip().replace("μ", "µ")
    found = UNITS.get(plain) or PRINTED.get(plain) or UNITS.get(plain.replace("µ", "u"))
    if found is None:
        raise UnknownUnit(f"{text!r} is not a unit that is known here. Use one of: {', '.join(UNITS)}.")
    return found


@cache
def _registry() -> "pint.UnitRegistry[Decimal]":
    return pint.UnitRegistry(non_int_type=Decimal)


@cache
def factor(from_unit: str, to_unit: str) -> Decimal:
    """Return what a number in `from_unit` is multiplied by to be in `to_unit`, exact to 28 figures.

    Raises UnknownUnit; UnlikeUnits when one is per mass and the other per volume: no factor without a density.
    """
    one, other = unit(from_unit), unit(to_unit)
    if one.kind is not other.kind:
        raise UnlikeUnits(
            f"{one.printed} is {one.kind.value} and {other.printed} is {other.kind.value}: "
            "no factor leads from one to the other without a density."
        )
    if one.expression == other.expression:
        return Decimal(1)
    return Decimal(_registry().Quantity(Decimal(1), one.expression).to(other.expression).magnitude)


def factor_with_density(from_unit: str, to_unit: str, density_kg_per_L: float | None) -> float:
    """Return the factor, through the density [kg/L] where one unit is per mass and the other per volume.

    mg/L divided by kg/L is mg/kg. Raises UnknownUnit; UnlikeUnits for exchangeable charge, which needs the element;
    NeedsDensity; NotPhysical when the density is not above zero.
    """
    one, other = unit(from_unit), unit(to_unit)
    if one.kind is other.kind:
        return float(factor(from_unit, to_unit))
    if Kind.CHARGE in (one.kind, other.kind):
        raise UnlikeUnits(
            f"Between {one.printed} and {other.printed} stands the charge of the element: no one factor serves all."
        )
    if density_kg_per_L is None:
        raise NeedsDensity(
            f"From {one.printed} to {other.printed} the density of the sample is needed. Enter it in kg/L, "
            "or report in a unit of the other kind."
        )
    if not density_kg_per_L > 0:
        raise NotPhysical(f"A density of {density_kg_per_L} kg/L cannot be. Enter the density measured.")
    if one.kind is Kind.MASS_CONCENTRATION:
        return float(factor(from_unit, "mg/L")) / density_kg_per_L * float(factor("mg/kg", to_unit))
    return float(factor(from_unit, "mg/kg")) * density_kg_per_L * float(factor("mg/L", to_unit))


def convert(values: Array, from_unit: str, to_unit: str, density_kg_per_L: float | None = None) -> Array:
    """Return `values`, of any shape, in `to_unit`; NaN stays NaN.

    density_kg_per_L : needed from mass per volume to mass per mass and back [kg/L].
    Raises UnknownUnit, NeedsDensity, NotPhysical.
    """
    return values * factor_with_density(from_unit, to_unit, density_kg_per_L)
