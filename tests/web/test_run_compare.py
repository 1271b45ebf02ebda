"""Two evaluations of one run beside each other: what went in otherwise, what came out otherwise."""

import re
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from labresults.actions.evaluation import evaluate_run
from labresults.actions.weighings import Weighed, record_weighings
from labresults.calculation.compare import ResultState, by_line, changes, largest_first, relative_percent
from labresults.models import Evaluation
from labresults.queries.run_compare import compare_evaluations
from tests.builders import Laboratory, a_submission, an_evaluated_run
from tests.journeys.faults.laboratory import CU, CU_2
from tests.journeys.faults.night import taken, waiting_run, written

AsRole = Callable[[str], Client]


def state(value: float | None, *marks: str) -> ResultState:
    return ResultState(value, "mg/kg", None, marks, "" if value is not None else "over range")


def anew(lab: Laboratory, evaluation: Evaluation, **more: object) -> Evaluation:
    return evaluate_run(by=lab.people["analyst"], at=lab.later(), run=evaluation.run, reason="looked at again", **more)


def test_what_is_not_the_same_to_the_last_bit_has_changed() -> None:
    old = {(1, "Cu"): state(10.0), (2, "Cu"): state(20.0), (3, "Cu"): state(30.0)}
    new = {(1, "Cu"): state(10.0), (2, "Cu"): state(20.000000000000004), (4, "Cu"): state(40.0)}
    found = changes(old, new)
    assert [change.key for change in found] == [(2, "Cu"), (4, "Cu"), (3, "Cu")]
    assert (found[1].before, found[2].after) == (None, None)


@pytest.mark.parametrize(
    ("before", "after", "percent"),
    [(10.0, 11.0, 10.0), (-10.0, -11.0, -10.0), (0.0, 1.0, None), (None, 1.0, None), (1.0, None, None)],
)
def test_a_change_is_relative_to_what_stood_before(
    before: float | None, after: float | None, percent: float | None
) -> None:
    assert relative_percent(state(before), state(after)) == percent


def test_values_won_or_lost_stand_first_then_the_largest_change() -> None:
    old = {(n, "Cu"): state(10.0) for n in range(1, 5)}
    new = {(1, "Cu"): state(10.0, "over range"), (2, "Cu"): state(11.0), (3, "Cu"): state(5.0), (4, "Cu"): state(None)}
    assert [change.key[0] for change in largest_first(changes(old, new))] == [4, 3, 2, 1]


def test_each_line_is_summed_up() -> None:
    old = {(1, "Cu"): state(10.0), (2, "Cu"): state(10.0), (1, "Pb"): state(3.0)}
    new = {(1, "Cu"): state(9.0), (2, "Cu"): state(10.1), (1, "Pb"): state(3.0)}
    (summary,) = by_line(changes(old, new), new)
    assert (summary.line, summary.total, summary.changed) == ("Cu", 2, 2)
    assert summary.largest_percent == pytest.approx(-10.0)


def test_a_point_left_out_is_named_with_the_curve_and_the_results_that_it_moved(
    lab: Laboratory, as_role: AsRole
) -> None:
    evaluation = an_evaluated_run(lab, a_submission(lab), factors={("STD 2", "Cu"): 1.1})
    anew(lab, evaluation, left_out=[(3, "Cu 324.754")])
    found = compare_evaluations(evaluation.run.number, 1, 2)
    assert found.inputs.left_out == [(3, "Cu 324.754")]
    assert [change.key for change in found.curves] == [(1, "Cu 324.754")]
    assert {row.line for row in found.results} == {"Cu 324.754"}

    answer = as_role("analyst").get(reverse("compare-evaluations", args=[evaluation.run.number]), {"from": 1, "to": 2})
    page = answer.content.decode()
    assert "Left out now: Cu 324.754 at position 3" in page
    assert "looked at again" in page
    assert "1\N{NO-BREAK SPACE}curve" in page


def a_night_of_two_lines(lab: Laboratory) -> Evaluation:
    """A run by a method that reads copper at two lines and judges its curves."""
    run = waiting_run(lab)
    taken(lab, run, written(run))
    return evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)


def without(evaluation: Evaluation, *labels: str) -> list[tuple[int, str]]:
    return [(evaluation.run.positions.get(label=label).number, CU) for label in labels]


