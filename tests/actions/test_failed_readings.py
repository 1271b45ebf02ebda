"""Readings and curves that fail: their results wait for a named reason. A batch that fails twice is prepared anew."""

from collections.abc import Mapping
from dataclasses import replace

import pytest

from labresults.actions.evaluation import accept_control, evaluate_run
from labresults.actions.methods import add_method_version
from labresults.actions.review import approve_results
from labresults.actions.runs import plan_run
from labresults.acts import WrongState
from labresults.models import ControlOutcome, Evaluation, PreparationBatch, Result, Selection
from labresults.queries.failures import confirmed_batch_failures, failures_of
from labresults.queries.repeats import open_repeats
from labresults.queries.reportable import reportable
from labresults.queries.results import newest_selections, waiting_for_review
from labresults.queries.review_evidence import evidence_of
from labresults.terms import BlankRule, Measure, Reach, Repeat, Role, SolutionKind
from tests.builders import (
    CRITERIA,
    NOW,
    PASSWORD,
    STANDARDS,
    Laboratory,
    a_reading_file,
    a_run,
    a_submission,
    a_weighed_batch,
    an_imported_file,
)

YTTRIUM = 5000.0
"""Signal of the internal standard, counts/s."""


def of_readings(role: Role, measure: Measure, **bounds: object) -> dict[str, object]:
    return {
        "role": role, "measure": measure, "reach": Reach.SAMPLE, "remedy": "Read it again.",
        "source": "common practice, no source", **bounds,
    }  # fmt: skip


@pytest.fixture
def yttrium(lab: Laboratory) -> Laboratory:
    """The laboratory with a version of its method that has an internal standard, and judges readings and curves."""
    rows = lab.version.lines.select_related("line").order_by("pk")
    names = [
        "rank",
        "curve",
        "weighting",
        "range_top",
        "detection_limit",
        "quantification_limit",
        "u_floor",
        "u_relative",
    ]
    known = {name: getattr(rows[0], name) for name in names}
    version = add_method_version(
        by=lab.people["quality manager"],
        at=lab.later(),
        code="AR-7",
        title="Aqua regia",
        area="geochemistry",
        valid_from=NOW.date(),
        version={
            "what_was_done": "0.5 g in aqua regia, to 50 mL, with yttrium; plasma emission",
            "dissolution": "aqua regia",
            "solution_kind": SolutionKind.MASS_IN_VOLUME,
            "solution_unit": "mg/L",
            "blank_rule": BlankRule.JUDGE,
            "internal_standard": ("Y", "371.029"),
            "mass_low_g": 0.45,
            "mass_high_g": 0.55,
            "volume_mL": 50.0,
            "dilution_steps": [2, 5, 10],
            "weights_edition": "CIAAW 2024",
            "uncertainty_basis": "from control samples",
        },
        matrices=["rock", "soil"],
        lines=[
            {"element": element, "label": label, **known}
            for element, label in (("Cu", "324.754"), ("Pb", "220.353"), ("Y", "371.029"))
        ],
        determinations=[{"element": "Cu", "unit": "mg/kg"}, {"element": "Pb", "unit": "mg/kg"}],
        criteria=[
            *CRITERIA,
            of_readings(Role.SAMPLE, Measure.INTERNAL_STANDARD, low=70.0, high=130.0),
            of_readings(Role.SAMPLE, Measure.SPREAD, high=5.0, least_times=3.0),
            of_readings(Role.CALIBRATION_STANDARD, Measure.CORRELATION, low=0.999) | {"reach": Reach.RUN},
        ],
        standards=list(STANDARDS),
        controls=[
            {"role": Role.INITIAL_VERIFICATION, "material": "CHECK", "at_start": True},
            {"role": Role.CONTINUING_VERIFICATION, "material": "CHECK", "every": 5, "at_end": True},
        ],
    )
    return replace(lab, version=version, method=version.method)


def evaluated(
    lab: Laboratory,
    *,
    internal: Mapping[str, float] | None = None,
    apart: Mapping[tuple[str, str], float] | None = None,
    factors: Mapping[tuple[str, str], float] | None = None,
) -> Evaluation:
    """A run: shares of the internal standard in its tubes, how far apart two readings lie as a share of their mean."""
    run = a_run(lab, a_weighed_batch(lab, a_submission(lab)))
    rows = []
    for row in a_reading_file(run, factors=factors).decode().splitlines()[1:]:
        number, label, line, *readings = row.split(",")
        share = (internal or {}).get(label, 1.0)
        mean = sum(map(float, readings)) / 2 * share
        half = mean * (apart or {}).get((label, line[:2]), 0.002) / 2
        rows.append(f"{number},{label},{line},{mean - half!r},{mean + half!r}")
        if line.startswith("Pb"):
            rows.append(f"{number},{label},Y 371.029,{YTTRIUM * share!r},{YTTRIUM * share!r}")
    content = "\n".join(["position,label,line,reading 1,reading 2", *rows]).encode()
    an_imported_file(lab, run, content)
    return evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)


