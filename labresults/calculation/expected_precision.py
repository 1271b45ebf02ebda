"""How far laboratories are expected to differ at a mass fraction.

References: AOAC INTERNATIONAL, HorRat for single-laboratory validation (2004), 1.7 and table D1; M. Thompson, Analyst
125 (2000) 385, for the two ends.
"""

import math

from labresults.calculation.errors import NotPhysical

_LOW, _HIGH = 1.2e-7, 0.138


def horwitz_percent(mass_fraction: float) -> float:
    """Return the predicted relative reproducibility standard deviation, 2 C^−0.15 [%], at a mass fraction C [1].

    Raises NotPhysical for a mass fraction that is not above zero and at most one.
    """
    _refuse_outside(mass_fraction)
    return 2.0 * math.pow(mass_fraction, -0.15)


def thompson_percent(mass_fraction: float) -> float:
    """Return the same with Thompson's two ends [%]: constant 22 % below 1.2e−7, C^0.5 above 0.138.

    Raises NotPhysical for a mass fraction that is not above zero and at most one.
    """
    _refuse_outside(mass_fraction)
    if mass_fraction < _LOW:
        return 22.0
    if mass_fraction <= _HIGH:
        return 2.0 * math.pow(mass_fraction, -0.1505)
    return math.pow(mass_fraction, -0.5)


def _refuse_outside(mass_fraction: float) -> None:
    if not 0.0 < mass_fraction <= 1.0:
        raise NotPhysical(f"A mass fraction of {mass_fraction:g} cannot be: it lies above 0 and is at most 1.")
