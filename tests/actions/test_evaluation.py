"""Evaluation: versions beside each other, failures that reach what they speak for, the first valid result stands."""

from datetime import date

import pytest

from labresults.actions import evaluation as evaluation_module
from labresults.actions.delivery import receive_samples
from labresults.actions.evaluation import (
    accept_control,
    compute_again,
    evaluate_run,
    select_result,
)
from labresults.actions.materials import register_lot
from labresults.actions.requests import change_request
from labresults.actions.runs import plan_run
from labresults.actions.weighings import Weighed, record_weighings
from labresults.acts import BadInput, WrongState
from labresults.models import Evaluation, PreparationBatch, Result, Selection
from labresults.models import TestPortion as Portion  # not a test: pytest goes by the name
from labresults.queries.failures import failures_of
from labresults.queries.results import newest_selections
from labresults.queries.run_digests import inputs_digest, outputs_digest
from labresults.readers.delivery import DeliveredSample
from labresults.terms import Basis
from tests.builders import (
    NOW,
    Laboratory,
    a_reading_file,
    a_run,
    a_submission,
    a_weighed_batch,
    an_evaluated_run,
    an_imported_file,
)

ANALYST = "analyst"


def selected(lab: Laboratory, element: str = "Pb") -> dict[str, Result]:
    rows = newest_selections(sample_ids=list(Selection.objects.values_list("sample", flat=True)))
    return {row.result.sample.number: row.result for row in rows.values() if row.element_id == element}


def test_an_ordinary_run_gives_the_true_contents(lab: Laboratory) -> None:
    evaluation = an_evaluated_run(lab, a_submission(lab))
    for result in evaluation.results.filter(is_candidate=True, element="Cu"):
        assert result.value == pytest.approx(120.0, rel=1e-12)
        # 0.01 mg/L through 50 mL and 0.5 g
        assert result.detection_limit == pytest.approx(1.0, rel=1e-12)
        assert result.quantification_limit == pytest.approx(5.0, rel=1e-12)
        assert result.upper_limit == pytest.approx(1000.0, rel=1e-12)


def test_a_lighter_portion_has_a_higher_detection_limit(lab: Laboratory) -> None:
    batch = a_weighed_batch(lab, a_submission(lab))
    record_weighings(
        by=lab.people["preparer"], at=lab.later(), batch=batch,
        rows=[Weighed("KF26-00001", 0.25, 50.0, reason="all that was left")],
    )  # fmt: skip
    run = a_run(lab, batch)
    an_imported_file(lab, run)
    evaluation = evaluate_run(by=lab.people[ANALYST], at=lab.later(), run=run)
    copper = evaluation.results.filter(element="Cu", is_candidate=True)
    limits = dict(copper.values_list("sample__number", "detection_limit"))
    assert limits["KF26-00001"] == pytest.approx(2.0)
    assert limits["KF26-00002"] == pytest.approx(1.0)


def test_a_failed_check_touches_its_bracket_and_its_element_only(lab: Laboratory) -> None:
    evaluation = an_evaluated_run(lab, a_submission(lab, 12), factors={("CCV 2", "Pb"): 1.134})
    outcome = evaluation.outcomes.get(verdict="outside")
    assert str(outcome.line) == "Pb 220.353"
    assert outcome.observed == pytest.approx(113.4)
    touched = {r.element_id for r in evaluation.results.all() if "a control sample failed" in r.marks}
    assert touched == {"Pb"}
    first, last = (evaluation.run.positions.get(label=label).number for label in ("CCV 1", "CCV 3"))
    assert all(first < number < last for number in outcome.touches)


def test_the_first_valid_result_stands_when_a_sample_is_measured_again(lab: Laboratory) -> None:
    batch = a_weighed_batch(lab, a_submission(lab))
    first = a_run(lab, batch)
    an_imported_file(lab, first)
    evaluate_run(by=lab.people[ANALYST], at=lab.later(), run=first)
    second = a_run(lab, batch)
    an_imported_file(lab, second, a_reading_file(second, contents={"KF26-00001": {"Cu": 130.0, "Pb": 40.0}}))
    evaluate_run(by=lab.people[ANALYST], at=lab.later(), run=second)

    assert selected(lab)["KF26-00001"].evaluation.run == first


def test_a_valid_repeat_replaces_a_result_whose_check_failed(lab: Laboratory) -> None:
    submission = a_submission(lab)
    failed = an_evaluated_run(lab, submission, factors={("CCV 1", "Pb"): 1.2})
    batch = failed.run.positions.filter(portion__isnull=False).first().portion.batch
    again = a_run(lab, batch)
    an_imported_file(lab, again)
    evaluate_run(by=lab.people[ANALYST], at=lab.later(), run=again)

    by_lead, by_copper = selected(lab)["KF26-00001"], selected(lab, "Cu")["KF26-00001"]
    assert by_lead.evaluation.run == again
    assert by_copper.evaluation.run == failed.run


