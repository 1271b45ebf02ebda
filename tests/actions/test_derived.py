"""Derived results are defined in versions, asked for with a request, printed with their inputs, and follow these."""

from typing import Any

import pytest

from labresults.actions.derived import define_sample_set
from labresults.actions.evaluation import evaluate_run, select_result
from labresults.actions.requests import change_request
from labresults.actions.review import approve_results
from labresults.actions.samples import state_not_measured
from labresults.acts import BadInput, WrongState
from labresults.models import DerivedDefinition, PreparationBatch, RequestedDerived, Result, SampleSet, Submission
from labresults.queries.reportable import reportable
from labresults.queries.results import newest_selections, waiting_for_review
from labresults.terms import Basis, BelowInSum, DerivedForm, NotMeasured
from reports.actions.certificates import amend_certificate
from reports.models import CertificateInput, CertificateLine
from reports.queries.derived_check import derived_differs
from tests.actions.derived_builders import a_set, document_of, measured, previewed
from tests.builders import (
    PASSWORD,
    Laboratory,
    a_certificate,
    a_derived,
    a_grade,
    a_reading_file,
    a_run,
    a_submission,
    a_weighed_batch,
    an_evaluated_run,
    an_imported_file,
    approved,
)

pytestmark = pytest.mark.django_db


def test_the_next_version_stands_beside_the_older_one(lab: Laboratory) -> None:
    first, second = a_derived(lab), a_derived(lab, source="another source")
    assert (first.version, second.version) == (1, 2)
    assert DerivedDefinition.objects.get(pk=first.pk).source == "arithmetic"
    assert second.terms[0] == {
        "part": "a", "element": "Cu", "as": "Cu", "unit": "mg/kg", "factor": 1.0, "by": []
    }  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"terms": [{"element": "Qq", "unit": "mg/kg"}]}, "row 1, column element: Qq is not an element."),
        ({"terms": [{"element": "Cu", "unit": "mg/kg", "by": ["XX-1"]}]}, "row 1, column by: There is no method XX-1."),
        ({"terms": [{"element": "Cu", "unit": "mg/kg", "weight": 2}]}, "A term has no weight"),
        ({"terms": [{"element": "Cu"}]}, "A term cannot be read ('unit')"),
        ({"terms": [{"element": "Cu", "unit": "mg/kg", "factor": "two"}]}, "a factor is a number"),
        ({"source": " "}, "needs its source"),
        ({"form": DerivedForm.PERCENT}, "needs terms in part b"),
        ({"unit": "mg/L"}, "would be in mg/L"),
    ],
)
def test_what_cannot_be_computed_is_not_defined(changes: dict[str, Any], words: str, lab: Laboratory) -> None:
    with pytest.raises(BadInput) as refused:
        a_derived(lab, **changes)
    said = "; ".join([str(refused.value), *map(str, refused.value.problems)])
    assert words in said
    assert not DerivedDefinition.objects.exists()


def test_a_request_asks_for_it_and_a_changed_one_keeps_it(lab: Laboratory) -> None:
    metals = a_derived(lab)
    submission = a_submission(lab, derived=[metals])
    again = {"by": lab.people["reception"], "agreed_with": "the client", "submission": submission,
             "methods": [lab.method], "basis": Basis.AS_RECEIVED, "due_on": None}  # fmt: skip
    kept = change_request(at=lab.later(), reason="due day", **again)
    assert [row.definition for row in kept.derived.all()] == [metals]
    dropped = change_request(at=lab.later(), reason="not wanted", derived=[], **again)
    assert not dropped.derived.exists()
    assert RequestedDerived.objects.count() == 2


def test_what_the_methods_do_not_give_is_refused_when_it_is_asked_for(lab: Laboratory) -> None:
    sodium = a_derived(lab, "salt", reported_as="Na + Cu", terms=[
        {"element": "Na", "unit": "mg/kg"}, {"element": "Cu", "unit": "mg/kg"}])  # fmt: skip
    with pytest.raises(BadInput, match="Na \\+ Cu needs Na: none of the methods asked for gives that"):
        a_submission(lab, derived=[sodium])
    assert not Submission.objects.exists()
    versions = [a_derived(lab), a_derived(lab)]
    with pytest.raises(BadInput, match="Of metals two versions are chosen"):
        a_submission(lab, derived=versions)


