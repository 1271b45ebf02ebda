"""The columns of a weighing grid, and how a recorded quantity is written in them."""

from dataclasses import dataclass

from labresults.models import Weighing
from labresults.terms import SolutionKind


@dataclass(frozen=True)
class Column:
    """A quantity of a tube. `group`: what an optional column is shown for, in words; empty: always shown."""

    name: str
    heading: str
    unit: str = ""
    is_number: bool = True
    group: str = ""

    @property
    def words(self) -> str:
        """Heading and unit in one line."""
        return f"{self.heading}, {self.unit}" if self.unit else self.heading


@dataclass(frozen=True)
class Group:
    """Optional columns that are shown together, and whether something stands in them."""

    words: str
    is_shown: bool


@dataclass(frozen=True)
class Factor:
    """What leads from a concentration in the solution to the content of the sample."""

    unit: str
    words: str


FACTOR = {
    SolutionKind.MASS_IN_VOLUME: Factor(
        "mL/g", "Factor, from mg/L in the solution to mg/kg in the sample: volume ÷ mass × total dilution."
    ),
    SolutionKind.VOLUME_IN_VOLUME: Factor(
        "mL/mL", "Factor, from the solution to the sample: volume ÷ volume taken × total dilution."
    ),
    SolutionKind.MASS_IN_MASS: Factor(
        "g/g",
        "Factor, from mg/kg in the solution to mg/kg in the sample: (mass + solvent + internal standard) ÷ mass × "
        "total dilution.",
    ),
}

BY_MASS = "made up by mass"
STATE = "moisture and state of each tube"

COLUMNS = {
    column.name: column
    for column in (
        Column("tare_g", "Tare", "g"),
        Column("mass_g", "Mass", "g"),
        Column("aliquot_mL", "Sample taken", "mL"),
        Column("volume_mL", "Volume", "mL"),
        Column("solvent_g", "Solvent", "g"),
        Column("internal_standard_g", "Internal standard", "g"),
        Column("final_g", "Final mass", "g", group=BY_MASS),
        Column("solution_kg_per_L", "Density", "kg/L", group=BY_MASS),
        Column("spike_mL", "Spike", "mL"),
        Column("dilution", "Dilution", is_number=False),
        Column("moisture_percent", "Moisture", "%", group=STATE),
        Column("state", "State", is_number=False, group=STATE),
        Column("reason", "Reason", is_number=False),
    )
}

_OF_KIND = {
    SolutionKind.MASS_IN_VOLUME: ("tare_g", "mass_g", "volume_mL", "final_g", "solution_kg_per_L"),
    SolutionKind.VOLUME_IN_VOLUME: ("aliquot_mL", "volume_mL"),
    SolutionKind.MASS_IN_MASS: ("tare_g", "mass_g", "solvent_g", "internal_standard_g", "final_g"),
}


def columns_of(kind: SolutionKind, has_spike: bool) -> tuple[Column, ...]:
    """The columns that a kind of solution needs, in the order of the work at the bench."""
    names = [*_OF_KIND[kind], "dilution", *(["spike_mL"] if has_spike else [])]
    if kind != SolutionKind.VOLUME_IN_VOLUME:
        names += ["moisture_percent", "state"]
    return tuple(COLUMNS[name] for name in (*names, "reason"))


def recorded_texts(row: Weighing | None) -> dict[str, str]:
    """What is recorded of a tube, as the grid writes it; a reason belongs to its own recording.

    A volume or a mass of solvent that was computed from the final mass is not written: the final mass is.
    """
    if row is None:
        return {}
    found = {
        column.name: repr(getattr(row, column.name))
        for column in COLUMNS.values()
        if column.is_number and getattr(row, column.name) is not None
    }
    if row.final_g is not None:
        found.pop("volume_mL", None)
        found.pop("solvent_g", None)
    return {**found, "dilution": row.dilution_written, "state": row.state}


def number(text: str) -> float | None:
    """A number as typed, None where there is none. Words for what is not finite are no numbers."""
    try:
        value = float(text)
    except ValueError:
        return None
    return value if value - value == 0 else None


def is_same(text: str, other: str) -> bool:
    """Whether two cells say the same: the same words, or the same number written in two ways."""
    if text.strip() == other.strip():
        return True
    return number(text) is not None and number(text) == number(other)