def test_an_over_range_result_has_no_value_until_it_is_diluted(lab: Laboratory) -> None:
    submission = a_submission(lab, 1)
    rich = {"KF26-00001": {"Cu": 2600.0, "Pb": 35.0}}
    evaluation = an_evaluated_run(lab, submission, contents=rich)
    result = evaluation.results.get(is_candidate=True, element="Cu")
    assert result.value is None
    assert "over range" in result.marks

    portion = result.position.portion
    run = plan_run(
        by=lab.people[ANALYST], at=lab.later(), reason="Cu over range", method_version=lab.version, portions=[portion],
        instrument=lab.spectrometer, dilutions={portion.pk: 5.0},
    )  # fmt: skip
    an_imported_file(lab, run, a_reading_file(run, contents=rich))
    evaluate_run(by=lab.people[ANALYST], at=lab.later(), run=run)

    assert selected(lab, "Cu")["KF26-00001"].value == pytest.approx(2600.0)
    assert selected(lab, "Pb")["KF26-00001"].evaluation == evaluation


def test_evaluating_again_is_a_version_beside_the_old_one_and_needs_a_reason(lab: Laboratory) -> None:
    first = an_evaluated_run(lab, a_submission(lab))
    by = lab.people[ANALYST]
    with pytest.raises(BadInput, match="needs a reason"):
        evaluate_run(by=by, at=lab.later(), run=first.run)

    second = evaluate_run(
        by=by, at=lab.later(), reason="standard 3 was old", run=first.run, left_out=[(3, "Cu 324.754")]
    )

    assert second.version == 2
    assert first.results.count() == second.results.count()
    curve = second.calibrations.get(line__element="Cu")
    assert curve.count == first.calibrations.get(line__element="Cu").count - 1
    assert {row.evaluation_id for row in selected(lab, "Cu").values()} == {second.pk}


def test_a_run_without_readings_cannot_be_evaluated(lab: Laboratory) -> None:
    run = a_run(lab, a_weighed_batch(lab, a_submission(lab)))
    with pytest.raises(WrongState, match="No readings yet of Cu"):
        evaluate_run(by=lab.people[ANALYST], at=lab.later(), run=run)


def test_a_failed_check_is_accepted_once_by_name_with_a_reason(lab: Laboratory) -> None:
    evaluation = an_evaluated_run(lab, a_submission(lab), factors={("CCV 1", "Pb"): 1.2})
    outcomes = list(evaluation.outcomes.filter(verdict="outside"))
    by = lab.people[ANALYST]
    with pytest.raises(BadInput, match="Say why"):
        accept_control(by=by, at=lab.later(), outcomes=outcomes)
    accept_control(by=by, at=lab.later(), reason="drift explained by the pump", outcomes=outcomes)
    with pytest.raises(WrongState, match="accepted before"):
        accept_control(
            by=by, at=lab.later(), reason="again",
            outcomes=list(evaluation.outcomes.filter(verdict="outside").select_related("acceptance")),
        )  # fmt: skip


def test_another_candidate_is_selected_only_with_a_reason(lab: Laboratory) -> None:
    evaluation = an_evaluated_run(lab, a_submission(lab))
    by = lab.people[ANALYST]
    candidate = evaluation.results.filter(is_candidate=True, element="Cu").first()
    with pytest.raises(BadInput, match="Say why"):
        select_result(by=by, at=lab.later(), result=candidate)
    control = evaluation.results.filter(is_candidate=False).first()
    with pytest.raises(BadInput, match="control sample"):
        select_result(by=by, at=lab.later(), reason="x", result=control)
    assert select_result(by=by, at=lab.later(), reason="less noise", result=candidate).rule == "selected by name"


def test_a_dry_basis_without_moisture_gives_no_value_and_says_why(lab: Laboratory) -> None:
    submission = receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, rows=[DeliveredSample(1, "a", "soil")],
        methods=[lab.method], basis=Basis.DRY,
    )  # fmt: skip
    evaluation = an_evaluated_run(lab, submission)
    for result in evaluation.results.filter(is_candidate=True):
        assert (result.value, result.detection_limit, "loss on drying" in result.why_no_value) == (None, None, True)


def test_a_point_left_out_stays_in_the_curves_table(lab: Laboratory) -> None:
    first = an_evaluated_run(lab, a_submission(lab))
    second = evaluate_run(
        by=lab.people[ANALYST], at=lab.later(), reason="old", run=first.run, left_out=[(3, "Cu 324.754")]
    )
    point = next(p for p in second.calibrations.get(line__element="Cu").points if p[0] == 3)
    position, x, y, *_, used = point
    assert (position, x, used) == (3, 1.0, False)
    assert y == pytest.approx(1810.0)


def a_failed_blank(lab: Laboratory) -> tuple[Evaluation, PreparationBatch]:
    """A batch of three whose method blank failed for lead: its samples are below ten times the blank."""
    batch = a_weighed_batch(lab, a_submission(lab))
    run = a_run(lab, batch)
    an_imported_file(lab, run, a_reading_file(run, contents={"B26-0001 MB1": {"Pb": 0.2}}))
    return evaluate_run(by=lab.people[ANALYST], at=lab.later(), run=run), batch


