"""In which order the tubes of a batch would stand, before it is begun. Each function says its database queries."""

from collections.abc import Sequence
from dataclasses import dataclass

from labresults.models import MethodVersion, PlannedControl
from labresults.queries.batch_plan import planned_tubes
from labresults.terms import Placing, Role


@dataclass(frozen=True)
class ShownTube:
    """A tube as the method version would fill it: a sample by its number, or a control sample in words."""

    number: int
    sample: str
    what: str
    parent: int | None  # the tube that a duplicate or spike is taken of


@dataclass(frozen=True)
class Order:
    """All tubes in their order; `seed`: by which some stand at random, None where none does."""

    tubes: tuple[ShownTube, ...]
    seed: int | None


def order_of_tubes(version: MethodVersion, numbers: Sequence[str], seed: int) -> Order:
    """The tubes of a batch of these samples, with the control samples of the method version; one query.

    numbers: of the samples, in the order of the batch. seed: for control samples that stand at random.
    """
    if not numbers:
        return Order((), None)
    tubes = planned_tubes(version, len(numbers), seed)
    place = {tube.sample: tube.number for tube in tubes if tube.sample is not None}
    is_random = any(tube.control and tube.control.placing == Placing.RANDOM for tube in tubes)
    shown = [
        ShownTube(
            number=tube.number,
            sample="" if tube.sample is None else numbers[tube.sample],
            what=_what(tube.control) if tube.control else "",
            parent=None if tube.parent is None else place[tube.parent],
        )
        for tube in tubes
    ]
    return Order(tuple(shown), seed if is_random else None)


def _what(control: PlannedControl) -> str:
    """A control sample in words."""
    if control.role == Role.SPIKE and control.material and control.spike_mL:
        return f"{control.role}, {control.spike_mL:g} mL of {control.material.name}"
    return f"{control.role}, {control.material.name}" if control.material else str(control.role)
