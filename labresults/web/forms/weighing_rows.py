"""One tube in the weighing grid: what was typed beside what is recorded, judged and computed for looking at."""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from django.utils.timezone import localtime

from labresults.models import Weighing
from labresults.queries.preparation import Tube, departures_of, factor_to_sample, judge_mass, total_dilution
from labresults.terms import Role, Verdict
from labresults.web.forms.bench_columns import COLUMNS, Column, is_same, number

if TYPE_CHECKING:
    from labresults.web.forms.weighings import WeighingGrid


@dataclass(frozen=True)
class Cell:
    """One quantity of a tube. `recorded`: what stands on the record, so that a page knows what is not recorded yet."""

    column: Column
    text: str
    recorded: str
    placeholder: str
    is_given: bool  # this tube has such a quantity


@dataclass
class GridRow:
    """One tube as the page shows it: what was typed, else what is recorded."""

    tube: Tube
    texts: dict[str, str]
    recorded: dict[str, str]
    typed: bool
    seen: int | None
    grid: "WeighingGrid"
    problems: list[str] = field(default_factory=list)
    wrong: set[str] = field(default_factory=set)

    def add_problem(self, name: str, words: str) -> None:
        """Say what is wrong, at the cell of a column where it is one."""
        column = COLUMNS.get(name)
        is_quantity = column is not None and name not in {"reason", "state"}
        self.problems.append(f"{column.heading}: {words}" if column and is_quantity else words)
        self.wrong.add(name)

    @property
    def side_by_side(self) -> list[tuple[str, str, str]]:
        """What somebody else recorded meanwhile and what would be recorded now, where the two differ."""
        names = [name for name in self.grid.names if name != "reason"]
        pairs = [(COLUMNS[name].words, self.recorded.get(name, ""), self._meant(name)) for name in names]
        return [(words, theirs, yours) for words, theirs, yours in pairs if not is_same(theirs, yours)]

    def _meant(self, name: str) -> str:
        """What a cell stands for: as typed, else what holds for all rows."""
        usual = str(self.grid.usual["state"]) if name == "state" else self.grid.placeholder(name, self.tube)
        return self.texts.get(name, "") or usual

    @property
    def cells(self) -> list[Cell]:
        """The quantities that the method asks for, in the order of the columns."""
        return [self._cell(column) for column in self.grid.columns]

    @property
    def mass(self) -> float | None:
        """The mass as typed, g."""
        return number(self.texts.get("mass_g", ""))

    @property
    def verdict(self) -> Verdict:
        """How the mass stands in the window of the method."""
        return judge_mass(self.mass, self.grid.version)

    @property
    def is_other_volume(self) -> bool:
        """Whether the final volume, as typed or recorded, is not the one that the method states."""
        volume_mL = self._amounts().get("volume_mL") if self.typed or self.tube.weighing else None
        return bool(departures_of(None, volume_mL, self.grid.version))

    @property
    def version(self) -> int:
        """The version of the recording that stands; 0: none."""
        return self.tube.weighing.version if self.tube.weighing else 0

    @property
    def theirs(self) -> Weighing | None:
        """What was recorded of the tube since the person looked, where it was typed too."""
        newer = self.typed and self.seen is not None and self.version > self.seen
        return self.tube.weighing if newer else None

    @property
    def total(self) -> float | None:
        """The total factor of the dilution [1]; None where it cannot be read or the tube is empty."""
        written = self.texts.get("dilution", "").strip()
        if written or self.typed or self.tube.weighing:
            return total_dilution(written or (self.grid.usual["usual_dilution"] if self.typed else ""))
        return None

    @property
    def total_words(self) -> str:
        """The total factor as it is shown."""
        return as_typed(self.total)

    @property
    def factor(self) -> float | None:
        """From the solution's unit to the sample's; None where something is missing yet."""
        if self.total is None or self.tube.portion.role == Role.METHOD_BLANK:
            return None
        return factor_to_sample(self.grid.version, self._amounts(), self.total)

    def _amounts(self) -> dict[str, float | None]:
        """What was typed, else what is recorded, as far as it can be read."""
        amounts = {name: number(self.texts.get(name, "")) for name in self.texts}
        if not self.typed and self.tube.weighing:
            return amounts | {name: getattr(self.tube.weighing, name) for name in ("volume_mL", "solvent_g")}
        final_g, density = amounts.get("final_g"), amounts.get("solution_kg_per_L")
        if final_g is not None and density:
            return amounts | {"volume_mL": final_g / density}
        return amounts | {"volume_mL": amounts.get("volume_mL") or self.grid.usual["usual_volume_mL"]}

    def _cell(self, column: Column) -> Cell:
        is_given = column.name != "spike_mL" or self.tube.portion.role == Role.SPIKE
        return Cell(
            column=column,
            text=self.texts.get(column.name, ""),
            recorded=self.recorded.get(column.name, ""),
            placeholder=self.grid.placeholder(column.name, self.tube),
            is_given=is_given,
        )


def words_of(problem: Any, row: GridRow) -> str:
    """A problem in words; where somebody else recorded the tube meanwhile, the two stand beside each other below."""
    if row.theirs and problem.column == "label":
        at = localtime(row.theirs.made_at)
        return f"It was recorded by {row.theirs.made_by} meanwhile, {at:%d %b, %H:%M}. Compare the two."
    return f"{problem.what} {problem.what_to_do}".strip()


def as_typed(value: float | None) -> str:
    """A number as a person would type it."""
    return "" if value is None else f"{value:.10g}"
