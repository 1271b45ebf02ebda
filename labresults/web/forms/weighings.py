"""The weighing grid of a batch: what was weighed, made up and diluted, as typed beside what is recorded."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.http import QueryDict

from labresults.actions.weighings import Weighed
from labresults.models import MethodVersion
from labresults.queries.preparation import Tube
from labresults.terms import Role, SolutionKind, State
from labresults.web.forms.bench_columns import (
    FACTOR,
    Column,
    Group,
    columns_of,
    is_same,
    number,
    recorded_texts,
)
from labresults.web.forms.weighing_rows import GridRow, as_typed, words_of


class WeighingGrid:
    """The grid of a batch. A row is recorded when it was typed, and only if all that were typed are right.

    usual: what holds where a row gives none; also: optional columns to show, by name.
    """

    def __init__(
        self,
        tubes: Sequence[Tube],
        version: MethodVersion,
        posted: Mapping[str, str] | None = None,
        usual: Mapping[str, Any] | None = None,
    ) -> None:
        self.version = version
        self.usual: dict[str, Any] = {
            "usual_volume_mL": version.volume_mL,
            "usual_dilution": version.dilution,
            "usual_kg_per_L": None,
            "state": State.AS_RECEIVED.value,
        } | {name: value for name, value in (usual or {}).items() if value or name == "usual_dilution"}
        has_spike = any(tube.portion.role == Role.SPIKE for tube in tubes)
        self.columns = columns_of(SolutionKind(version.solution_kind), has_spike)
        self.names = tuple(column.name for column in self.columns)
        self.rows = [self._row(tube, posted or {}) for tube in tubes]

    @property
    def groups(self) -> list[Group]:
        """The groups of optional columns, and whether something stands in one of them."""
        words = dict.fromkeys(column.group for column in self.columns if column.group)
        return [Group(group, any(self._stands_in(column) for column in self._of_group(group))) for group in words]

    @property
    def factor_unit(self) -> str:
        """Unit of the factor from the solution to the sample."""
        return FACTOR[SolutionKind(self.version.solution_kind)].unit

    @property
    def factor_words(self) -> str:
        """How the factor is computed, in words."""
        return FACTOR[SolutionKind(self.version.solution_kind)].words

    @property
    def states(self) -> list[str]:
        """The words for the state of a portion when it is weighed."""
        return [state.value for state in State]

    @property
    def span(self) -> int:
        """How many columns a line under a row crosses."""
        return len(self.columns) + 5

    def placeholder(self, name: str, tube: Tube) -> str:
        """What holds where a cell is empty."""
        match name:
            case "volume_mL":
                return as_typed(self.usual["usual_volume_mL"])
            case "solution_kg_per_L":
                return as_typed(self.usual["usual_kg_per_L"])
            case "dilution":
                return str(self.usual["usual_dilution"] or "")
            case "mass_g" | "aliquot_mL" if tube.portion.role == Role.METHOD_BLANK:
                return "none"
            case "spike_mL" if tube.portion.planned:
                return as_typed(tube.portion.planned.spike_mL)
        return ""

    def fill(self, lines: Sequence[Mapping[str, str]]) -> list[str]:
        """Put lines of a file into the grid by the label of the tube; return what could not be placed, in words."""
        by_label = {label: row for row in self.rows for label in row.tube.labels}
        lost = []
        for line in lines:
            label = line.get("label", "").strip()
            row = by_label.get(label)
            if row is None:
                lost.append(f"“{label}” is not a tube of this batch.")
            elif label != row.tube.portion.label:
                lost.append(f"“{label}” was discarded; what was taken instead is {row.tube.portion.label}.")
            else:
                self._fill_row(row, line)
        return lost

    def weighed(self, given: Mapping[str, Any]) -> list[Weighed]:
        """The rows that were typed, as the act takes them. What is no number becomes a problem at its row."""
        return [self._weighed(row, given) for row in self.rows if row.typed]

    @property
    def typed_count(self) -> int:
        """How many rows hold something that is not recorded."""
        return sum(row.typed for row in self.rows)

    @property
    def recorded_count(self) -> int:
        """Of how many tubes something is recorded."""
        return sum(row.tube.weighing is not None for row in self.rows)

    @property
    def problem_count(self) -> int:
        """How many rows hold a problem."""
        return sum(bool(row.problems) for row in self.rows)

    @property
    def first_problem(self) -> int | None:
        """The first tube with a problem."""
        return next((row.tube.portion.tube for row in self.rows if row.problems), None)

    def place(self, problems: Sequence[Any]) -> None:
        """Put the problems that the act found under their rows; it counts the typed rows from 1."""
        typed = [row for row in self.rows if row.typed]
        for problem in problems:
            if problem.row and problem.row <= len(typed):
                typed[problem.row - 1].add_problem(problem.column or "", words_of(problem, typed[problem.row - 1]))

    def _of_group(self, group: str) -> list[Column]:
        return [column for column in self.columns if column.group == group]

    def _stands_in(self, column: Column) -> bool:
        """Whether a row has something in a column; a state that is the one for all is nothing."""
        usual = self.usual["state"] if column.name == "state" else ""
        return any(row.texts.get(column.name, "") not in {"", usual} for row in self.rows)

    def _row(self, tube: Tube, posted: Mapping[str, str]) -> GridRow:
        at = f"t{tube.portion.tube}-"
        seen = posted.get(at + "seen", "")
        version = int(seen) if seen.isdecimal() else None
        recorded = recorded_texts(tube.weighing)
        before = recorded_texts(tube.seen(version)) if tube.seen(version) or version == 0 else recorded
        texts = {name: posted.get(at + name, before.get(name, "")) for name in self.names}
        typed = f"{at}theirs" not in posted and self._is_typed(texts, before) and self._is_typed(texts, recorded)
        if not typed:
            texts = {name: recorded.get(name, "") for name in self.names}
        return GridRow(tube, texts, recorded, typed, version, self)

    def _is_typed(self, texts: Mapping[str, str], recorded: Mapping[str, str]) -> bool:
        """Whether anything differs from what is recorded; a reason alone only where nothing is."""
        names = [name for name in self.names if recorded == {} or name != "reason"]
        return any(not is_same(texts[name], recorded.get(name, "")) for name in names)

    def _fill_row(self, row: GridRow, line: Mapping[str, str]) -> None:
        row.texts.update({name: line[name].strip() for name in self.names if line.get(name)})
        row.typed = self._is_typed(row.texts, row.recorded)

    def _weighed(self, row: GridRow, given: Mapping[str, Any]) -> Weighed:
        numbers = self._numbers(row)
        made_up = numbers.get("volume_mL") is not None or numbers.get("final_g") is not None
        if "volume_mL" in self.names and not made_up and _has_portion(numbers):
            numbers["volume_mL"] = self.usual["usual_volume_mL"]
        if numbers.get("final_g") is not None and "solution_kg_per_L" in self.names:
            numbers["solution_kg_per_L"] = numbers["solution_kg_per_L"] or self.usual["usual_kg_per_L"]
        spike_lot = given.get("spike_lot")
        return Weighed(
            label=row.tube.portion.label,
            dilution=row.texts["dilution"].strip() or self.usual["usual_dilution"],
            state=State(row.texts.get("state") or self.usual["state"]),
            reason=row.texts["reason"].strip(),
            internal_standard_lot=_internal_standard(row, numbers, given),
            spike_lot=spike_lot.number if spike_lot and row.tube.portion.role == Role.SPIKE else None,
            seen_version=row.version if row.seen is None else row.seen,
            **numbers,
        )

    def _numbers(self, row: GridRow) -> dict[str, float | None]:
        """The quantities of a row as numbers; what is none becomes its problem."""
        numbers: dict[str, float | None] = {}
        for name in (column.name for column in self.columns if column.is_number):
            text = row.texts[name].strip()
            numbers[name] = number(text)
            if text and numbers[name] is None:
                row.add_problem(name, f"“{text}” is not a number. Write it with a point and without its unit.")
        return numbers


def posted_texts(posted: QueryDict) -> dict[str, str]:
    """What was sent, one text a field."""
    return {name: value for name, value in posted.items() if isinstance(value, str)}


def _internal_standard(row: GridRow, numbers: Mapping[str, float | None], given: Mapping[str, Any]) -> str | None:
    """Number of the lot that was added: as chosen now, else as recorded; None where none was added."""
    if numbers.get("internal_standard_g") is None:
        return None
    recorded = row.tube.weighing.internal_standard_lot if row.tube.weighing else None
    lot = given.get("internal_standard") or recorded
    return lot.number if lot else None


def _has_portion(numbers: Mapping[str, float | None]) -> bool:
    return numbers.get("mass_g") is not None or numbers.get("aliquot_mL") is not None
