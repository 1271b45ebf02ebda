"""What somebody typed of the tubes of a batch, beside the method and what is recorded: what is new, what is wrong.

`bench_for` makes four queries, and one more for each spiked tube that names no lot.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from labresults.calculation.dilution import parse_dilution
from labresults.calculation.errors import CalculationError
from labresults.calculation.making_up import final_volume, solvent_mass
from labresults.calculation.units import Kind, unit
from labresults.models import Equipment, Lot, PlannedControl, PreparationBatch, TestPortion, Weighing
from labresults.queries.materials import current_lot
from labresults.queries.preparation import departures_of
from labresults.readers.problem import Problem
from labresults.terms import Role, SolutionKind, State

NEEDED = {
    SolutionKind.MASS_IN_VOLUME: ("mass_g", "volume_mL"),
    SolutionKind.VOLUME_IN_VOLUME: ("aliquot_mL", "volume_mL"),
    SolutionKind.MASS_IN_MASS: ("mass_g", "solvent_g"),
}
"""What must be known of a portion before it can be measured."""

ABOVE_ZERO = (
    "mass_g", "volume_mL", "aliquot_mL", "solvent_g", "final_g", "solution_kg_per_L", "internal_standard_g", "spike_mL",
)  # fmt: skip

LONGEST_DILUTION = 200

DO_AGAIN = {"mass_g": "Weigh again", "volume_mL": "Correct it"}
KEEP = "keep it with a reason that a reviewer can read."


@dataclass(frozen=True)
class Weighed:
    """What was recorded of one tube. Masses in g, volumes in mL, density in kg/L; `dilution` as written at the bench.

    volume_mL, or final_g with solution_kg_per_L; diluted by mass: solvent_g, or final_g. Lots by their numbers.
    spike_mL, spike_lot: None as recorded before, else as the method plans and the current lot.
    seen_version: of the recording that the person saw when typing, 0 for none; None: nobody looked (a file, a command).
    """

    label: str
    mass_g: float | None = None
    volume_mL: float | None = None
    aliquot_mL: float | None = None
    solvent_g: float | None = None
    dilution: str = ""
    state: State = State.AS_RECEIVED
    moisture_percent: float | None = None
    reason: str = ""
    tare_g: float | None = None
    final_g: float | None = None
    solution_kg_per_L: float | None = None
    internal_standard_lot: str | None = None
    internal_standard_g: float | None = None
    spike_mL: float | None = None
    spike_lot: str | None = None
    seen_version: int | None = None


@dataclass(frozen=True)
class Bench:
    """What the act looks at: loaded once, whatever the number of tubes."""

    batch: PreparationBatch
    portions: Mapping[str, TestPortion]  # by label
    recorded: Mapping[int, Weighing]  # the newest, by portion
    lots: Mapping[str, Lot]  # those named in the rows, by number
    spikes: Mapping[int, PlannedControl]  # what the method spikes with, by portion
    at: datetime

    def version_of(self, portion: TestPortion) -> int:
        """The version of what is recorded of a portion; 0 where nothing is."""
        return self.recorded[portion.pk].version if portion.pk in self.recorded else 0


@dataclass(frozen=True)
class Taken:
    """A row as it would be recorded: values by the columns of `Weighing`."""

    row: Weighed
    portion: TestPortion
    values: Mapping[str, Any]


def bench_for(batch: PreparationBatch, rows: Sequence[Weighed], at: datetime) -> Bench:
    """Load the tubes, what is recorded of them, the lots that are named, and the spikes that are planned."""
    portions = list(batch.portions.select_related("discarded__replaced_by", "planned__material"))
    usual = batch.method_version.controls.filter(role=Role.SPIKE, in_batch=True).select_related("material").first()
    spikes = {p.pk: p.planned or usual for p in portions if p.role == Role.SPIKE}
    recorded = Weighing.objects.filter(portion__batch=batch).select_related(
        "made_by", "spike_lot", "internal_standard_lot", "balance"
    )
    named = {number for row in rows for number in (row.spike_lot, row.internal_standard_lot) if number}
    return Bench(
        batch=batch,
        portions={portion.label: portion for portion in portions},
        recorded={row.portion_id: row for row in recorded.order_by("version")},
        lots={lot.number: lot for lot in Lot.objects.filter(number__in=named).select_related("material")},
        spikes={pk: planned for pk, planned in spikes.items() if planned},
        at=at,
    )


def check_rows(bench: Bench, rows: Sequence[Weighed], balance: Equipment | None) -> tuple[list[Taken], list[Problem]]:
    """The rows that say something new, and what is wrong with any."""
    new: list[Taken] = []
    problems: list[Problem] = []
    seen: dict[str, int] = {}
    for number, row in enumerate(rows, start=1):
        if row.label in seen:
            what = f"{row.label} is in row {seen[row.label]} already."
            problems.append(Problem(number, "label", what, "Take one of them out."))
            continue
        seen[row.label] = number
        portion = bench.portions.get(row.label)
        if portion is None:
            problems.append(Problem(number, "label", f"“{row.label}” is not in this batch.", "Check the label."))
            continue
        found: list[Problem] = []
        taken = Taken(row, portion, _values(number, row, portion, bench, found))
        if not found and _is_recorded(taken, bench.recorded.get(portion.pk), balance):
            continue
        wrong = {problem.column for problem in found}
        more = [problem for problem in _row_problems(number, taken, bench) if problem.column not in wrong]
        problems += found + _standing_problems(number, taken, bench) + more
        new.append(taken)
    return new, problems


def _values(number: int, row: Weighed, portion: TestPortion, bench: Bench, found: list[Problem]) -> dict[str, Any]:
    """The columns of the row, with what follows from them; what cannot be goes to `found`."""
    values: dict[str, Any] = {name: getattr(row, name) for name in (*ABOVE_ZERO, "tare_g", "moisture_percent", "state")}
    impossible = _impossible(number, row)
    found += impossible
    values["dilution_written"], values["dilution"] = row.dilution.strip(), 1.0
    values |= _lots(number, row, portion, bench, found)
    if impossible:
        return values
    try:
        values["dilution"] = parse_dilution(row.dilution).factor
    except CalculationError as error:
        found.append(Problem(number, "dilution", str(error), ""))
    try:
        if bench.batch.method_version.solution_kind == SolutionKind.MASS_IN_MASS:
            values["solvent_g"] = solvent_mass(row.mass_g, row.solvent_g, row.final_g, row.internal_standard_g)
        else:
            values["volume_mL"] = final_volume(row.volume_mL, row.final_g, row.solution_kg_per_L)
    except CalculationError as error:
        found.append(Problem(number, "final_g", f"{row.label}: {error}", ""))
    return values


def _impossible(number: int, row: Weighed) -> list[Problem]:
    """Numbers that nothing can weigh or measure, and a dilution that is too long to keep."""
    highest = {"moisture_percent": 100.0}
    found = []
    for name in (*ABOVE_ZERO, "tare_g", "moisture_percent"):
        value = getattr(row, name)
        if value is None:
            continue
        enough = value > 0 if name in ABOVE_ZERO else value >= 0
        if not (enough and value < highest.get(name, float("inf"))):
            found.append(Problem(number, name, f"{row.label}: {value} cannot be.", "Read it again."))
    if len(row.dilution.strip()) > LONGEST_DILUTION:
        what = f"{row.label}: the dilution is longer than {LONGEST_DILUTION} signs."
        found.append(Problem(number, "dilution", what, "Put steps together, as x 100."))
    return found


def _lots(number: int, row: Weighed, portion: TestPortion, bench: Bench, found: list[Problem]) -> dict[str, Any]:
    """Spike and internal standard of a row, with their lots."""
    values: dict[str, Any] = {"internal_standard_lot": None, "spike_lot": None, "spike_mL": None}
    for name in ("internal_standard_lot", "spike_lot"):
        wanted = getattr(row, name)
        if wanted and wanted not in bench.lots:
            found.append(Problem(number, name, f"There is no lot {wanted}.", "Scan it again, or register it first."))
    if bool(row.internal_standard_lot) != (row.internal_standard_g is not None):
        what = f"{row.label}: an internal standard needs its lot and its mass."
        found.append(Problem(number, "internal_standard_g", what, "Give both, or neither."))
    values["internal_standard_lot"] = bench.lots.get(row.internal_standard_lot or "")
    if portion.role == Role.SPIKE:
        values |= _spike(number, row, portion, bench, found)
    elif row.spike_mL is not None or row.spike_lot:
        found.append(Problem(number, "spike_mL", f"{row.label} is not spiked.", "Give it at the tube that is."))
    return values


def _spike(number: int, row: Weighed, portion: TestPortion, bench: Bench, found: list[Problem]) -> dict[str, Any]:
    """What was added to a spiked portion: as given, else as recorded before, else as planned."""
    before, planned = bench.recorded.get(portion.pk), bench.spikes.get(portion.pk)
    lot = bench.lots.get(row.spike_lot or "") or (before.spike_lot if before else None)
    volume_mL = row.spike_mL or (before.spike_mL if before else None) or (planned.spike_mL if planned else None)
    material = planned.material if planned else None
    if lot is None and material and not row.spike_lot:
        lot = current_lot(material, bench.at.date())
    if lot and material and row.spike_lot and lot.material_id != material.pk:
        what = f"{lot} is {lot.material.name}; the method spikes with {material.name}."
        found.append(Problem(number, "spike_lot", what, "Scan the bottle again."))
    for content_unit in set(lot.contents.values_list("unit", flat=True)) if lot else ():
        if unit(content_unit).kind is not Kind.MASS_CONCENTRATION:
            what = f"{lot} holds {content_unit}: a volume of it adds no known mass."
            found.append(Problem(number, "spike_lot", what, "Spike with a solution whose content is per volume."))
    if lot and volume_mL is None:
        what = f"{row.label}: how much of the spiking solution was added?"
        found.append(Problem(number, "spike_mL", what, "Give its volume: the method version names none."))
    return {"spike_lot": lot, "spike_mL": volume_mL}


def _is_recorded(taken: Taken, before: Weighing | None, balance: Equipment | None) -> bool:
    """Whether a row says what is recorded already. The reason belongs to its own recording and is not compared, nor
    how the dilution is written: its factor is.
    """
    if before is None or (balance and before.balance_id != balance.pk):
        return False
    known = as_recorded(before)
    return plain({**taken.values, "dilution_written": ""}) == plain({**known, "dilution_written": ""})


def _standing_problems(number: int, taken: Taken, bench: Bench) -> list[Problem]:
    """Why a tube may not be recorded now: discarded, or recorded before."""
    row, portion = taken.row, taken.portion
    if hasattr(portion, "discarded"):
        gone = portion.discarded
        return [
            Problem(number, "label", f"{row.label} was discarded: {gone.reason}.", f"Weigh {gone.replaced_by} instead.")
        ]
    before = bench.recorded.get(portion.pk)
    if before and row.seen_version is not None and before.version > row.seen_version:
        said = ", ".join(f"{name} {value}" for name, value in plain(as_recorded(before)).items())
        what = f"{row.label} was recorded by {before.made_by} meanwhile, {before.made_at:%d %b %Y %H:%M} UTC: {said}."
        return [
            Problem(number, "label", what, "Compare the two; send yours again, with a reason, only if it is right.")
        ]
    if before and not row.reason:
        return [Problem(number, "reason", f"{row.label} was recorded before.", "Say why it is recorded again.")]
    return []


def _row_problems(number: int, taken: Taken, bench: Bench) -> list[Problem]:
    """What is missing, and a mass or a final volume that is not as the method states it."""
    row, version = taken.row, bench.batch.method_version
    may_miss = {"mass_g", "aliquot_mL"} if taken.portion.role == Role.METHOD_BLANK else set()
    found = [
        Problem(number, name, f"{row.label} has none.", "Give it.")
        for name in NEEDED[SolutionKind(version.solution_kind)]
        if taken.values[name] is None and name not in may_miss and not (name == "volume_mL" and row.final_g)
    ]
    if row.reason:
        return found
    apart = departures_of(row.mass_g, taken.values.get("volume_mL"), version)
    return [*found, *(Problem(number, name, what, f"{DO_AGAIN[name]}, or {KEEP}") for name, what in apart.items())]


def as_recorded(row: Weighing) -> dict[str, Any]:
    """What a weighing holds, by the columns that a row gives; no query where its lots are loaded."""
    names = (
        *ABOVE_ZERO, "tare_g", "moisture_percent", "state", "dilution_written", "dilution", "internal_standard_lot",
        "spike_lot",
    )  # fmt: skip
    return {name: getattr(row, name) for name in names}


def plain(values: Mapping[str, Any]) -> dict[str, Any]:
    """Values as the record and a comparison take them: lots by number, what is not there left out."""
    return {
        name: value.number if isinstance(value, Lot) else str(value) if isinstance(value, State) else value
        for name, value in values.items()
        if value not in (None, "")
    }


def lots_of(new: Sequence[Taken], bench: Bench) -> list[Lot]:
    """Every lot that these rows are the first to name, once: a lot may have expired since, when a mass is corrected."""
    names = ("spike_lot", "internal_standard_lot")
    lots: dict[int, Lot] = {}
    for taken in new:
        before = bench.recorded.get(taken.portion.pk)
        lots |= {
            lot.pk: lot
            for name in names
            if (lot := taken.values[name]) and (before is None or getattr(before, name) != lot)
        }
    return list(lots.values())
