"""What of a result asks a reviewer for a look, and in which order."""

import pytest

from labresults.queries.review_facts import facts_of
from labresults.terms import Mark
from tests.builders import Laboratory, a_submission, an_evaluated_run


@pytest.mark.parametrize(
    ("marks", "whys"),
    [
        ([], []),
        ([Mark.CARRY_OVER], ["It was read just after a very high one"]),
        ([Mark.LINES_DISAGREE], ["Another line of this element gave another value"]),
        ([Mark.BELOW_QUANTIFICATION], []),
        (
            [Mark.CARRY_OVER, Mark.LINES_DISAGREE],
            ["Another line of this element", "It was read just after"],
        ),
    ],
    ids=["nothing", "carried over", "lines disagree", "between its limits", "two, the heavier first"],
)
def test_a_marked_result_asks_for_a_look_and_may_be_approved(
    lab: Laboratory, marks: list[Mark], whys: list[str]
) -> None:
    evaluation = an_evaluated_run(lab, a_submission(lab, 1))
    result = evaluation.results.get(is_candidate=True, element="Cu")
    result.marks = [str(mark) for mark in marks]

    looks = sorted(facts_of([result.sample_id]).looks(result), key=lambda look: -look.weight)

    assert len(looks) == len(whys)
    assert all(look.why.startswith(why) for look, why in zip(looks, whys, strict=True))
    assert not any(look.blocks for look in looks)
