"""From the solution back to the sample: one chain of factors, for values and for limits alike.

References: EPA Method 6010D (2018), 12.2 (C V / (W S), dry basis); EPA Method 200.7 revision 4.4 (1994), section 12;
ASTM practice of mass dilution for oils, w = c (m_oil + m_solvent) / m_oil (common practice, no source).
"""

from dataclasses import dataclass
from typing import NamedTuple

from labresults.calculation.errors import NeedsMoisture, NotPhysical, UnlikeUnits
from labresults.calculation.run import Determination, Portion
from labresults.calculation.stoichiometry import WEIGHTS_EDITION, charge_factor, compound_factor
from labresults.calculation.units import Kind, factor_with_density, unit
from labresults.terms import Basis, SolutionKind, State


@dataclass(frozen=True)
class Link:
    """One step of the chain: times `multiplier`, divided by `divisor`, gives a number in `unit`.

    `shown_multiplier` and `shown_divisor` are the two with their units, as they are written out; None: not written.
    """

    what: str
    note: str
    unit: str
    multiplier: float = 1.0
    divisor: float = 1.0
    multiplier_unit: str | None = None
    divisor_unit: str | None = None


class Content(NamedTuple):
    """What the solution of a kind of portion is measured in, and what its sample's content is in."""

    solution: str
    sample: str


CONTENT = {
    SolutionKind.MASS_IN_VOLUME: Content("mg/L", "mg/kg"),
    SolutionKind.VOLUME_IN_VOLUME: Content("mg/L", "mg/L"),
    SolutionKind.MASS_IN_MASS: Content("mg/kg", "mg/kg"),
}


def content_chain(portion: Portion, *, solution_unit: str, dilution: float = 1.0) -> tuple[Link, ...]:
    """Return the links from the measured solution to the element's content of the portion as it was weighed.

    c V f / m in mg/kg, c V f / aliquot in mg/L, or c f (m + solvent) / m in mg/kg, as the portion's kind says.
    solution_unit : of the calibration. dilution : made at the instrument, on top of the portion's own [1].
    Raises NotPhysical when a mass, volume or dilution is missing or cannot be; UnlikeUnits, UnknownUnit.
    """
    expected = CONTENT[portion.kind].solution
    if unit(solution_unit).kind is not unit(expected).kind:
        raise UnlikeUnits(
            f"{portion.key}: a portion {portion.kind.value} is measured in {expected}, and the method calibrates in "
            f"{solution_unit}. Choose a method version that fits."
        )
    links = [*_unit_link(solution_unit, expected, None), *_dilution_links(portion, dilution, expected)]
    match portion.kind:
        case SolutionKind.MASS_IN_VOLUME:
            links += _mass_in_volume(portion)
        case SolutionKind.VOLUME_IN_VOLUME:
            links += _volume_in_volume(portion)
        case SolutionKind.MASS_IN_MASS:
            links += _mass_in_mass(portion)
    return tuple(links)


def _positive(value: float | None, what: str, portion: Portion) -> float:
    if value is None:
        raise NotPhysical(f"{portion.key}: the {what} is missing. Enter it at the preparation bench.")
    if not 0 < value < float("inf"):
        raise NotPhysical(f"{portion.key}: {what} {value} cannot be. Correct it at the preparation bench.")
    return value


def _dilution_links(portion: Portion, dilution: float, solution: str) -> list[Link]:
    links = []
    for factor, where in ((portion.dilution, "after making up"), (dilution, "at the instrument")):
        if not 1 <= factor < float("inf"):
            raise NotPhysical(f"{portion.key}: a dilution by {factor} {where} cannot be: it is at least 1.")
        if factor != 1:
            links.append(Link("Times the dilution", where, solution, multiplier=factor, multiplier_unit=""))
    return links


def _mass_in_volume(portion: Portion) -> list[Link]:
    volume_mL = _positive(portion.volume_mL, "final volume, mL,", portion)
    mass_g = _positive(portion.mass_g, "mass of the portion, g,", portion)
    water_mL, note = _own_water(portion, mass_g), f"made up to {volume_mL} mL"
    if water_mL:
        note = f"{volume_mL} mL of extractant and {water_mL:.7g} mL of the portion's own water"
    volume_L, mass_kg = (volume_mL + water_mL) / 1000.0, mass_g / 1000.0
    return [
        Link("Times the volume", note, "mg", volume_L, multiplier_unit="L"),
        Link(
            "Divided by the test portion",
            f"{portion.mass_g} g, {portion.state.value}",
            "mg/kg",
            divisor=mass_kg,
            divisor_unit="kg",
        ),
    ]


