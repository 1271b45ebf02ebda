"""Which result stands: of many at once the same as of each alone."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labresults.calculation.selection import Candidate, Candidates, choose, choose_each


def a_candidate(key: int = 1, *, rank: int = 1, has_value: bool = True, holds: bool = True) -> Candidate:
    return Candidate(key, sample=1, element="Cu", rank=rank, has_value=has_value, holds=holds)


VALID, FAILED, EMPTY = a_candidate(), a_candidate(holds=False), a_candidate(has_value=False)


@pytest.mark.parametrize(
    ("standing", "repeat", "replaced"),
    [
        (VALID, a_candidate(2), False),
        (FAILED, a_candidate(2), True),
        (FAILED, a_candidate(2, holds=False), False),
        (FAILED, a_candidate(2, has_value=False), False),
        (EMPTY, a_candidate(2), True),
        (EMPTY, a_candidate(2, holds=False), True),
        (EMPTY, a_candidate(2, has_value=False), False),
        (None, a_candidate(2, has_value=False), True),
    ],
    ids=[
        "the first valid result stands",
        "a valid repeat replaces a failed one",
        "a failed repeat replaces no failed one",
        "nothing replaces no value",
        "a valid repeat replaces nothing",
        "a failed value is more than none",
        "none is not replaced by none",
        "the first is taken",
    ],
)
def test_a_repeat_replaces_only_what_had_no_value_or_whose_control_failed(
    standing: Candidate | None, repeat: Candidate, replaced: bool
) -> None:
    assert (choose([repeat], standing=standing) is not None) is replaced


def test_a_line_that_ranks_lower_stands_where_the_first_failed() -> None:
    first, second = a_candidate(1, rank=1, holds=False), a_candidate(2, rank=2)
    assert choose([first, second]) == second


candidates = st.lists(
    st.builds(
        Candidate,
        key=st.just(0),
        sample=st.integers(1, 3),
        element=st.sampled_from(["Cu", "Pb"]),
        rank=st.integers(1, 3),
        has_value=st.booleans(),
        holds=st.booleans(),
    ),
    max_size=25,
)


def as_columns(rows: list[Candidate]) -> Candidates:
    return Candidates(
        keys=np.array([row.key for row in rows], dtype=np.int64),
        samples=np.array([row.sample for row in rows], dtype=np.int64),
        elements=np.array([row.element for row in rows], dtype="U2"),
        ranks=np.array([row.rank for row in rows], dtype=np.int64),
        has_value=np.array([row.has_value for row in rows], dtype=np.bool_),
        holds=np.array([row.holds for row in rows], dtype=np.bool_),
    )


@settings(max_examples=200)
@given(drawn=candidates, others=candidates)
def test_many_are_chosen_as_each_alone(drawn: list[Candidate], others: list[Candidate]) -> None:
    rows = [Candidate(key, c.sample, c.element, c.rank, c.has_value, c.holds) for key, c in enumerate(drawn, start=1)]
    standing = {(c.sample, c.element): c for c in others[:3]}
    cells: dict[tuple[int, str], list[Candidate]] = {}
    for row in rows:
        cells.setdefault((row.sample, row.element), []).append(row)
    alone = {cell: choose(group, standing=standing.get(cell)) for cell, group in cells.items()}
    together = as_columns(rows)
    chosen = [together.at(place) for place in choose_each(together, standing).tolist()]
    assert {(c.sample, c.element): c for c in chosen} == {cell: c for cell, c in alone.items() if c is not None}
