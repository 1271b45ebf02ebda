"""Which of several results of one element in one sample stands. The first valid result does: choosing the latest that
passes would be testing into compliance (common practice, no source)."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Candidate:
    """One result that could stand. `holds`: no control sample that speaks for it failed unaccepted."""

    key: int
    sample: int
    element: str
    rank: int  # of its line, 1 is reported when its checks hold
    has_value: bool
    holds: bool

    @property
    def is_valid(self) -> bool:
        """Has a value and nothing stands against it."""
        return self.has_value and self.holds


def choose(candidates: Sequence[Candidate], *, standing: Candidate | None = None) -> Candidate | None:
    """Return the candidate that becomes selected, None when what stands already goes on standing.

    candidates: of one sample and element, from one evaluation. A valid standing result is never replaced. Without one,
    the best candidate is taken: valid before one whose control sample failed, before one without a value; then by the
    rank of its line, then by key.
    """
    if standing is not None and standing.is_valid:
        return None
    if not candidates:
        return None
    best = min(candidates, key=lambda c: (not c.is_valid, not c.has_value, c.rank, c.key))
    if standing is not None and not best.is_valid and (standing.has_value or not best.has_value):
        return None
    return best
