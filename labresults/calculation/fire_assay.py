"""Fire assay: what a bead says by its mass, and the charge by which assayers count.

References: NIST Handbook 44 (2023), appendix C: 1 pound = 453.592 37 g, 1 short ton = 2000 pounds, 1 troy ounce =
31.103 476 8 g. An assay ton holds as many milligrams as a short ton holds troy ounces, so that 1 mg of bead from one
assay ton is 1 troy ounce per short ton.
"""

from labresults.calculation.errors import NotPhysical

SHORT_TON_G = 2000 * 453.59237
TROY_OUNCE_G = 31.1034768
ASSAY_TON_G = SHORT_TON_G / TROY_OUNCE_G / 1000
"""Charge of one assay ton, g: 29 1/6."""


def content_of_bead(bead_mg: float, charge_g: float) -> float:
    """Return the content of the charge by the mass of the parted bead, 1000 bead / charge [g/t].

    bead_mg : of the one metal that is left [mg] · charge_g : of sample in the crucible [g].
    Raises NotPhysical when the charge is not above zero or the bead weighs less than nothing.
    """
    if not charge_g > 0 or not bead_mg >= 0:
        raise NotPhysical(f"A bead of {bead_mg} mg from a charge of {charge_g} g cannot be. Weigh again.")
    return 1000.0 * bead_mg / charge_g


def troy_ounces_per_short_ton(bead_mg: float, charge_g: float) -> float:
    """Return the same content in troy ounces per short ton: milligrams for each assay ton. Raises as above."""
    return content_of_bead(bead_mg, charge_g) * ASSAY_TON_G / 1000.0


def judge_button(button_g: float, low_g: float | None, high_g: float | None) -> str:
    """Return what is wrong with a lead button [g] in words; empty where it lies in the method's window, or has none.

    A light button may have left precious metal in the slag; a heavy one takes more of the cupel and loses silver
    (common practice, no source).
    """
    if low_g is not None and button_g < low_g:
        return f"{button_g} g is below {low_g} g: metal may be left in the slag. Fire again, or keep it with a reason."
    if high_g is not None and button_g > high_g:
        return f"{button_g} g is above {high_g} g: reduce the charge and fire again, or keep it with a reason."
    return ""
