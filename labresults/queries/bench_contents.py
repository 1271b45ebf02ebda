"""What the control samples of a batch should hold, tube by tube. Each function says how many database queries."""

from collections.abc import Sequence
from dataclasses import dataclass

from labresults.models import MethodVersion
from labresults.queries.contents import Held, added_contents, expected_contents
from labresults.queries.preparation import Tube
from labresults.terms import Role


@dataclass(frozen=True)
class ControlContents:
    """A control sample and what it should hold; `words` where that is not known yet, or not at all."""

    tube: Tube
    kind: str
    held: tuple[Held, ...]
    words: str


def contents_of_controls(tubes: Sequence[Tube], version: MethodVersion) -> list[ControlContents]:
    """Reference materials and spikes of a batch with their contents, in the order of the tubes; at most 7 queries."""
    spiked = [tube for tube in tubes if tube.portion.role == Role.SPIKE]
    of_lots = [tube for tube in tubes if tube.portion.lot_id]
    expected = expected_contents([tube.portion for tube in of_lots], version) if of_lots else {}
    added = added_contents([(tube.portion, tube.weighing) for tube in spiked if tube.weighing], version)
    found = [_of_lot(tube, expected.get(tube.portion.pk, ()), version) for tube in of_lots]
    found += [_spiked(tube, added.get(tube.portion.pk, ())) for tube in spiked]
    return sorted(found, key=lambda row: row.tube.portion.tube)


def _of_lot(tube: Tube, held: tuple[Held, ...], version: MethodVersion) -> ControlContents:
    words = "" if held else f"nothing is certified under {version.dissolution} of what {version} reports"
    return ControlContents(tube, "expected", held, words)


def _spiked(tube: Tube, held: tuple[Held, ...]) -> ControlContents:
    """A spiked portion: what was added is a content only once its mass or volume is known."""
    weighing, planned = tube.weighing, tube.portion.planned
    if weighing is None:
        amount = f"{planned.spike_mL:g} mL of {planned.material.name}" if planned and planned.material else "the spike"
        return ControlContents(tube, "added", (), f"{amount}: the content follows when the tube is recorded")
    kind = f"added with {weighing.spike_mL:g} mL of {weighing.spike_lot}" if weighing.spike_mL else "added"
    return ControlContents(tube, kind, held, "" if held else "the lot of the spike names no content")