def _own_water(portion: Portion, mass_g: float) -> float:
    """Water that a moist portion brings into the extractant, mL: 1 g of it is 1 mL (common practice, no source).

    What is left in an air-dry portion counts where its loss on drying is known; a field-moist one is refused without.
    """
    if not portion.is_extraction or portion.state not in (State.AS_RECEIVED, State.AIR_DRY):
        return 0.0
    if portion.moisture_percent is None:
        if portion.state is State.AIR_DRY:
            return 0.0
        raise NeedsMoisture(
            f"{portion.key} was extracted as received: its own water adds to the extractant, and the loss on drying "
            "is not known. Enter it at the preparation bench."
        )
    return mass_g * portion.moisture_percent / 100.0


def _volume_in_volume(portion: Portion) -> list[Link]:
    if portion.volume_mL is None and portion.aliquot_mL is None:
        return []  # measured as it is
    volume_mL = _positive(portion.volume_mL, "final volume, mL,", portion)
    aliquot_mL = _positive(portion.aliquot_mL, "volume taken, mL,", portion)
    return [
        Link(
            "Times the volume, divided by the volume taken",
            f"{aliquot_mL} mL made up to {volume_mL} mL",
            "mg/L",
            volume_mL,
            aliquot_mL,
            "mL",
            "mL",
        )
    ]


def _mass_in_mass(portion: Portion) -> list[Link]:
    mass_g = _positive(portion.mass_g, "mass of the portion, g,", portion)
    solvent_g = portion.solvent_g
    if solvent_g is None or not 0 <= solvent_g < float("inf"):
        raise NotPhysical(f"{portion.key}: the mass of solvent, g, is {solvent_g}. Enter it at the preparation bench.")
    return [
        Link(
            "Times the mass of the solution, divided by the test portion",
            f"{mass_g} g in {solvent_g} g of solvent",
            "mg/kg",
            mass_g + solvent_g,
            mass_g,
            "g",
            "g",
        )
    ]


def _unit_link(from_unit: str, to_unit: str, density_kg_per_L: float | None) -> list[Link]:
    if from_unit == to_unit:
        return []
    factor = factor_with_density(from_unit, to_unit, density_kg_per_L)
    one, other = unit(from_unit).printed, unit(to_unit).printed
    through = "" if unit(from_unit).kind is unit(to_unit).kind else f", at {density_kg_per_L} kg/L"
    note = f"1 {one} is {factor:.7g} {other}{through}"
    return [Link("In the reporting unit", note, other, multiplier=factor, multiplier_unit="")]


def basis_links(portion: Portion, basis: Basis, content_unit: str) -> tuple[Link, ...]:
    """Return the link from the state that was weighed to the basis; none where the two are the same.

    A change of basis uses the loss on drying of the state itself. For a portion that was weighed dried at 105 °C that
    loss is the one of its drying, of the mass as received: a loss of nothing says nothing there and is refused.
    From air-dry to as received, and from ash, no loss at 105 °C leads back.
    Raises NeedsMoisture; UnlikeUnits for the dry basis of a volume; NotPhysical outside 0 to 100 %.
    """
    if basis is Basis.DRY and portion.kind is SolutionKind.VOLUME_IN_VOLUME:
        raise UnlikeUnits(f"{portion.key}: a volume has no dry basis. Report it as received.")
    dried = portion.state is State.DRIED_105
    if dried is (basis is Basis.DRY) and portion.state in (State.DRIED_105, State.AS_RECEIVED):
        return ()
    moisture = _moisture(portion, basis)
    dry_percent = 100.0 - moisture
    if basis is Basis.DRY:
        what, factors = "On the dry basis", (100.0, dry_percent)
    else:
        what, factors = "As received", (dry_percent, 100.0)
    return (Link(what, f"loss on drying {moisture} %", content_unit, *factors, "%", "%"),)


def _moisture(portion: Portion, basis: Basis) -> float:
    state, moisture = portion.state, portion.moisture_percent
    no_way_back = state is State.ASHED or (state is State.AIR_DRY and basis is Basis.AS_RECEIVED)
    if no_way_back or moisture is None or (state is State.DRIED_105 and moisture == 0):
        raise NeedsMoisture(
            f"{portion.key} was weighed {state.value} and is to be reported as {basis.value}: the loss on drying "
            "that leads there is not known. Enter it at the preparation bench, or report on another basis."
        )
    if not 0 <= moisture < 100:
        raise NotPhysical(f"{portion.key}: a loss on drying of {moisture} % cannot be. Correct it.")
    return moisture


