"""Determinations by weighing before and after heating: moisture at 105 °C and loss on ignition.

Two conventions are about, and mixing them up is the usual slip: a loss as a share of the material that was put in
(EPA Method 160.3; food and coal practice; what this program stores), and water as a share of the dry material
(ISO 11465:1993; soil mechanics), which can pass 100 %.

References: EPA Method 160.3 (1971), total residue; ISO 11465:1993, soil, dry matter and water content on a mass basis
(formulas from memory); ASTM D121-09a, "total moisture": air-dry loss plus residual moisture adjusted to as received.
"""

from labresults.calculation.errors import NotPhysical

CONSTANT_PERCENT = 0.1
"""Two weighings agree when they differ by at most this share of the last one, % (ISO 11465:1993, 3.2, from memory)."""


def loss_percent(tare_g: float, before_g: float, after_g: float) -> float:
    """Return the loss as a share of what was put into the dish, 100 (before − after) / (before − tare) [%].

    tare_g : empty dish [g] · before_g, after_g : dish and material [g].
    Raises NotPhysical when nothing was put in, when it gained mass, or when more was lost than was there.
    """
    if not 0 <= tare_g < before_g:
        raise NotPhysical(f"A dish of {tare_g} g and {before_g} g with the material cannot be: was it put in?")
    if after_g > before_g:
        raise NotPhysical(f"{after_g} g after heating is more than {before_g} g before. Are the two exchanged?")
    if after_g < tare_g:
        raise NotPhysical(f"{after_g} g after heating is less than the empty dish, {tare_g} g. Is it another dish?")
    return 100.0 * (before_g - after_g) / (before_g - tare_g)


def last_mass(after_g: float, again_g: float | None) -> float:
    """Return the mass that counts [g]: the second weighing where there is one (common practice, no source)."""
    return after_g if again_g is None else again_g


def is_constant(after_g: float, again_g: float, tare_g: float) -> bool:
    """Return whether two weighings [g] of the same dish agree: within `CONSTANT_PERCENT` of the material left."""
    left_g = again_g - tare_g
    return abs(after_g - again_g) * 100.0 <= CONSTANT_PERCENT * left_g


def water_on_dry_matter(moisture_percent: float) -> float:
    """Return water as a share of the dry material [%] from a loss as a share of the whole [%]; can pass 100.

    w = 100 M / (100 − M). Raises NotPhysical outside 0 to 100 %.
    """
    return 100.0 * moisture_percent / (100.0 - _percent(moisture_percent))


def moisture_from_water(water_percent: float) -> float:
    """Return the loss as a share of the whole [%] from water as a share of the dry material [%].

    M = 100 w / (100 + w). Raises NotPhysical below 0 %.
    """
    if not water_percent >= 0:
        raise NotPhysical(f"A water content of {water_percent} % cannot be.")
    return 100.0 * water_percent / (100.0 + water_percent)


def total_moisture(air_dry_loss_percent: float, residual_percent: float) -> float:
    """Return the moisture as received [%] of a material dried in two stages: in air, then what was left at 105 °C.

    T = A + R (100 − A) / 100, A of the mass as received and R of the air-dry mass (ASTM D121-09a, total moisture).
    Raises NotPhysical outside 0 to 100 %.
    """
    air_dry, residual = _percent(air_dry_loss_percent), _percent(residual_percent)
    return air_dry + residual * (100.0 - air_dry) / 100.0


def ignited_factor(loss_on_ignition_percent: float) -> float:
    """Return what a content of the dried material is multiplied by to be one of the ignited material [1].

    100 / (100 − LOI). Raises NotPhysical outside 0 to 100 %.
    """
    return 100.0 / (100.0 - _percent(loss_on_ignition_percent))


def _percent(loss: float) -> float:
    if not 0 <= loss < 100:
        raise NotPhysical(f"A loss of {loss} % cannot be: it lies from 0 to below 100.")
    return loss
