"""What is to be measured again: on the record when it is proposed, let stand by name; first and repeat side by side."""

import pytest

from labresults.actions.evaluation import compute_again, evaluate_run, let_stand
from labresults.acts import BadInput, WrongState
from labresults.models import Evaluation, Result, Selection
from labresults.queries.repeats import open_repeats
from tests.builders import (
    Laboratory,
    a_reading_file,
    a_run,
    a_submission,
    an_evaluated_run,
    an_imported_file,
)

ANALYST = "analyst"


def a_failed_bracket(lab: Laboratory) -> Evaluation:
    return an_evaluated_run(lab, a_submission(lab), factors={("CCV 1", "Pb"): 1.2})


def test_an_evaluation_keeps_what_it_proposes_to_measure_again(lab: Laboratory) -> None:
    evaluation = a_failed_bracket(lab)
    position, line, cause, kind, factor, why = evaluation.repeats[0]
    assert (line, cause, kind, factor) == ("Pb 220.353", "a control sample failed", "re-read", 1.0)
    assert evaluation.run.positions.get(number=position).portion is not None
    assert why.startswith("CCV 1, position ")
    assert compute_again(evaluation).evaluated.repeats[0].why == why


def test_a_proposed_repeat_is_let_stand_by_name_with_a_reason_and_once(lab: Laboratory) -> None:
    evaluation = a_failed_bracket(lab)
    number, line, *_ = evaluation.repeats[0]
    place = evaluation.run.positions.get(number=number), line
    by, before = lab.people[ANALYST], len(open_repeats())
    with pytest.raises(BadInput, match="Say why"):
        let_stand(by=by, at=lab.later(), places=[place])

    let_stand(by=by, at=lab.later(), reason="far below any limit of this client", places=[place])

    assert len(open_repeats()) == before - 1
    with pytest.raises(WrongState, match="let stand before"):
        let_stand(by=by, at=lab.later(), reason="again", places=[place])


def test_only_what_is_proposed_can_be_let_stand(lab: Laboratory) -> None:
    evaluation = a_failed_bracket(lab)
    number, *_ = evaluation.repeats[0]
    place = evaluation.run.positions.get(number=number)
    with pytest.raises(WrongState, match=f"Nothing is proposed .* position {number} at Cu 324.754"):
        let_stand(by=lab.people[ANALYST], at=lab.later(), reason="x", places=[(place, "Cu 324.754")])
    with pytest.raises(BadInput, match="of one run"):
        let_stand(by=lab.people[ANALYST], at=lab.later(), reason="x", places=[])


def test_repeat_and_first_stand_side_by_side_as_candidates(lab: Laboratory) -> None:
    # given a sample read twice with another content each time
    submission = a_submission(lab)
    first = an_evaluated_run(lab, submission)
    batch = first.run.positions.filter(portion__isnull=False).first().portion.batch
    run = a_run(lab, batch)
    an_imported_file(lab, run, a_reading_file(run, contents={"KF26-00001": {"Cu": 130.0, "Pb": 40.0}}))
    second = evaluate_run(by=lab.people[ANALYST], at=lab.later(), run=run)
    # then both results are there, and the rule that chose stands on the record
    both = Result.objects.filter(sample__number="KF26-00001", element="Cu", is_candidate=True).order_by("pk")
    assert [row.evaluation for row in both] == [first, second]
    assert [round(row.value) for row in both] == [120, 130]
    (selection,) = Selection.objects.filter(sample__number="KF26-00001", element="Cu")
    assert (selection.result, selection.rule) == (both[0], "first valid result of the line that ranks first")