def test_a_certificate_prints_it_and_keeps_its_inputs(lab: Laboratory) -> None:
    """Cu 120 and Pb 35 mg/kg (builders): 155 mg/kg; u of each 2 % and 0.3 mg/kg near zero, of one portion: added up."""
    certificate = a_certificate(lab, measured(lab, a_derived(lab)), draw=False)
    document = document_of(certificate)
    column = document.columns[-1]
    assert (column.key, column.formula, column.unit, column.derived) == ("metals", "Cu + Pb", "mg/kg", True)
    assert [row.cells[-1].printed for row in document.rows] == ["155", "155", "155"]
    assert document.rows[0].cells[-1].u == "6.4"  # 2 × (2.42 + 0.76)
    assert document.derived_notes[0].formula == "Cu + Pb, each in mg/kg"
    line = CertificateLine.objects.filter(certificate=certificate, column="metals").first()
    assert line.value == pytest.approx(155.0, rel=1e-3)
    assert line.u == pytest.approx(2.42 + 0.76, rel=0.01)
    inputs = [row.result for row in line.inputs.order_by("result__element")]
    assert [row.element_id for row in inputs] == ["Cu", "Pb"]
    assert line.value == inputs[0].value + inputs[1].value
    assert derived_differs(certificate) == []


def test_what_is_below_its_limits_is_printed_with_a_limit_of_its_own(lab: Laboratory) -> None:
    """Detection limits of both are 1 mg/kg (builders: 0.01 mg/L in 50 mL of 0.5 g): up to 2 may be there, by any rule.

    The sum itself has a detection limit of √2.
    """
    nothing = {"contents": {f"KF26-0000{n}": {"Cu": 0.1, "Pb": 0.1} for n in (1, 2, 3)}}
    zero, limit = a_derived(lab), a_derived(lab, "by-limit", below=BelowInSum.LIMIT)
    document, _ = previewed(lab, measured(lab, zero, limit, **nothing))
    printed = {cell.column: cell for cell in document.rows[0].cells}
    assert printed["metals"].printed == printed["by-limit"].printed == "<2"
    assert printed["metals"].detection_limit == "1.4"
    assert printed["metals"].sign == "<"


def test_a_range_is_printed_from_the_least_to_the_most(lab: Laboratory) -> None:
    some = {"contents": {"KF26-00001": {"Cu": 20.0, "Pb": 0.1}}}
    document, _ = previewed(lab, measured(lab, a_derived(lab, below=BelowInSum.RANGE), **some))
    cell = document.rows[0].cells[-1]
    assert (cell.printed, cell.number) == ("20.0 to 21.0", None)
    assert document.rows[1].cells[-1].printed == "155"


def test_a_result_in_words_leaves_none_and_says_why(lab: Laboratory) -> None:
    submission = a_submission(lab, derived=[a_derived(lab)])
    lost = submission.samples.latest("ordinal")
    state_not_measured(
        by=lab.people["reception"], at=lab.later(), reason="spilt", sample=lost, method=lab.method,
        word=NotMeasured.DESTROYED,
    )  # fmt: skip
    run = a_run(lab, a_weighed_batch(lab, submission, 2))
    an_imported_file(lab, run)
    evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    document, _ = previewed(lab, approved(lab, submission))
    cell = document.rows[2].cells[-1]
    assert cell.printed == "no value"
    remarks = {remark.mark: remark.text for remark in document.remarks}
    assert remarks[cell.mark] == "No value: Cu by AR-7: destroyed; Pb by AR-7: destroyed."
    assert document.rows[1].cells[-1].printed == "155"


def test_it_is_approved_with_its_inputs_only(lab: Laboratory) -> None:
    submission = a_submission(lab, derived=[a_derived(lab)])
    an_evaluated_run(lab, submission)
    with pytest.raises(WrongState, match="Not ready: Cu by AR-7 in KF26-00001 is not approved"):
        previewed(lab, submission)
    copper = Result.objects.filter(pk__in=waiting_for_review(submission), element="Cu")
    approve_results(
        by=lab.people["reviewer"], at=lab.later(), results=[row.pk for row in copper], password=PASSWORD
    )  # fmt: skip
    document, _ = previewed(lab, submission, preliminary=True)
    assert document.rows[0].cells[-1].printed == "no value"
    assert any("Pb by AR-7: to follow" in remark.text for remark in document.remarks)


def test_a_grade_over_a_set_is_weighted_and_stands_in_a_table_of_its_own(lab: Laboratory) -> None:
    """By hand: (1 × 100 + 3 × 200) / 4 = 175 mg/kg."""
    contents = {"KF26-00001": {"Cu": 100.0, "Pb": 35.0}, "KF26-00002": {"Cu": 200.0, "Pb": 35.0}}
    submission = measured(lab, a_grade(lab), contents=contents)
    with pytest.raises(WrongState, match="Cu, mean is asked for, and no set of samples is defined"):
        previewed(lab, submission)
    a_set(lab, submission, {1: 1.0, 2: 3.0})
    certificate = a_certificate(lab, submission, draw=False)
    document = document_of(certificate)
    (grade,) = document.grades
    assert (grade.name, grade.mass, grade.cells[0].printed) == ("intercept", "4", "175")
    assert grade.samples == "KF26-00001, KF26-00002"
    assert [column.derived for column in document.columns] == [False, False]
    line = CertificateLine.objects.get(certificate=certificate, column="grade-cu")
    assert line.sample is None
    assert line.inputs.count() == 2
    assert derived_differs(certificate) == []


