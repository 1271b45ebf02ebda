"""What of a test portion is not as its method version states: a mass outside its window, another final volume.

Each may be kept by name and with a reason; it is then said wherever the portion is shown.
"""

VOLUME_WITHIN = 0.05
"""How far a final volume may lie from the stated one, relative, and still be meant as it (common practice, no source).

Flasks of the usual sizes lie farther apart; what a graduated tube or a solution made up by mass spreads lies within.
"""


def is_stated_volume(volume_mL: float, stated_mL: float) -> bool:
    """Whether a final volume [mL] can be the one that a method version states [mL], decided on the value as read."""
    return abs(volume_mL - stated_mL) <= VOLUME_WITHIN * stated_mL


def departures(
    mass_g: float | None,
    volume_mL: float | None,
    *,
    low_g: float | None,
    high_g: float | None,
    stated_mL: float | None,
) -> dict[str, str]:
    """Return what is not as stated, by the quantity ("mass_g", "volume_mL"), each in one sentence.

    A bound or volume that is None is not stated, and a quantity that is None is not judged.
    """
    found: dict[str, str] = {}
    if mass_g is not None and low_g is not None and high_g is not None and not low_g <= mass_g <= high_g:
        found["mass_g"] = f"{mass_g} g lies outside {low_g} to {high_g} g."
    if volume_mL is not None and stated_mL is not None and not is_stated_volume(volume_mL, stated_mL):
        found["volume_mL"] = f"{volume_mL:.10g} mL is not the {stated_mL:.10g} mL that the method makes up to."
    return found
