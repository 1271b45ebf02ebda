"""Which of several results of one element in one sample stands. The first valid result does: choosing the latest that
passes would be testing into compliance (common practice, no source)."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


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


@dataclass(frozen=True)
class Candidates:
    """Many candidates of one evaluation, as `Candidate` column by column; arrays of one length."""

    keys: NDArray[np.int64]
    samples: NDArray[np.int64]
    elements: NDArray[np.str_]
    ranks: NDArray[np.int64]
    has_value: NDArray[np.bool_]
    holds: NDArray[np.bool_]

    def at(self, place: int) -> Candidate:
        """Return one of them."""
        return Candidate(
            key=int(self.keys[place]),
            sample=int(self.samples[place]),
            element=str(self.elements[place]),
            rank=int(self.ranks[place]),
            has_value=bool(self.has_value[place]),
            holds=bool(self.holds[place]),
        )


def choose_each(candidates: Candidates, standing: Mapping[tuple[int, str], Candidate]) -> NDArray[np.int64]:
    """Return the places of those that become selected: what `choose` gives for each sample and element, in their order.

    standing: what stands already, by sample and element.
    """
    valid = candidates.has_value & candidates.holds
    order = np.lexsort(
        (candidates.keys, candidates.ranks, ~candidates.has_value, ~valid, candidates.elements, candidates.samples)
    )
    samples, elements = candidates.samples[order], candidates.elements[order]
    leads = np.ones(len(order), dtype=np.bool_)
    leads[1:] = (samples[1:] != samples[:-1]) | (elements[1:] != elements[:-1])
    best = order[leads]
    if standing:
        best = np.array([place for place in best.tolist() if _replaces(candidates.at(place), standing)], dtype=np.int64)
    return best


def _replaces(best: Candidate, standing: Mapping[tuple[int, str], Candidate]) -> bool:
    return choose([best], standing=standing.get((best.sample, best.element))) is not None
