"""A file beside the run that it should belong to: matched by number, label or order; what does not match is asked."""

from dataclasses import replace

import pytest

from labresults.readers.problem import Problem
from labresults.readers.read import read
from labresults.readers.reading import ReadFile
from labresults.readers.run_check import check_against_run, plan_numbers
from tests.readers.files import LONG, LONG_TEXT, WIDE, WIDE_TEXT

PLAN = ((1, "Blank"), (2, "Standard 1"))
LINES = ("Cu 324.754", "Pb 220.353")
COPPER = ("Cu 324.754",)


def of(*rows: tuple[int, str]) -> ReadFile:
    """A file that was read, with these positions and labels and one line."""
    text = "Position;Name;Cu 324.754\n" + "\n".join(f"{number};{label};1" for number, label in rows)
    found = read(text.encode(), "x", WIDE)
    assert found.problems == ()
    return found


def labelled(*labels: str) -> ReadFile:
    return read(
        ("Name;Cu 324.754\n" + "\n".join(f"{label};1" for label in labels)).encode(), "x", replace(WIDE, position="")
    )


def test_a_file_that_fits_its_run() -> None:
    found = read(WIDE_TEXT.encode(), "x", WIDE)
    assert check_against_run(found, PLAN, LINES) == ()
    assert plan_numbers(found, PLAN) == (1, 1, 2, 2)


@pytest.mark.parametrize(
    ("plan", "lines", "row", "says"),
    [
        (((1, "Blank"),), LINES, 3, "the run has no position 2 (“Standard 1”)"),
        ((*PLAN, (3, "KF26-00001")), LINES, None, "position 3 (“KF26-00001”) is not in the file"),
        (((1, "blank"), PLAN[1]), LINES, 2, "position 1 is “Blank” here and “blank” in the plan"),
        (PLAN, LINES[:1], 2, "the method of this run does not have this line"),
        (PLAN, (*LINES, "Zn 213.857"), None, "this line of the method is not in the file"),
    ],
    ids=["unknown position", "missing position", "other label", "unknown line", "missing line"],
)
def test_what_does_not_fit_is_named(
    plan: tuple[tuple[int, str], ...], lines: tuple[str, ...], row: int | None, says: str
) -> None:
    problems = check_against_run(read(WIDE_TEXT.encode(), "x", WIDE), plan, lines)
    assert [problem.row for problem in problems] == [row]
    assert says in problems[0].what


def test_a_position_that_lacks_a_line_is_named() -> None:
    text = "\n".join(line for line in LONG_TEXT.splitlines() if not line.startswith("1,Blank,Pb"))
    problems = check_against_run(read(text.encode(), "x", LONG), ((1, "Blank"), (2, "Standard 1, new")), LINES)
    assert [(p.row, p.column, p.what) for p in problems] == [(2, "Pb 220.353", "position 1 was not read at this line.")]


def test_without_position_numbers_labels_must_be_single() -> None:
    found = read(b"Name;Cu 324.754;Pb 220.353\nBlank;1;2\nOther;1;2\n", "x", replace(WIDE, position=""))
    problems = check_against_run(found, ((1, "Blank"), (2, "Check"), (3, "Check")), LINES)
    assert [problem.what for problem in problems] == [
        "the run has no position “Other”.",
        "“Check” stands at 2 positions of the run, and the file numbers none.",
        "position 2 (“Check”) is not in the file.",
        "position 3 (“Check”) is not in the file.",
    ]


# ------------------------------------------------------------ matched by label, number or order

SAMPLES = ((1, "Blank"), (2, "KF26-00001"), (3, "KF26-00002"))


def test_laboratory_numbers_match_in_any_order() -> None:
    found = labelled("KF26-00002", " Blank ", "KF26-00001")
    assert (check_against_run(found, SAMPLES, COPPER), plan_numbers(found, SAMPLES)) == ((), (3, 1, 2))


def test_positions_match_by_their_order_in_the_file() -> None:
    layout = replace(WIDE, position="", label="", position_from_order=True)
    found = read(b"Cu 324.754\n1\n2\n3\n", "x", layout)
    assert (found.problems, plan_numbers(found, SAMPLES)) == ((), (1, 2, 3))
    assert check_against_run(found, SAMPLES, COPPER) == ()


# ------------------------------------------------------------ what is asked, and answered