def test_a_curve_that_loses_its_highest_standard_is_not_judged_otherwise_by_that_alone(
    lab: Laboratory, as_role: AsRole
) -> None:
    """What looks at a curve stands at its highest standard in use: at another position now, with the same verdict."""
    evaluation = a_night_of_two_lines(lab)
    anew(lab, evaluation, left_out=without(evaluation, "STD 4"))
    found = compare_evaluations(evaluation.run.number, 1, 2)
    gone = evaluation.run.positions.get(label="STD 4")
    assert {(row.position, row.after) for row in found.verdicts} == {(gone, None)}
    page = as_role("analyst").get(reverse("compare-evaluations", args=[evaluation.run.number])).content.decode()
    assert re.search(r"Before\">within, 0\.0\d+\N{NO-BREAK SPACE}%</td>", page), "a verdict without its unit"


def test_another_line_that_stands_now_is_named(lab: Laboratory, as_role: AsRole) -> None:
    # given a line that has no curve any more
    evaluation = a_night_of_two_lines(lab)
    anew(lab, evaluation, left_out=without(evaluation, "STD 0", "STD 1", "STD 2", "STD 3"))
    # then the other line of copper stands, in each sample
    found = compare_evaluations(evaluation.run.number, 1, 2)
    assert {(row.element, row.before and row.before[1], row.after and row.after[1]) for row in found.choices} == {
        ("Cu", CU, CU_2)
    }
    page = as_role("analyst").get(reverse("compare-evaluations", args=[evaluation.run.number])).content.decode()
    number = evaluation.run.positions.get(label="KF26-00001").number
    assert f'data-l="Before">position {number}, {CU}</td><td role="cell" data-l="Now">position {number}, {CU_2}' in page


def test_a_weighing_entered_anew_is_named(lab: Laboratory, as_role: AsRole) -> None:
    evaluation = an_evaluated_run(lab, a_submission(lab, 1))
    label = evaluation.run.positions.get(role="sample").portion.label
    record_weighings(
        by=lab.people["preparer"], at=lab.later(), batch=evaluation.run.positions.get(role="sample").portion.batch,
        balance=lab.balance, rows=[Weighed(label, mass_g=0.49, volume_mL=50.0, reason="misread")],
    )  # fmt: skip
    anew(lab, evaluation)
    page = as_role("analyst").get(reverse("compare-evaluations", args=[evaluation.run.number])).content.decode()
    assert 'Weighed again: <span class="id">' + label in page
    assert "2.04" in page  # 100 × (0.50 / 0.49 − 1)


def test_evaluated_again_from_the_same_gives_the_same(lab: Laboratory, as_role: AsRole) -> None:
    evaluation = an_evaluated_run(lab, a_submission(lab))
    anew(lab, evaluation)
    page = as_role("auditor").get(reverse("compare-evaluations", args=[evaluation.run.number])).content.decode()
    assert "give the same, to the last bit" in page
    assert "Points, weighings, requests and rules are the same" in page


@pytest.mark.parametrize("query", ["?from=1&to=9", "", "?from=x&to=1"])
def test_an_evaluation_that_is_not_there_is_said(lab: Laboratory, as_role: AsRole, query: str) -> None:
    evaluation = an_evaluated_run(lab, a_submission(lab, 1))
    address = reverse("compare-evaluations", args=[evaluation.run.number]) + query
    assert as_role("analyst").get(address).status_code == 404


def test_the_run_leads_to_what_changed(lab: Laboratory, as_role: AsRole) -> None:
    evaluation = an_evaluated_run(lab, a_submission(lab))
    anew(lab, evaluation)
    page = as_role("analyst").get(reverse("run", args=[evaluation.run.number])).content.decode()
    assert f"{reverse('compare-evaluations', args=[evaluation.run.number])}?from=1&amp;to=2" in page


def test_it_makes_few_queries(
    lab: Laboratory, as_role: AsRole, django_assert_max_num_queries: Callable[[int], object]
) -> None:
    evaluation = an_evaluated_run(lab, a_submission(lab, 20), factors={("STD 2", "Cu"): 1.1})
    anew(lab, evaluation, left_out=[(3, "Cu 324.754")])
    with django_assert_max_num_queries(13):  # type: ignore[attr-defined]
        compare_evaluations(evaluation.run.number, None, None)