def touched(evaluation: Evaluation) -> set[tuple[str, str]]:
    """Sample and element of every result that an open failure speaks against."""
    rows = list(evaluation.results.filter(is_candidate=True).select_related("position", "evaluation", "sample"))
    standing = failures_of(rows)
    return {(row.sample.number, row.element_id) for row in rows if standing[row.pk]["open"]}


def refused(lab: Laboratory, evaluation: Evaluation, words: str) -> None:
    """Approving everything is refused in these words, until what failed is accepted by name."""
    submission = evaluation.results.exclude(sample=None).first().sample.submission
    waiting = waiting_for_review(submission)
    by, password = lab.people["reviewer"], PASSWORD
    with pytest.raises(WrongState, match=words):
        approve_results(by=by, at=lab.later(), results=waiting, password=password)
    failed = list(evaluation.outcomes.filter(verdict="outside"))
    accept_control(by=lab.people["analyst"], at=lab.later(), reason="seen, and of no matter here", outcomes=failed)
    approve_results(by=by, at=lab.later(), results=waiting, looked_at=waiting, password=password)
    found = reportable(submission)
    assert found.missing == []
    assert {o.pk for standing in found.failures.values() for o in standing["accepted"]} == {o.pk for o in failed}


def test_a_failed_internal_standard_holds_every_line_of_its_position(yttrium: Laboratory) -> None:
    evaluation = evaluated(yttrium, internal={"KF26-00002": 0.6})
    outcome = evaluation.outcomes.get(verdict="outside")
    assert (str(outcome.line), outcome.observed) == ("Y 371.029", pytest.approx(60.0))
    assert touched(evaluation) == {("KF26-00002", "Cu"), ("KF26-00002", "Pb")}
    refused(yttrium, evaluation, "KF26-00002: Internal standard Y 371.029 3000 counts/s")


def test_a_reading_that_spreads_holds_its_own_line_only(yttrium: Laboratory) -> None:
    evaluation = evaluated(yttrium, apart={("KF26-00001", "Pb"): 0.2})
    outcome = evaluation.outcomes.get(verdict="outside")
    assert outcome.observed == pytest.approx(100 * 0.2 / 2**0.5)
    assert touched(evaluation) == {("KF26-00001", "Pb")}
    # three samples at two lines were judged; only the failure is a row
    assert evaluation.counted == {"replicate spread, %": 6}
    assert evaluation.outcomes.filter(measure=Measure.SPREAD).count() == 1
    refused(yttrium, evaluation, "Pb in KF26-00001: Pb 220.353 .* spread: 14.14 %, allowed at most 5 %")


def test_a_curve_that_fails_holds_every_result_of_its_line(yttrium: Laboratory) -> None:
    evaluation = evaluated(yttrium, factors={("STD 2", "Cu"): 3.0})
    outcome = evaluation.outcomes.get(verdict="outside", measure=Measure.CORRELATION)
    assert outcome.position.label == "STD 3"
    assert {element for _, element in touched(evaluation)} == {"Cu"}
    assert len(touched(evaluation)) == 3


def test_the_reviewer_sees_the_reading_and_the_curve_beside_a_result(yttrium: Laboratory) -> None:
    evaluation = evaluated(yttrium, internal={"KF26-00002": 0.6}, apart={("KF26-00001", "Cu"): 0.2})
    result = evaluation.results.get(sample__number="KF26-00002", element="Cu", is_candidate=True)
    shown = evidence_of(result.sample.submission.number, result.pk)
    words = [control.words for control in shown.controls]
    # its own internal standard and its curve; neither the spread of another sample nor its internal standard
    assert words[:2] == ["internal standard recovery", "correlation coefficient"]
    assert words.count("internal standard recovery") == 1
    assert "replicate spread" not in words
    assert [look.why for look in shown.looks if look.blocks] == [shown.controls[0].outcome.why]


def a_failed_blank(lab: Laboratory) -> PreparationBatch:
    batch = a_weighed_batch(lab, a_submission(lab))
    read(lab, batch, blank=0.2)
    return batch