def basis_of(portion: Portion, determination: Determination) -> Basis:
    """Return what is reported on: the sample's own basis where it has one, else the determination's."""
    return portion.basis or determination.basis


def chain(
    portion: Portion, determination: Determination, *, solution_unit: str, dilution: float = 1.0
) -> tuple[Link, ...]:
    """Return every link from the measured solution to the reporting unit, in the order of the calculation.

    Content of the portion as weighed, basis, compound, unit. See `content_chain` and `basis_links`.
    Raises NotPhysical, NeedsMoisture, NeedsDensity, UnlikeUnits, UnknownUnit, UnknownCompound.
    """
    content = content_chain(portion, solution_unit=solution_unit, dilution=dilution)
    return (*content, *report_links(portion, determination))


def report_links(portion: Portion, determination: Determination) -> tuple[Link, ...]:
    """Return the links from the content of the portion as weighed to the reporting unit: basis, compound, unit.

    Raises NeedsMoisture, NeedsDensity, UnlikeUnits, UnknownUnit, UnknownCompound.
    """
    content_unit = CONTENT[portion.kind].sample
    links = [*basis_links(portion, basis_of(portion, determination), content_unit)]
    if determination.reported_as != determination.element:
        factor = compound_factor(determination.reported_as, determination.element)
        note = f"{determination.element} to {determination.reported_as}, atomic weights {WEIGHTS_EDITION}"
        links.append(Link("As the compound", note, content_unit, multiplier=factor, multiplier_unit=""))
    if unit(determination.unit).kind is Kind.CHARGE:
        return (*links, *_charge_links(determination, content_unit))
    links += _unit_link(content_unit, determination.unit, portion.density_kg_per_L)
    return tuple(links)


def _charge_links(determination: Determination, content_unit: str) -> list[Link]:
    """From a mass fraction of the element to its charge as an exchangeable cation."""
    links = _unit_link(content_unit, "mg/kg", None)
    ion, factor = charge_factor(determination.reported_as)
    note = f"{ion}, atomic weights {WEIGHTS_EDITION}"
    return [*links, Link("As exchangeable charge", note, determination.unit, multiplier=factor, multiplier_unit="")]


def running_factors(links: tuple[Link, ...]) -> tuple[float, ...]:
    """Return the factor from the solution to the end of each link [1]; the last one is the whole chain's."""
    factors, running = [], 1.0
    for link in links:
        running = running * link.multiplier / link.divisor
        factors.append(running)
    return tuple(factors)


def chain_factor(portion: Portion, determination: Determination, *, solution_unit: str, dilution: float = 1.0) -> float:
    """Return what a concentration in the solution is multiplied by to be in the reporting unit.

    Values, detection, quantification and upper limits and uncertainties all take this one number, so that they can
    never differ. Raises as `chain`.
    """
    factors = running_factors(chain(portion, determination, solution_unit=solution_unit, dilution=dilution))
    return factors[-1] if factors else 1.0


def content_factor(portion: Portion, *, solution_unit: str, dilution: float = 1.0) -> float:
    """Return what a concentration in the solution is multiplied by to be the element's content of the portion as
    weighed: mg/kg, or mg/L for a volume. Raises as `content_chain`.
    """
    factors = running_factors(content_chain(portion, solution_unit=solution_unit, dilution=dilution))
    return factors[-1] if factors else 1.0


def reference_factor(
    portion: Portion, determination: Determination, to_unit: str, *, solution_unit: str, dilution: float = 1.0
) -> float:
    """Return what a concentration is multiplied by to be compared with a certified content of the element.

    On the basis that is reported, as the element (not the compound), in the unit of the certified value.
    Raises as `chain`.
    """
    content_unit = CONTENT[portion.kind].sample
    links = [*content_chain(portion, solution_unit=solution_unit, dilution=dilution)]
    links += basis_links(portion, basis_of(portion, determination), content_unit)
    links += _unit_link(content_unit, to_unit, portion.density_kg_per_L)
    factors = running_factors(tuple(links))
    return factors[-1] if factors else 1.0


def added_content(portion: Portion, element: str) -> float | None:
    """Return what was spiked into the portion, as content of it: mg/kg, or mg/L for a volume; None where nothing was.

    Raises NotPhysical when the mass or the volume taken is missing.
    """
    added_mg = portion.added_mg.get(element)
    if added_mg is None:
        return None
    if portion.kind is SolutionKind.VOLUME_IN_VOLUME:
        return added_mg / (_positive(portion.aliquot_mL, "volume taken, mL,", portion) / 1000.0)
    return added_mg / (_positive(portion.mass_g, "mass of the portion, g,", portion) / 1000.0)
