"""Every reason why a number cannot be given, as one tree.

CalculationError
├── NotPhysical          a mass, volume, dilution or density that cannot be
├── UnlikeUnits          two units that measure different things
│   └── UnknownUnit      a unit that is not in our table
├── NeedsDensity         mass and volume meet, and no density is known
├── NeedsMoisture        another basis is asked for, and the loss on drying is not known
├── UnknownCompound      a formula that cannot be read, or that lacks the element
├── UnclearDilution      a written dilution that can be read in two ways, or in none
├── TooFewValues         fewer values than the formula needs
├── NotInRun             a position or a line that the run does not have
├── NoInterferent        a solution that no interference can be found from
├── NoWorkingDay         a calendar that cannot be, or that is not open often enough
└── NoCurve              a calibration that cannot be fitted or inverted

A message says what is wrong, where, and what to do about it.
"""


class CalculationError(ValueError):
    """A number cannot be given; the message says why."""


class NotPhysical(CalculationError):
    """A mass, volume, dilution or density that cannot be."""


class UnlikeUnits(CalculationError):
    """Two units that measure different things."""


class UnknownUnit(UnlikeUnits):
    """A unit that is not in the table of units."""


class NeedsDensity(CalculationError):
    """Mass per mass and mass per volume meet, and no density is known."""


class NeedsMoisture(CalculationError):
    """Another basis is asked for than the portion was weighed in, and the loss on drying is not known."""


class UnknownCompound(CalculationError):
    """A formula that cannot be read, or that does not hold the element."""


class UnclearDilution(CalculationError):
    """A written dilution that can be read in two ways, or in none. The message asks."""


class TooFewValues(CalculationError):
    """Fewer values than the formula needs."""


class NotInRun(CalculationError):
    """A position or a line that the run does not have."""


class NoInterferent(CalculationError):
    """A solution that no interference coefficient can be found from."""


class NoWorkingDay(CalculationError):
    """A calendar that cannot be, or one that is not open as often as is asked."""


class NoCurve(CalculationError):
    """A calibration that cannot be fitted or inverted."""
