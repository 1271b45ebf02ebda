"""Where control samples stand in a batch (how many: EPA Method 6010D (2018), section 9; where: common practice)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labresults.calculation.placing import Control, Draws, Tube, place
from labresults.terms import Placing, Role

BLANK, MATERIAL, DUPLICATE, SPIKE = Role.METHOD_BLANK, Role.REFERENCE_MATERIAL, Role.DUPLICATE, Role.SPIKE
SHORT = {0: "B", 1: "M", 2: "D", 3: "S"}


def written(samples: int, *controls: Control, seed: int | None = None) -> str:
    """The tubes as one line: a sample by its number, a control by its letter, with its parent."""
    words = [
        str(tube.sample + 1)
        if tube.sample is not None
        else SHORT[tube.control or 0] + ("" if tube.parent is None else str(tube.parent + 1))
        for tube in place(samples, controls, seed)
    ]
    return " ".join(words)


def control(role: Role, placing: Placing = Placing.START, every: int | None = None, at_least: int = 1) -> Control:
    return Control([BLANK, MATERIAL, DUPLICATE, SPIKE].index(role), role, placing, every, at_least)


@pytest.mark.parametrize(
    ("samples", "every", "at_least", "count"),
    [(20, None, 1, 1), (20, None, 2, 2), (1, 20, 1, 1), (20, 20, 1, 1), (21, 20, 1, 2), (40, 10, 1, 4), (5, 10, 3, 3)],
)
def test_one_for_every_so_many_or_part_of_them_and_at_least_so_many(
    samples: int, every: int | None, at_least: int, count: int
) -> None:
    assert control(BLANK, every=every, at_least=at_least).count(samples) == count


@pytest.mark.parametrize(
    ("samples", "controls", "tubes"),
    [
        pytest.param(
            3,
            (control(BLANK), control(MATERIAL), control(DUPLICATE), control(SPIKE)),
            "B M 1 2 3 D3 S1",
            id="as method versions of before ask",
        ),
        pytest.param(3, (control(BLANK, at_least=2),), "B B 1 2 3", id="two at the start"),
        pytest.param(6, (control(BLANK, Placing.SPREAD, every=3),), "B 1 2 3 B 4 5 6", id="spread"),
        pytest.param(5, (control(MATERIAL, Placing.SPREAD, every=2),), "M 1 M 2 3 M 4 5", id="spread unevenly"),
        pytest.param(6, (control(DUPLICATE, every=2),), "1 2 3 4 5 6 D2 D4 D6", id="parents spread"),
        pytest.param(
            6, (control(DUPLICATE, Placing.SPREAD, every=2),), "1 2 D2 3 4 D4 5 6 D6", id="each after its own"
        ),
        pytest.param(6, (control(SPIKE, every=3),), "1 2 3 4 5 6 S1 S4", id="spikes"),
        pytest.param(2, (control(DUPLICATE, at_least=3),), "1 2 D1 D2 D2", id="each sample once before any twice"),
        pytest.param(
            3,
            (control(DUPLICATE), Control(2, DUPLICATE, Placing.START)),
            "1 2 3 D3 D2",
            id="two plans of one role",
        ),
    ],
)
def test_fixed_places(samples: int, controls: tuple[Control, ...], tubes: str) -> None:
    assert written(samples, *controls) == tubes


def test_a_seed_gives_the_same_places_for_ever() -> None:
    # given three controls at random; when they are placed by two seeds; then each always gives what it gave first
    asked = (control(BLANK, Placing.RANDOM, at_least=2), control(DUPLICATE, Placing.RANDOM, at_least=2))
    assert written(6, *asked, seed=7) == "1 B 2 3 B 4 5 D3 6 D1"
    assert written(6, *asked, seed=8) == "B 1 2 B 3 4 5 D2 6 D4"


def test_a_number_drawn_is_a_digest_of_seed_and_count() -> None:
    # SHA-256 of "1:0" and of "1:1" (FIPS 180-4; computed with another program), as whole numbers modulo 1000
    draws = Draws(1)
    assert [draws.below(1000), draws.below(1000)] == [109, 955]


def test_at_random_without_a_seed_is_refused() -> None:
    with pytest.raises(ValueError, match="seed"):
        place(3, [control(BLANK, Placing.RANDOM)])


ASKED = st.lists(
    st.builds(
        control,
        st.sampled_from([BLANK, MATERIAL, DUPLICATE, SPIKE]),
        st.sampled_from(list(Placing)),
        st.none() | st.integers(1, 25),
        st.integers(1, 4),
    ),
    max_size=4,
    unique_by=lambda asked: asked.key,
)


@given(samples=st.integers(1, 45), asked=ASKED, seed=st.integers(0, 2**63 - 1))
def test_whatever_is_asked(samples: int, asked: list[Control], seed: int) -> None:
    tubes = place(samples, asked, seed)
    # every sample stands once and keeps its order
    assert [tube.sample for tube in tubes if tube.sample is not None] == list(range(samples))
    for one in asked:
        own = [tube for tube in tubes if tube.control == one.key]
        assert len(own) == one.count(samples)
        if one.role in {DUPLICATE, SPIKE}:
            times = [sum(tube.parent == sample for tube in own) for sample in range(samples)]
            assert max(times) - min(times) <= 1, "nobody twice before each has one"
            assert all(tubes.index(Tube(sample=tube.parent)) < tubes.index(tube) for tube in own), "after its parent"
