"""Preparation: a batch is begun with its control samples, then weighed, made up and diluted."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime

from labresults.actions.numbering import next_number
from labresults.acts import BadInput, Done, act, require_task
from labresults.calculation.dilution import parse_dilution
from labresults.calculation.errors import CalculationError
from labresults.models import (
    Equipment,
    Lot,
    MethodVersion,
    Person,
    PlannedControl,
    PreparationBatch,
    Sample,
    Subsample,
    TestPortion,
    Weighing,
)
from labresults.queries.materials import current_lot, is_overdue
from labresults.readers.problem import Problem
from labresults.terms import Repeat, Role, SolutionKind, State, Task

NEEDED = {
    SolutionKind.MASS_IN_VOLUME: ("mass_g", "volume_mL"),
    SolutionKind.VOLUME_IN_VOLUME: ("aliquot_mL", "volume_mL"),
    SolutionKind.MASS_IN_MASS: ("mass_g", "solvent_g"),
}
"""What must be recorded of a portion before it can be measured."""


@dataclass(frozen=True)
class Weighed:
    """What was recorded of one tube. Masses in g, volumes in mL; `dilution` as written at the bench."""

    label: str
    mass_g: float | None = None
    volume_mL: float | None = None
    aliquot_mL: float | None = None
    solvent_g: float | None = None
    dilution: str = ""
    state: State = State.AS_RECEIVED
    moisture_percent: float | None = None
    reason: str = ""


@act("begin_batch")
def begin_batch(
    *,
    by: Person,
    at: datetime,
    reason: str,
    method_version: MethodVersion,
    samples: Sequence[Sample],
    caution_read: bool,
    reagents: Sequence[Lot] = (),
    repeat: Repeat = Repeat.NONE,
) -> Done[PreparationBatch]:
    """Put samples into a batch, with the control samples that the method version asks for, tube by tube.

    A duplicate is taken of the last sample, a spike of the first. Raises BadInput when there are too many samples, one
    is there twice, the caution was not read, a lot has expired, or a repeat has no cause.
    """
    require_task(by, Task.PREPARE, method_version.method, at.date())
    _refuse_bad_batch(method_version, samples, caution_read, repeat, reason)
    expired = [lot.number for lot in reagents if lot.expires_on < at.date()]
    if expired:
        raise BadInput(f"Expired: {', '.join(expired)}. Take another lot.")
    batch = PreparationBatch.objects.create(
        number=next_number("B", at), method_version=method_version, caution_read=caution_read, made_by=by, made_at=at
    )
    batch.reagents.set(reagents)
    _fill_batch(batch, samples, at, repeat, reason)
    return Done(
        batch,
        subject=("batch", batch.number),
        after={
            "method": str(method_version),
            "tubes": list(batch.portions.order_by("tube").values_list("tube", "label", "role")),
            "reagents": [lot.number for lot in reagents],
            "caution read": caution_read,
            "repeat": str(repeat),
        },
    )


@act("record_weighings")
def record_weighings(
    *,
    by: Person,
    at: datetime,
    reason: str,
    batch: PreparationBatch,
    rows: Sequence[Weighed],
    balance: Equipment | None = None,
    observed_at: datetime | None = None,
) -> Done[list[Weighing]]:
    """Record masses, volumes and dilutions of a batch: all rows, or none. A tube weighed before needs a reason.

    Raises BadInput with every problem at its tube: unknown tube, outside the method's window without a reason,
    something missing, an ambiguous dilution; and when the balance is overdue for calibration without a reason.
    """
    version = batch.method_version
    require_task(by, Task.PREPARE, version.method, at.date())
    if balance and is_overdue(balance, at.date()) and not reason:
        raise BadInput(f"{balance} is overdue for calibration. Use another one, or give a reason that goes on record.")
    portions = {portion.label: portion for portion in batch.portions.all()}
    earlier = {row.portion_id: row for row in Weighing.objects.filter(portion__batch=batch).order_by("version")}
    problems = [
        problem
        for number, row in enumerate(rows, start=1)
        for problem in _weighing_problems(number, row, version, portions, earlier)
    ]
    if problems:
        raise BadInput(f"{len(problems)} to correct; nothing was recorded.", tuple(problems))
    spike = version.controls.filter(role=Role.SPIKE, in_batch=True).select_related("material").first()
    made = [
        _record(
            row, portions[row.label], earlier.get(portions[row.label].pk), spike, balance, observed_at or at, by, at
        )
        for row in rows
    ]
    return Done(
        made,
        subject=("batch", batch.number),
        before={
            portions[row.label].label: _recorded(earlier[portions[row.label].pk])
            for row in rows
            if portions[row.label].pk in earlier
        }
        or None,
        after={"balance": balance.code if balance else None, "tubes": [_plain(row) for row in rows]},
    )


def _refuse_bad_batch(
    version: MethodVersion, samples: Sequence[Sample], caution_read: bool, repeat: Repeat, reason: str
) -> None:
    if not samples:
        raise BadInput("A batch needs at least one sample.")
    if len(samples) > version.batch_size:
        raise BadInput(
            f"{len(samples)} samples are too many: {version} holds at most {version.batch_size} in a batch, so that "
            "its control samples speak for all of them. Begin several batches."
        )
    if len({sample.pk for sample in samples}) < len(samples):
        raise BadInput("A sample is in the batch twice. Its duplicate is put in by the method.")
    if version.hazards and not caution_read:
        raise BadInput("Read the caution first, and say that you did.")
    if repeat != Repeat.NONE and not reason:
        raise BadInput("A repeat needs its cause before it is measured.")
    weighed = Weighing.objects.filter(
        portion__role=Role.SAMPLE,
        portion__subsample__sample__in=samples,
        portion__batch__method_version__method=version.method,
    ).values_list("portion__subsample__sample__number", flat=True)
    if repeat == Repeat.NONE and weighed:
        raise BadInput(
            f"Prepared by {version.method} before: {', '.join(sorted(set(weighed))[:5])}. "
            "Say which repeat this is, and why."
        )


def _fill_batch(batch: PreparationBatch, samples: Sequence[Sample], at: datetime, repeat: Repeat, cause: str) -> None:
    """The tubes: control samples that stand for themselves, the samples, then their duplicates and spikes."""
    nodes = {node.sample_id: node for node in Subsample.objects.filter(sample__in=samples).order_by("pk")}
    controls = list(batch.method_version.controls.filter(in_batch=True).order_by("ordinal"))
    alone = [c for c in controls if c.role in {Role.METHOD_BLANK, Role.REFERENCE_MATERIAL, Role.CONTROL_SAMPLE}]
    for tube, control in enumerate(alone, start=1):
        _control_portion(batch, tube, control, at)
    portions = [
        TestPortion.objects.create(
            batch=batch,
            tube=tube,
            label=sample.number,
            role=Role.SAMPLE,
            subsample=nodes[sample.pk],
            repeat=repeat,
            repeat_cause=cause if repeat != Repeat.NONE else "",
        )
        for tube, sample in enumerate(samples, start=len(alone) + 1)
    ]
    of_samples = [control for control in controls if control.role in {Role.DUPLICATE, Role.SPIKE}]
    for tube, control in enumerate(of_samples, start=len(alone) + len(portions) + 1):
        _repeat_portion(batch, tube, control, portions)


def _record(
    row: Weighed,
    portion: TestPortion,
    before: Weighing | None,
    spike: PlannedControl | None,
    balance: Equipment | None,
    observed_at: datetime,
    by: Person,
    at: datetime,
) -> Weighing:
    """One row; a spiked portion keeps what was added to it."""
    spiked = spike if portion.role == Role.SPIKE else None
    return Weighing.objects.create(
        portion=portion,
        version=before.version + 1 if before else 1,
        observed_at=observed_at,
        mass_g=row.mass_g,
        volume_mL=row.volume_mL,
        aliquot_mL=row.aliquot_mL,
        solvent_g=row.solvent_g,
        dilution_written=row.dilution,
        dilution=parse_dilution(row.dilution).factor if row.dilution.strip() else 1.0,
        state=row.state,
        moisture_percent=row.moisture_percent,
        spike_lot=current_lot(spiked.material, at.date()) if spiked and spiked.material else None,
        spike_mL=spiked.spike_mL if spiked else None,
        balance=balance,
        reason=row.reason,
        made_by=by,
        made_at=at,
    )


def _control_portion(batch: PreparationBatch, tube: int, control: PlannedControl, at: datetime) -> None:
    short = {Role.METHOD_BLANK: "MB", Role.REFERENCE_MATERIAL: "RM"}.get(Role(control.role), "LC")
    TestPortion.objects.create(
        batch=batch,
        tube=tube,
        label=f"{batch.number} {short}{tube}",
        role=control.role,
        lot=current_lot(control.material, at.date()) if control.material else None,
    )


def _repeat_portion(
    batch: PreparationBatch, tube: int, control: PlannedControl, portions: Sequence[TestPortion]
) -> None:
    parent, short = (portions[-1], "D") if control.role == Role.DUPLICATE else (portions[0], "S")
    TestPortion.objects.create(
        batch=batch,
        tube=tube,
        label=f"{parent.label} {short}",
        role=control.role,
        subsample=parent.subsample,
        parent=parent,
    )


def _weighing_problems(
    number: int,
    row: Weighed,
    version: MethodVersion,
    portions: dict[str, TestPortion],
    earlier: dict[int, Weighing],
) -> list[Problem]:
    portion = portions.get(row.label)
    if portion is None:
        return [Problem(number, "label", f"“{row.label}” is not in this batch.", "Check the label.")]
    found = []
    if portion.pk in earlier and not row.reason:
        found.append(Problem(number, "reason", f"{row.label} was recorded before.", "Say why it is recorded again."))
    for name in NEEDED[SolutionKind(version.solution_kind)]:
        if getattr(row, name) is None and not (portion.role == Role.METHOD_BLANK and name in {"mass_g", "aliquot_mL"}):
            found.append(Problem(number, name, f"{row.label} has none.", "Give it."))
    found += _window_problems(number, row, version)
    if row.dilution.strip():
        try:
            parse_dilution(row.dilution)
        except CalculationError as error:
            found.append(Problem(number, "dilution", str(error), ""))
    return found


def _window_problems(number: int, row: Weighed, version: MethodVersion) -> list[Problem]:
    low, high = version.mass_low_g, version.mass_high_g
    if row.mass_g is None or low is None or high is None or low <= row.mass_g <= high or row.reason:
        return []
    return [
        Problem(
            number,
            "mass_g",
            f"{row.mass_g} g lies outside {low} to {high} g.",
            "Weigh again, or keep it with a reason that a reviewer can read.",
        )
    ]


def _recorded(row: Weighing) -> dict[str, object]:
    return {
        "mass_g": row.mass_g,
        "volume_mL": row.volume_mL,
        "aliquot_mL": row.aliquot_mL,
        "solvent_g": row.solvent_g,
        "dilution": row.dilution_written,
        "state": row.state,
        "moisture_percent": row.moisture_percent,
    }


def _plain(row: Weighed) -> dict[str, object]:
    return {
        name: str(value) if isinstance(value, State) else value
        for name, value in asdict(row).items()
        if value not in (None, "")
    }
