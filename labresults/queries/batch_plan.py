"""The tubes that a method version asks for in a batch. Each function says how many database queries it makes."""

from dataclasses import dataclass

from labresults.calculation.placing import Control, place
from labresults.models import MethodVersion, PlannedControl
from labresults.terms import Placing, Role

PREPARED = (Role.METHOD_BLANK, Role.REFERENCE_MATERIAL, Role.CONTROL_SAMPLE, Role.DUPLICATE, Role.SPIKE)
"""Control samples that can be prepared; the others are made at the instrument."""


@dataclass(frozen=True)
class PlannedTube:
    """One tube, numbered from 1: of a sample, by its index, or of a control sample; `parent` is a sample's index."""

    number: int
    sample: int | None
    control: PlannedControl | None
    parent: int | None


def batch_controls(version: MethodVersion) -> list[PlannedControl]:
    """The control samples that are prepared with each batch, in their order; one query."""
    wanted = version.controls.filter(in_batch=True, role__in=PREPARED)
    return list(wanted.select_related("material").order_by("ordinal"))


def needs_seed(version: MethodVersion) -> bool:
    """Whether control samples stand at random, so that a batch needs a seed; one query."""
    return version.controls.filter(in_batch=True, role__in=PREPARED, placing=Placing.RANDOM).exists()


def planned_tubes(version: MethodVersion, samples: int, seed: int | None = None) -> list[PlannedTube]:
    """The tubes of a batch of so many samples, in their order; one query.

    seed: for control samples at random; ValueError when there are any and none is given.
    """
    controls = {control.pk: control for control in batch_controls(version)}
    tubes = place(samples, [_asked_for(control) for control in controls.values()], seed)
    return [
        PlannedTube(number, tube.sample, controls[tube.control] if tube.control is not None else None, tube.parent)
        for number, tube in enumerate(tubes, start=1)
    ]


def _asked_for(control: PlannedControl) -> Control:
    return Control(control.pk, Role(control.role), Placing(control.placing), control.every, control.at_least)