def read_again(lab: Laboratory, portions: list[Portion]) -> Evaluation:
    run = plan_run(
        by=lab.people[ANALYST], at=lab.later(), reason="Pb again", method_version=lab.version, portions=portions,
        instrument=lab.spectrometer,
    )  # fmt: skip
    an_imported_file(lab, run)
    return evaluate_run(by=lab.people[ANALYST], at=lab.later(), run=run)


def test_reading_the_samples_again_does_not_mend_their_batch(lab: Laboratory) -> None:
    first, batch = a_failed_blank(lab)
    assert {o.reach for o in first.outcomes.filter(verdict="outside")} == {"the preparation batch"}

    again = read_again(lab, list(batch.portions.filter(role="sample")))

    assert selected(lab)["KF26-00001"].evaluation == first
    result = again.results.filter(is_candidate=True, element="Pb").select_related("position", "evaluation").first()
    assert [o.evaluation for o in failures_of([result])[result.pk]["open"]] == [first]


def test_reading_the_failed_blank_again_with_its_samples_clears_the_batch_when_it_holds(lab: Laboratory) -> None:
    _, batch = a_failed_blank(lab)
    again = read_again(lab, list(batch.portions.order_by("tube")))
    assert selected(lab)["KF26-00001"].evaluation == again


def test_a_result_whose_failed_check_was_accepted_stands(lab: Laboratory) -> None:
    first, batch = a_failed_blank(lab)
    accept_control(
        by=lab.people[ANALYST], at=lab.later(), reason="far below any limit of this client",
        outcomes=list(first.outcomes.filter(verdict="outside")),
    )  # fmt: skip
    read_again(lab, list(batch.portions.order_by("tube")))
    assert selected(lab)["KF26-00001"].evaluation == first


def test_a_basis_changed_afterwards_does_not_change_what_an_old_evaluation_gave(lab: Laboratory) -> None:
    submission = a_submission(lab)
    evaluation = an_evaluated_run(lab, submission)
    change_request(
        by=lab.people["reception"], at=lab.later(), reason="asked for it dry", submission=submission,
        methods=[lab.method], basis=Basis.DRY, due_on=NOW.date(), agreed_with="A. Roth",
    )  # fmt: skip
    assert outputs_digest(compute_again(evaluation).evaluated) == evaluation.outputs_sha256
    assert inputs_digest(compute_again(evaluation).loaded) == evaluation.inputs_sha256


def test_a_standard_in_a_unit_that_cannot_be_used_is_refused_in_words(lab: Laboratory) -> None:
    register_lot(
        by=lab.people["quality manager"], at=lab.later(), number="L-9000", received_on=date(2026, 11, 15),
        material=lab.version.standards.latest("ordinal").material, expires_on=date(2027, 1, 1),
        contents=[{"element": "Cu", "value": 0.1, "unit": "%"}, {"element": "Pb", "value": 0.1, "unit": "%"}],
    )  # fmt: skip
    with pytest.raises(BadInput, match="cannot be calculated"):
        an_evaluated_run(lab, a_submission(lab))


def test_what_comes_between_computing_and_storing_is_noticed(lab: Laboratory, monkeypatch: pytest.MonkeyPatch) -> None:
    batch = a_weighed_batch(lab, a_submission(lab))
    run = a_run(lab, batch)
    an_imported_file(lab, run)
    # given a weighing that is corrected just after the evaluation was computed
    newest = evaluation_module.newest_keys
    seen = []

    def looked_up(of: object) -> tuple[int, ...]:
        keys = newest(of)
        if not seen:
            seen.append(keys)
            record_weighings(
                by=lab.people["preparer"], at=lab.later(), batch=batch,
                rows=[Weighed("KF26-00001", 0.25, 50.0, reason="all that was left")],
            )  # fmt: skip
        return keys

    monkeypatch.setattr(evaluation_module, "newest_keys", looked_up)
    with pytest.raises(WrongState, match="came in the meantime"):
        evaluate_run(by=lab.people[ANALYST], at=lab.later(), run=run)
    assert run.evaluations.count() == 0


def test_what_each_result_is_made_of_is_stored(lab: Laboratory) -> None:
    evaluation = an_evaluated_run(lab, a_submission(lab))
    stored = {
        (row.position.number, str(row.line)): row for row in evaluation.results.select_related("position", "line")
    }
    computed = compute_again(evaluation).evaluated.results
    assert len(stored) == len(computed)
    for result in computed:
        row = stored[result.position, result.line]
        assert (row.value, row.u, row.u_reading, row.solution) == (
            result.value, result.u, result.u_reading, result.solution,
        )  # fmt: skip
        assert (row.detection_limit, row.upper_limit, row.basis) == (
            result.detection_limit, result.upper_limit, result.basis,
        )  # fmt: skip
        assert row.marks == [str(mark) for mark in result.marks]