def read(lab: Laboratory, batch: PreparationBatch, *, blank: float) -> Evaluation:
    """The whole batch read, its method blank holding so much lead, mg/L."""
    run = a_run(lab, batch)
    an_imported_file(lab, run, a_reading_file(run, contents={"B26-0001 MB1": {"Pb": blank}}))
    return evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)


def lead(evaluation: Evaluation) -> Result:
    return evaluation.results.filter(is_candidate=True, element="Pb").select_related("position", "evaluation").first()


def open_of(evaluation: Evaluation) -> list[ControlOutcome]:
    result = lead(evaluation)
    return failures_of([result])[result.pk]["open"]


def test_a_batch_failure_that_a_second_run_confirms_asks_for_a_new_digestion(lab: Laboratory) -> None:
    batch = a_failed_blank(lab)
    portions = list(batch.portions.filter(role__in=[Role.SAMPLE, Role.METHOD_BLANK]).values_list("pk", flat=True))
    assert confirmed_batch_failures(portions) == {}

    read(lab, batch, blank=0.25)

    confirmed = confirmed_batch_failures(portions)
    assert set(confirmed) == {(portion, "Pb") for portion in portions}
    assert {str(o.position.label) for o in confirmed[portions[0], "Pb"]} == {"B26-0001 MB1"}


def test_the_repeat_list_asks_for_the_digestion_once_a_failure_is_confirmed(lab: Laboratory) -> None:
    batch = a_failed_blank(lab)
    assert {repeat.kind for repeat in open_repeats("AR-7")} == {Repeat.RE_READ}

    read(lab, batch, blank=0.25)

    repeats = open_repeats("AR-7")
    assert {repeat.run.number for repeat in repeats} == {"R26-0002"}
    assert {repeat.kind for repeat in repeats} == {Repeat.RE_DIGEST}
    assert all("Read it again" not in repeat.why for repeat in repeats)
    assert all(repeat.why.endswith("A second run confirmed it: the batch needs a new digestion.") for repeat in repeats)


def test_a_third_reading_does_not_mend_what_two_have_shown(lab: Laboratory) -> None:
    batch = a_failed_blank(lab)
    second = read(lab, batch, blank=0.25)
    third = read(lab, batch, blank=0.0)
    assert {o.evaluation.run_id for o in open_of(third)} == {second.run_id, second.run_id - 1}
    chosen = newest_selections(sample_ids=list(Selection.objects.values_list("sample", flat=True)))
    assert third not in {row.result.evaluation for row in chosen.values() if row.element_id == "Pb"}


def test_one_failure_is_mended_by_a_reading_that_holds(lab: Laboratory) -> None:
    batch = a_failed_blank(lab)
    second = read(lab, batch, blank=0.0)
    assert open_of(second) == []


def test_each_of_two_runs_that_failed_at_another_element_speaks_against_the_other(lab: Laboratory) -> None:
    # given a batch whose blank held lead, and a second run without that blank in which its reference material failed
    # at copper
    batch = a_failed_blank(lab)
    first = batch.portions.first().positions.first().run.evaluations.get()
    run = plan_run(
        by=lab.people["analyst"], at=lab.later(), reason="read again", method_version=lab.version,
        instrument=lab.spectrometer, portions=batch.portions.exclude(role=Role.METHOD_BLANK).order_by("tube"),
    )  # fmt: skip
    reference = run.positions.get(portion__role=Role.REFERENCE_MATERIAL).label
    an_imported_file(lab, run, a_reading_file(run, factors={(reference, "Cu"): 2.0}))
    second = evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    # when all results of both runs are asked of at once
    samples = Result.objects.filter(is_candidate=True, position__portion__role=Role.SAMPLE)
    asked = samples.filter(evaluation__in=[first, second])
    found = failures_of(list(asked.select_related("position", "evaluation")))
    # then either failure speaks against its element in both
    said = {
        (result.evaluation_id, result.element_id, outcome.position.label, outcome.line.element_id)
        for result in asked
        for outcome in found[result.pk]["open"]
    }
    both = [first.pk, second.pk]
    assert said == {
        *((evaluation, "Pb", "B26-0001 MB1", "Pb") for evaluation in both),
        (second.pk, "Cu", reference, "Cu"),
    }


def test_two_evaluations_of_one_run_confirm_nothing(lab: Laboratory) -> None:
    batch = a_failed_blank(lab)
    run = batch.portions.first().positions.first().run
    evaluate_run(by=lab.people["analyst"], at=lab.later(), reason="looked at again", run=run)
    assert confirmed_batch_failures(list(batch.portions.values_list("pk", flat=True))) == {}