def test_a_name_that_the_plan_does_not_know_is_asked_with_the_free_positions() -> None:
    found = labelled("Blank", "KF26-1", "KF26-00002")
    problem, lacking = check_against_run(found, SAMPLES, COPPER)
    assert problem.asks is not None
    assert (problem.row, problem.asks.name, problem.asks.free) == (3, "KF26-1", ((2, "KF26-00001"),))
    assert (problem.found, problem.expected, lacking.expected) == ("KF26-1", "a label of the plan", "KF26-00001")
    # and once it is answered, all is well
    assert check_against_run(found, SAMPLES, COPPER, {"KF26-1": 2}) == ()
    assert plan_numbers(found, SAMPLES, {"KF26-1": 2}) == (1, 2, 3)
    assert plan_numbers(found, SAMPLES) == (1, None, 3)


def test_swapped_labels_are_named_as_swapped() -> None:
    found = of((1, "Blank"), (2, "KF26-00002"), (3, "KF26-00001"))
    problems = check_against_run(found, SAMPLES, COPPER)
    assert [p.row for p in problems] == [3, 4]
    assert problems[0].what == (
        "position 2 is “KF26-00002” here and “KF26-00001” in the plan; “KF26-00002” is position 3 of the plan,"
        " which is “KF26-00001” here: the two are swapped."
    )
    assert problems[0].asks is not None
    assert problems[0].asks.free == ((3, "KF26-00002"), (2, "KF26-00001"))


@pytest.mark.parametrize(
    ("answers", "numbers"),
    [({"2": 3, "3": 2}, (1, 3, 2)), ({"2": 2, "3": 3}, (1, 2, 3))],
    ids=["the label is right", "the number is right"],
)
def test_a_person_says_which_of_the_two_is_right(answers: dict[str, int], numbers: tuple[int, ...]) -> None:
    found = of((1, "Blank"), (2, "KF26-00002"), (3, "KF26-00001"))
    assert check_against_run(found, SAMPLES, COPPER, answers) == ()
    assert plan_numbers(found, SAMPLES, answers) == numbers


def test_one_answer_leaves_the_other_question_open() -> None:
    found = of((1, "Blank"), (2, "KF26-00002"), (3, "KF26-00001"))
    (problem,) = check_against_run(found, SAMPLES, COPPER, {"2": 3})
    assert problem.asks is not None
    assert (problem.row, problem.asks.name, problem.asks.free) == (4, "3", ((2, "KF26-00001"),))


@pytest.mark.parametrize(
    ("answers", "says"),
    [
        ({"nobody": 2}, "nothing in the file is called so"),
        ({"KF26-1": 9}, "position 9, which the run does not have"),
        ({"KF26-1": 2, "Blank": 2}, "position 2, and so is another"),
        ({"KF26-1": 3}, "the run has no position “KF26-00002”"),
    ],
    ids=["unknown name", "unknown position", "one position twice", "a position that another name has"],
)
def test_answers_that_cannot_be(answers: dict[str, int], says: str) -> None:
    problems = check_against_run(labelled("Blank", "KF26-1", "KF26-00002"), SAMPLES, COPPER, answers)
    assert any(says in problem.what for problem in problems)


# ------------------------------------------------------------ a second calibration

PLANNED = ((1, "Standard 0"), (2, "Standard 1"), (3, "KF26-00001"), (4, "KF26-00002"))


def test_a_second_calibration_behind_the_last_position() -> None:
    found = of(*PLANNED, (5, "Standard 0"), (6, "Standard 1"))
    (problem,) = check_against_run(found, PLANNED, COPPER)
    assert (problem.row, problem.asks) == (6, None)
    assert problem.what == (
        "positions 5 to 6 (from row 6 to 7) are “Standard 0”, “Standard 1” again, as positions 1 to 2 were:"
        " a second calibration, or these solutions read twice, that the plan does not have."
    )


def test_a_second_calibration_in_the_middle() -> None:
    found = of(*PLANNED[:3], (4, "Standard 0"), (5, "Standard 1"), (6, "KF26-00002"))
    problems: tuple[Problem, ...] = check_against_run(found, PLANNED, COPPER)
    assert [p.row for p in problems] == [5, 7]
    assert "a second calibration" in problems[0].what
    assert problems[1].what == "the run has no position 6 (“KF26-00002”)."
    # the position whose label that is can be answered, once the rows of the calibration are struck
    assert problems[1].asks is not None
    assert problems[1].asks.free == ((4, "KF26-00002"),)