@pytest.mark.parametrize(
    ("masses", "words"),
    [({1: 0.0}, "0 kg is no mass"), ({1: float("nan")}, "nan kg is no mass"), ({1: -2.0}, "-2 kg is no mass")],
)
def test_a_set_needs_masses(masses: dict[int, float], words: str, lab: Laboratory) -> None:
    submission = a_submission(lab)
    with pytest.raises(BadInput) as refused:
        a_set(lab, submission, masses)
    assert words in str(refused.value.problems[0])


def test_a_set_holds_samples_of_its_submission_once(lab: Laboratory) -> None:
    submission, other = a_submission(lab), a_submission(lab, 1, names=["elsewhere"])
    sample, stranger = submission.samples.earliest("pk"), other.samples.get()
    with pytest.raises(BadInput) as refused:
        define_sample_set(
            by=lab.people["reception"], at=lab.later(), submission=submission, name="x",
            members=[(sample, 1.0), (sample, 2.0), (stranger, 1.0)],
        )  # fmt: skip
    assert [problem.row for problem in refused.value.problems] == [2, 3]
    assert not SampleSet.objects.exists()


def test_a_set_of_the_same_name_is_replaced_and_one_without_members_is_gone(lab: Laboratory) -> None:
    submission = measured(lab, a_grade(lab))
    a_set(lab, submission, {1: 1.0})
    newer = a_set(lab, submission, {1: 1.0, 2: 1.0})
    assert [one.sample_set for one in reportable(submission).derived] == [newer]
    a_set(lab, submission, {})
    assert reportable(submission).derived == ()
    assert SampleSet.objects.count() == 3


def test_a_superseded_input_supersedes_what_was_computed_from_it(lab: Laboratory) -> None:
    """Copper is read again and another candidate is chosen: the amendment shows the sum before and after."""
    submission = measured(lab, a_derived(lab))
    certificate = a_certificate(lab, submission, draw=False)
    sample = submission.samples.earliest("ordinal")
    before = CertificateLine.objects.get(certificate=certificate, sample=sample, column="metals")

    batch = PreparationBatch.objects.get(portions__label=sample.number)
    run = a_run(lab, batch)
    an_imported_file(lab, run, a_reading_file(run, contents={sample.number: {"Cu": 150.0, "Pb": 35.0}}))
    evaluation = evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    new = evaluation.results.get(sample=sample, element="Cu", is_candidate=True)
    select_result(by=lab.people["analyst"], at=lab.later(), reason="the first portion was spilt", result=new)
    approved(lab, submission)

    document, _ = previewed(lab, submission, replaces=certificate, reason="Cu measured again")
    changes = {(change.sample, change.column): (change.old, change.new) for change in document.changes}
    assert changes[sample.number, "metals"] == ("155", "185")
    amended = amend_certificate(
        by=lab.people["issuer"], at=lab.later(), reason="Cu measured again", certificate=certificate,
        rule_set=lab.rule_set,
    )  # fmt: skip
    after = CertificateLine.objects.get(certificate=amended, sample=sample, column="metals")
    assert after.value == pytest.approx(185.0, rel=1e-3)
    chosen = newest_selections(sample_ids=[sample.pk])
    assert {row.result_id for row in after.inputs.all()} == {one.result_id for one in chosen.values()}
    assert before.value == pytest.approx(155.0, rel=1e-3)  # the older issue stays what it was
    assert derived_differs(certificate) == derived_differs(amended) == []


def test_what_was_printed_is_found_out_when_an_input_is_exchanged(lab: Laboratory) -> None:
    """The inputs cannot be changed in a real database (guards); here one is exchanged before it is compared."""
    certificate = a_certificate(lab, measured(lab, a_derived(lab)), draw=False)
    line = certificate.lines.filter(column="metals").first()
    other = certificate.lines.exclude(sample=line.sample).filter(column="AR-7 Cu").first()
    CertificateInput.objects.create(line=line, result=other.result)
    said = derived_differs(certificate)
    assert any("its value is" in words and "metals v1" in words for words in said)
    assert any("printed “155”, and its inputs give “275”" in words for words in said)
