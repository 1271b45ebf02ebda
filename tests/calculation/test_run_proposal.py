"""The run list that a method asks for, and the small changes that a person makes to it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labresults.calculation.run_proposal import (
    Control,
    Key,
    Solution,
    inserted,
    moved,
    parsed,
    propose,
    renumbered,
    without,
)
from labresults.terms import Role

ICV = Control(1, Role.INITIAL_VERIFICATION, at_start=True)
CCV = Control(2, Role.CONTINUING_VERIFICATION, every=3, at_end=True)
DILUTION = Control(3, Role.SERIAL_DILUTION, at_end=True)
SPIKE = Control(4, Role.POST_DIGESTION_SPIKE, every=2)
ADDED = Control(5, Role.STANDARD_ADDITION, every=1)


def samples(count: int) -> list[Solution]:
    return [Solution(portion, Role.SAMPLE) for portion in range(1, count + 1)]


def listed(*controls: Control, solutions: list[Solution], **how: object) -> str:
    return " ".join(str(key) for key in propose([1, 2], controls, solutions, **how))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("solutions", "order"),
    [
        (2, "s1 s2 c1 p1 p2 c2"),
        (3, "s1 s2 c1 p1 p2 p3 c2"),  # the third stands at the end: one check closes both
        (4, "s1 s2 c1 p1 p2 p3 c2 p4 c2"),
    ],
)
def test_checks_stand_at_the_start_among_the_solutions_and_at_the_end(solutions: int, order: str) -> None:
    assert listed(ICV, CCV, solutions=samples(solutions)) == order


def test_what_is_made_of_a_sample_names_the_last_one_before_it() -> None:
    assert listed(SPIKE, DILUTION, solutions=samples(3)) == "s1 s2 p1 p2 c4.2 p3 c3.3"


def test_what_is_made_of_a_sample_is_left_out_where_there_is_none() -> None:
    assert listed(DILUTION, CCV, solutions=[Solution(7, Role.METHOD_BLANK)]) == "s1 s2 p7 c2"


def test_what_is_asked_for_beside_a_solution_stands_behind_it_once() -> None:
    asked = frozenset({Role.SERIAL_DILUTION})
    solutions = [Solution(1, Role.SAMPLE, beside=asked), Solution(2, Role.SAMPLE), Solution(3, Role.SAMPLE)]
    assert listed(DILUTION, CCV, solutions=solutions) == "s1 s2 p1 c3.1 p2 p3 c3.3 c2"
    assert listed(DILUTION, CCV, solutions=solutions[:1]) == "s1 s2 p1 c3.1 c2"
    assert listed(CCV, solutions=solutions) == "s1 s2 p1 p2 p3 c2"  # the method version has no such control sample


def test_a_duplicate_never_stands_before_its_sample() -> None:
    solutions = [Solution(9, Role.DUPLICATE, parent=2), *samples(3)]
    assert listed(solutions=solutions) == "s1 s2 p1 p2 p9 p3"


def test_standard_additions_follow_each_sample_where_the_method_calibrates_by_them() -> None:
    solutions = [Solution(9, Role.METHOD_BLANK), *samples(2)]
    assert listed(ADDED, CCV, solutions=solutions, by_additions=True) == "s1 s2 p9 p1 c5.1 p2 c5.2 c2"


def test_the_standards_stand_again_in_each_block_and_families_stay_together() -> None:
    # given a duplicate of the second of five samples, and a calibration for at most three test solutions
    solutions = [*samples(5), Solution(9, Role.DUPLICATE, parent=2)]
    # then sample 2 opens the second block with its duplicate: one curve reads both
    order = listed(ICV, CCV, solutions=solutions, recalibrate_every=3)
    assert order == "s1 s2 c1 p1 p2 p9 c2 s1 s2 c1 p3 p4 p5 c2"


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("s3", Key("s", 3)),
        ("c5.12", Key("c", 5, 12)),
        ("p12", Key("p", 12)),
        ("", None),
        ("x1", None),
        ("p", None),
        ("p1.2", None),
        ("c1.", None),
        ("c-1", None),
        ("c1.2.3", None),
        ("p²", None),
        ("p" + "9" * 40, None),
    ],
)
def test_keys(text: str, key: Key | None) -> None:
    assert parsed(text) == key
    assert key is None or str(key) == text


@given(st.lists(st.booleans(), max_size=40), st.one_of(st.none(), st.integers(1, 12)))
def test_every_solution_is_planned_once_and_after_its_parent(has_parent: list[bool], size: int | None) -> None:
    solutions = [
        Solution(
            n + 1, Role.DUPLICATE if paired else Role.SAMPLE, parent=(n * 7) % len(has_parent) + 1 if paired else None
        )
        for n, paired in enumerate(has_parent)
    ]
    keys = [key.number for key in propose([1], [CCV], solutions, recalibrate_every=size) if key.kind == "p"]
    assert sorted(keys) == sorted(solution.portion for solution in solutions)
    for solution in solutions:
        cyclic = solution.parent and solutions[solution.parent - 1].parent
        if solution.parent and not cyclic:
            assert keys.index(solution.parent) < keys.index(solution.portion)


LIST = ("s1", "p1", "p2", "c1")


@pytest.mark.parametrize(
    ("changed", "is_now"),
    [
        (moved(LIST, 2, 3), ("s1", "p2", "p1", "c1")),
        (moved(LIST, 4, 1), ("c1", "s1", "p1", "p2")),
        (moved(LIST, 1, 0), LIST),
        (moved(LIST, 9, 1), LIST),
        (renumbered(LIST, [1, 4, 3, 4]), ("s1", "p2", "c1", "p1")),
        (renumbered(LIST, [1, 2, 3, 4]), LIST),
        (renumbered(LIST, [2, 1, 3, 4]), ("p1", "s1", "p2", "c1")),
        (without(LIST, 4), ("s1", "p1", "p2")),
        (inserted(LIST, "c2", 2), ("s1", "c2", "p1", "p2", "c1")),
        (inserted(LIST, "c2", 99), (*LIST, "c2")),
    ],
)
def test_the_list_is_changed_by_place(changed: tuple[str, ...], is_now: tuple[str, ...]) -> None:
    assert changed == is_now


@given(st.permutations(range(1, 9)), st.integers(1, 8), st.integers(1, 8))
def test_moving_there_and_back_changes_nothing(order: list[int], place: int, to: int) -> None:
    keys = tuple(f"p{n}" for n in order)
    assert moved(moved(keys, place, to), to, place) == keys
    numbers = [to if n == place else n for n in range(1, 9)]
    assert renumbered(keys, numbers) == moved(keys, place, to)
