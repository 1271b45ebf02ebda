"""Preparation batches: begun with their control samples; more reagents; a lost portion and the one taken instead."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from labresults.actions.numbering import next_number
from labresults.acts import BadInput, Done, WrongState, act, require_task
from labresults.models import (
    DiscardedPortion,
    Laboratory,
    Lot,
    MethodVersion,
    Person,
    PlannedControl,
    PreparationBatch,
    Sample,
    Subsample,
    TestPortion,
)
from labresults.queries.batch_plan import needs_seed, planned_tubes
from labresults.queries.materials import current_lot, in_words, refuse_expired
from labresults.terms import Repeat, Role, Task

SHORT = {
    Role.METHOD_BLANK: "MB",
    Role.REFERENCE_MATERIAL: "RM",
    Role.CONTROL_SAMPLE: "LC",
    Role.DUPLICATE: "D",
    Role.SPIKE: "S",
}
"""How a control sample is labelled."""


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
    seed: int | None = None,
) -> Done[PreparationBatch]:
    """Put samples into a batch, with the control samples that the method version asks for, tube by tube.

    seed: where the method places control samples at random; it is kept, so that the order can be made again.
    Raises BadInput when there are too many samples, one is there twice, struck, or acidified too short a time ago, the
    caution was not read, a lot has expired and nobody allowed it for the day, a seed is missing, or a repeat has no
    cause.
    """
    require_task(by, Task.PREPARE, method_version.method, at.date())
    _refuse_bad_batch(method_version, samples, caution_read, repeat, reason)
    _refuse_not_ready(samples, at)
    random = needs_seed(method_version)
    if random and seed is None:
        raise BadInput(f"{method_version} places control samples at random: give a seed to place them by.")
    overrides = refuse_expired(reagents, at.date())
    batch = PreparationBatch.objects.create(
        number=next_number("B", at), method_version=method_version, caution_read=caution_read,
        seed=seed if random else None, made_by=by, made_at=at,
    )  # fmt: skip
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
            "seed": batch.seed,
            "allowed": [in_words(override) for override in overrides],
        },
    )


@act("add_reagents")
def add_reagents(
    *, by: Person, at: datetime, reason: str, batch: PreparationBatch, lots: Sequence[Lot]
) -> Done[PreparationBatch]:
    """Add lots to the reagents of a batch. Those that are named already stay as they are.

    Raises BadInput when a lot has expired and nobody allowed it for the day; WrongState when all are named already.
    """
    require_task(by, Task.PREPARE, batch.method_version.method, at.date())
    before = [lot.number for lot in batch.reagents.order_by("number")]
    new = [lot for lot in lots if lot.number not in before]
    if not new:
        raise WrongState(f"Nothing to add: {batch} names {', '.join(before) or 'no reagents'} already.")
    overrides = refuse_expired(new, at.date())
    batch.reagents.add(*new)
    return Done(
        batch,
        subject=("batch", batch.number),
        before={"reagents": before},
        after={
            "reagents": sorted({*before, *(lot.number for lot in new)}),
            "allowed": [in_words(override) for override in overrides],
        },
    )


@act("discard_portion")
def discard_portion(*, by: Person, at: datetime, reason: str, portion: TestPortion) -> Done[TestPortion]:
    """Discard a portion that was lost, with the reason; another one takes its place, in the next tube of the batch.

    The old one stays on the record. What is compared with it (its duplicate, its spike) is compared with the new one.
    Raises BadInput without a reason; WrongState when it was discarded before, or was measured: a measured portion is
    repeated under its cause.
    """
    require_task(by, Task.PREPARE, portion.batch.method_version.method, at.date())
    if not reason.strip():
        raise BadInput(f"Say what became of {portion}, for example spilled or boiled dry.")
    _refuse_discarding(portion)
    taken = _portion_instead(portion)
    DiscardedPortion.objects.create(portion=portion, replaced_by=taken, reason=reason.strip(), made_by=by, made_at=at)
    return Done(
        taken,
        subject=("batch", portion.batch.number),
        before={"tube": portion.tube, "label": portion.label},
        after={"tube": taken.tube, "label": taken.label, "role": str(taken.role)},
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
    if repeat == Repeat.NONE:
        _refuse_prepared(version, samples)


def _refuse_prepared(version: MethodVersion, samples: Sequence[Sample]) -> None:
    """Refuse samples that are in a batch of the method already: a form that is sent twice makes one batch."""
    begun = TestPortion.objects.filter(
        role=Role.SAMPLE,
        discarded__isnull=True,
        subsample__sample__in=samples,
        batch__method_version__method=version.method,
    ).values_list("label", "batch__number")
    if begun:
        words = ", ".join(f"{label} in {number}" for label, number in sorted(set(begun))[:5])
        raise BadInput(f"Prepared by {version.method} before: {words}. Say which repeat this is, and why.")


def _refuse_not_ready(samples: Sequence[Sample], at: datetime) -> None:
    """Refuse samples that were struck, and waters that were acidified on arrival too short a time ago."""
    struck = [sample.number for sample in samples if sample.struck_at]
    if struck:
        raise BadInput(f"Struck from their submission: {', '.join(struck[:5])}. Take them out.")
    acidified = [sample for sample in samples if sample.acidified_at]
    if not acidified:
        return
    wait = timedelta(hours=Laboratory.objects.get().acidified_lock_h)
    locked = [(s.number, s.acidified_at, s.acidified_at + wait) for s in acidified if s.acidified_at + wait > at]
    if locked:
        words = "; ".join(
            f"{number}, acidified {since:%d %b %H:%M}, may begin {until:%d %b %Y %H:%M} UTC"
            for number, since, until in locked[:5]
        )
        raise BadInput(
            f"Not yet {wait.total_seconds() / 3600:g} h after acidifying: {words}. Take them out until then."
        )


def _fill_batch(batch: PreparationBatch, samples: Sequence[Sample], at: datetime, repeat: Repeat, cause: str) -> None:
    """The tubes: samples in their order and control samples where the method version places them."""
    nodes = {node.sample_id: node for node in Subsample.objects.filter(sample__in=samples).order_by("pk")}
    tubes = planned_tubes(batch.method_version, len(samples), batch.seed)
    made: dict[int, TestPortion] = {}
    for tube in tubes:
        if tube.sample is None:
            continue
        sample = samples[tube.sample]
        made[tube.sample] = TestPortion.objects.create(
            batch=batch,
            tube=tube.number,
            label=sample.number,
            role=Role.SAMPLE,
            subsample=nodes[sample.pk],
            repeat=repeat,
            repeat_cause=cause if repeat != Repeat.NONE else "",
        )
    taken: set[str] = set()
    for tube in tubes:
        if tube.control is not None:
            _control_portion(
                batch, tube.number, tube.control, None if tube.parent is None else made[tube.parent], taken, at
            )


def _control_portion(
    batch: PreparationBatch,
    tube: int,
    control: PlannedControl,
    parent: TestPortion | None,
    taken: set[str],
    at: datetime,
) -> None:
    """A control sample; `taken` holds the labels of those of samples, which are numbered from the second on."""
    short = SHORT[Role(control.role)]
    label = f"{batch.number} {short}{tube}"
    if parent:
        label, number = f"{parent.label} {short}", 1
        while label in taken:
            number += 1
            label = f"{parent.label} {short}{number}"
        taken.add(label)
    TestPortion.objects.create(
        batch=batch,
        tube=tube,
        label=label,
        role=control.role,
        planned=control,
        parent=parent,
        subsample=parent.subsample if parent else None,
        lot=current_lot(control.material, at.date()) if control.material and not parent else None,
    )


def _refuse_discarding(portion: TestPortion) -> None:
    gone = DiscardedPortion.objects.filter(portion=portion).select_related("replaced_by", "made_by").first()
    if gone:
        raise WrongState(
            f"{portion} was discarded before, by {gone.made_by}: {gone.reason}. {gone.replaced_by} stands instead."
        )
    measured = portion.positions.filter(readings__isnull=False).select_related("run").first()
    if measured:
        raise WrongState(
            f"{portion} was measured in {measured.run}: it is not discarded any more. Prepare it again as a repeat, "
            "with its cause."
        )


def _portion_instead(portion: TestPortion) -> TestPortion:
    """Another portion of the same, in the next tube: its label counts on."""
    last = portion.batch.portions.order_by("-tube").first()
    first = portion.label.partition(" (")[0]
    number = 2
    while portion.batch.portions.filter(label=f"{first} ({number})").exists():
        number += 1
    return TestPortion.objects.create(
        batch=portion.batch,
        tube=last.tube + 1,
        label=f"{first} ({number})",
        role=portion.role,
        subsample=portion.subsample,
        lot=portion.lot,
        planned=portion.planned,
        parent=portion.parent,
        repeat=portion.repeat,
        repeat_cause=portion.repeat_cause,
    )
