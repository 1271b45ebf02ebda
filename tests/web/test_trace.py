"""From a number back to everything that it stands on, and forward."""

import re
from collections.abc import Callable
from dataclasses import replace
from html import unescape

import pytest
from django.test import Client
from django.urls import reverse

from labresults.actions.evaluation import accept_control, evaluate_run
from labresults.actions.mass_losses import Heated
from labresults.actions.methods import save_layout
from labresults.actions.runs import plan_run
from labresults.models import ControlOutcome, LimitEstimate, Result
from labresults.queries import trace_numbers as traces
from labresults.readers.layout import Applied
from labresults.terms import LimitProcedure, LimitQuantity, Role, Verdict
from reports.actions.certificates import amend_certificate
from tests.actions.test_mass_losses import LEAF, on_the_dry_basis, record
from tests.builders import (
    LONG,
    Laboratory,
    a_certificate,
    a_reading_file,
    a_run,
    a_submission,
    a_weighed_batch,
    an_evaluated_run,
    an_imported_file,
    approved,
)

AsRole = Callable[[str], Client]


def shown(browser: Client, result: Result) -> str:
    answer = browser.get(reverse("trace", args=[result.pk]))
    assert answer.status_code == 200
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", answer.content.decode())).split())


def copper(**which: object) -> Result:
    return Result.objects.get(element="Cu", is_candidate=True, **which)


@pytest.fixture
def printed(lab: Laboratory) -> Result:
    submission = a_submission(lab, 1, names=["NRD014 118.0 m"])
    an_evaluated_run(lab, submission, contents={submission.samples.get().number: {"Cu": 120.04, "Pb": 35.0}})
    approved(lab, submission)
    a_certificate(lab, submission, draw=False)
    return copper()


def test_a_printed_number_leads_back_to_everything(lab: Laboratory, printed: Result, as_role: AsRole) -> None:
    words = shown(as_role("auditor"), printed)
    file = printed.evaluation.run.files.get()
    row = file.readings.get(position=printed.position, line=printed.line).file_row
    for expected in (
        "Why is this one 120 mg/kg?",
        "Because 0.5 g of soil was made up to 50 mL",
        "NRD014 118.0 m",
        "S26-0001",
        "R26-0001",
        "C26-0001",
        "rules R2 v1",
        "AR-7 v1",
        "120.0400 mg/kg",
        "the same to the last bit",
        f"R26-0001.csv, row {row}",
        file.sha256,
        "L-2203",
        "5 Jan 2027",
        "calibration, 1 Nov 2026, passed",
        "One candidate",
        "Selected: first valid result of the line that ranks first",
        "Approved Reviewer Person",
        "Issued C26-0001, issue 1 Issuer Person",
        "issue certificate C26-0001, issue 1",
        "receive samples S26-0001",
    ):
        assert expected in words, expected


def test_the_arithmetic_can_be_done_again_by_hand(lab: Laboratory, printed: Result, as_role: AsRole) -> None:
    """Given two readings; then their mean is written as a sum over two, and the steps end at the stored value."""
    words = shown(as_role("auditor"), printed)
    reading = printed.evaluation.run.readings.get(position=printed.position, line=printed.line)
    first, second = reading.replicates
    assert f"{first} + {second} 2" in words
    assert (float(first) + float(second)) / 2 == pytest.approx(reading.mean, rel=1e-12)


def test_a_changed_value_is_told(
    lab: Laboratory, printed: Result, as_role: AsRole, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Given a calculation that gives another number than is stored; then the page says so and whom to tell."""
    evaluate = traces.evaluate

    def drifted(table: object, method: object) -> object:
        table.signal[:, 0] *= 1.5  # type: ignore[attr-defined]
        table.signal[0, 0] += 1.0  # type: ignore[attr-defined]
        return evaluate(table, method)  # type: ignore[arg-type]

    monkeypatch.setattr(traces, "evaluate", drifted)
    words = shown(as_role("auditor"), printed)
    assert "Computed again just now, it gives" in words
    assert "stored is 120.0" in words
    assert "the same to the last bit" not in words


def test_an_amended_certificate_shows_both_issues(lab: Laboratory, printed: Result, as_role: AsRole) -> None:
    amend_certificate(
        by=lab.people["issuer"], at=lab.later(), certificate=printed.printed.get().certificate,
        rule_set=lab.rule_set, reason="The reference was wrong.",
    )  # fmt: skip
    words = shown(as_role("auditor"), printed)
    assert "C26-0001 , issue 2" in words
    assert "also in issue 1" in words


def test_a_result_without_a_value_says_why(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab, 1)
    number = submission.samples.get().number
    an_evaluated_run(lab, submission, contents={number: {"Cu": 9000.0, "Pb": 35.0}})
    words = shown(as_role("analyst"), copper())
    assert "Why has this one no value?" in words
    assert "above the working range" in words
    assert "again no value" in words
    assert "not printed on any certificate" in words


def test_a_saturated_reading_has_no_arithmetic(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab, 1)
    an_evaluated_run(lab, submission, words={(submission.samples.get().number, "Cu"): "saturated"})
    words = shown(as_role("analyst"), copper())
    assert "There is no arithmetic" in words
    assert "over range, says the instrument" in words


def test_a_missing_reading_is_told(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab, 1)
    an_evaluated_run(lab, submission, words={(submission.samples.get().number, "Cu"): "none"})
    assert "nothing read" in shown(as_role("analyst"), copper())


@pytest.mark.parametrize("role", [Role.REFERENCE_MATERIAL, Role.DUPLICATE], ids=["lot", "duplicate"])
def test_a_control_samples_own_result_can_be_followed(lab: Laboratory, as_role: AsRole, role: Role) -> None:
    an_evaluated_run(lab, a_submission(lab, 1))
    words = shown(as_role("analyst"), Result.objects.get(element="Cu", position__role=role))
    assert role.value in words
    assert "the same to the last bit" in words


def test_a_failure_and_its_acceptance_stand_beside_the_number(lab: Laboratory, as_role: AsRole) -> None:
    an_evaluated_run(lab, a_submission(lab, 1), factors={("CCV 1", "Cu"): 1.2})
    browser = as_role("analyst")
    assert "speaks against it" in shown(browser, copper())
    outcome = ControlOutcome.objects.get(verdict=Verdict.OUTSIDE)
    accept_control(
        by=lab.people["analyst"], at=lab.later(), outcomes=[outcome], reason="The pump was repaired in time."
    )
    words = shown(browser, copper())
    assert "accepted by Analyst Person: The pump was repaired in time." in words
    assert "speaks against it" not in words


def test_an_older_evaluation_says_that_there_is_a_newer_one(lab: Laboratory, as_role: AsRole) -> None:
    evaluation = an_evaluated_run(lab, a_submission(lab, 1))
    evaluate_run(
        by=lab.people["analyst"], at=lab.later(), run=evaluation.run, left_out=[(3, "Cu 324.754")],
        reason="The third standard was spilled.",
    )  # fmt: skip
    browser = as_role("analyst")
    assert "was evaluated anew since" in shown(browser, copper(evaluation__version=1))
    newer = shown(browser, copper(evaluation__version=2))
    assert "was evaluated anew since" not in newer
    assert "left out" in newer
    assert "2 candidates" in newer
    assert "the same to the last bit" in newer


def test_where_the_instrument_calibrates_there_is_no_curve(lab: Laboratory, as_role: AsRole) -> None:
    layout = save_layout(
        by=lab.people["quality manager"], at=lab.later(),
        specification=replace(LONG, name="concentrations", unit="mg/L", applied=(Applied.CALIBRATION,)),
    )  # fmt: skip
    lab.layout = layout
    run = a_run(lab, a_weighed_batch(lab, a_submission(lab, 1)))
    an_imported_file(lab, run, _as_concentrations(a_reading_file(run)))
    evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    words = shown(as_role("analyst"), copper())
    assert "The instrument calibrates by itself" in words
    assert "the same to the last bit" in words


def test_replicates_of_a_file_in_another_unit_stand_in_the_unit_of_the_file(lab: Laboratory, as_role: AsRole) -> None:
    # given a layout in mg/L, and a file that says ug/L of its lines
    lab.layout = save_layout(
        by=lab.people["quality manager"], at=lab.later(),
        specification=replace(LONG, name="micro", unit="mg/L", applied=(Applied.CALIBRATION,), unit_column="unit"),
    )  # fmt: skip
    run = a_run(lab, a_weighed_batch(lab, a_submission(lab, 1)))
    head, *rows = _as_concentrations(a_reading_file(run)).decode().splitlines()
    told = [f"{row},{'ug/L' if ',Cu ' in row else 'mg/L'}" for row in rows]
    file = an_imported_file(lab, run, "\n".join([f"{head},unit", *told]).encode())
    assert file.text_units == {"Cu 324.754": "ug/L"}
    evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    # then a reader is told both: what the file has, and what was made of it
    reading = file.readings.get(position=copper().position, line=copper().line)
    words = shown(as_role("analyst"), copper())
    assert f"Read {', '.join(reading.replicates)} ug/L , mean 0.00120000 mg/L" in words
    lead = Result.objects.get(element="Pb", is_candidate=True)
    texts = file.readings.get(position=lead.position, line=lead.line).replicates
    assert f"Read {', '.join(texts)} mg/L The balance" in shown(as_role("analyst"), lead)


def test_a_unit_that_changes_within_a_line_is_kept_for_each_position(lab: Laboratory) -> None:
    lab.layout = save_layout(
        by=lab.people["quality manager"], at=lab.later(),
        specification=replace(LONG, name="mixed", unit="mg/L", applied=(Applied.CALIBRATION,), unit_column="unit"),
    )  # fmt: skip
    run = a_run(lab, a_weighed_batch(lab, a_submission(lab, 1)))
    head, *rows = _as_concentrations(a_reading_file(run)).decode().splitlines()
    told = [f"{row},{'ug/L' if row.startswith('1,') else 'mg/L'}" for row in rows]
    units = an_imported_file(lab, run, "\n".join([f"{head},unit", *told]).encode()).text_units
    assert (units["Cu 324.754"]["1"], units["Cu 324.754"]["2"]) == ("ug/L", "")


def _as_concentrations(content: bytes) -> bytes:
    """The same file with the signals as mg/L."""
    head, *rows = content.decode().splitlines()
    told = []
    for row in rows:
        *names, first, second = row.split(",")
        slope = 1800.0 if names[-1].startswith("Cu") else 900.0
        told.append(",".join([*names, *(repr((float(text) - 10.0) / slope) for text in (first, second))]))
    return "\n".join([head, *told]).encode()


def test_forward_it_says_what_else_stands_on_the_same_things(lab: Laboratory, as_role: AsRole) -> None:
    first, second = a_submission(lab, 2, names=["a", "b"]), a_submission(lab, 1, names=["c"])
    an_evaluated_run(lab, first)
    an_evaluated_run(lab, second)
    result = copper(sample__submission=second)
    words = shown(as_role("auditor"), result)
    assert "Run R26-0002 : 1 sample" in words.replace("\xa0", " ")
    assert "Lot L-2203 : 2 runs" in words.replace("\xa0", " ")
    assert re.search(r"Balance B2 that day : \d+ test portions, 3 samples", words.replace("\xa0", " "))


def test_it_is_for_the_laboratorys_people_only(lab: Laboratory, printed: Result, as_role: AsRole) -> None:
    assert as_role("client").get(reverse("trace", args=[printed.pk])).status_code == 403
    assert as_role("auditor").get(reverse("trace", args=[9_999_999])).status_code == 404


@pytest.mark.parametrize("samples", [1, 20])
def test_it_makes_few_queries_whatever_the_run(
    lab: Laboratory, as_role: AsRole, samples: int, django_assert_max_num_queries: Callable[[int], object]
) -> None:
    submission = a_submission(lab, samples)
    an_evaluated_run(lab, submission)
    approved(lab, submission)
    a_certificate(lab, submission, draw=False)
    browser = as_role("auditor")
    browser.get(reverse("today"))  # the ribbon is drawn once after each act
    result = Result.objects.filter(element="Cu", is_candidate=True).first()
    with django_assert_max_num_queries(30):  # type: ignore[attr-defined]
        assert browser.get(reverse("trace", args=[result.pk])).status_code == 200


def test_a_result_on_the_dry_basis_leads_to_its_drying(lab: Laboratory, as_role: AsRole) -> None:
    # given a sample asked for dry, whose moisture was weighed in a dish of its own
    submission = a_submission(lab, 1)
    on_the_dry_basis(lab, submission)
    record(lab, Heated(submission.samples.get().number, **LEAF))
    evaluation = an_evaluated_run(lab, submission)
    result = Result.objects.get(evaluation=evaluation, element="Cu", position__role="sample")
    # when its trace is opened
    words = shown(as_role("auditor"), result)
    # then the masses of the dish, and who weighed it, stand there
    assert "Its moisture" in words
    assert "dish 21.4382 g, before 26.6127 g, after 22.7794 g" in words
    assert "Preparer Person" in words


def test_where_the_uncertainty_comes_from_is_shown_with_shares(
    lab: Laboratory, printed: Result, as_role: AsRole
) -> None:
    """Given a stated function, floor 0.003 mg/L and 2 % of 1.2004 mg/L; then the growing part has 98 % of the variance.

    (0.02 × 1.2004)² / ((0.02 × 1.2004)² + 0.003²) = 0.985
    """
    words = shown(as_role("auditor"), printed)
    assert "Stated, growing with the content 2.40 98" in words
    assert "Stated, near zero 0.300 1.5" in words
    assert "Calibration and replicates" in words
    assert "beside" in words.partition("Calibration and replicates")[2]


def test_a_result_without_a_value_has_no_budget(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab, 1)
    an_evaluated_run(lab, submission, contents={submission.samples.get().number: {"Cu": 9000.0, "Pb": 35.0}})
    assert "A result without a value has none." in shown(as_role("analyst"), copper())


def test_limits_stand_in_the_solution_and_for_the_portion(lab: Laboratory, printed: Result, as_role: AsRole) -> None:
    """Given 0.5 g to 50 mL; then 0.01 mg/L in the solution is 1 mg/kg of the portion."""
    words = shown(as_role("auditor"), printed)
    assert "Detection limit 0.01 1.000" in words
    assert "Quantification limit 0.05 5.000" in words
    assert "no estimate of the laboratory’s own gave them" in words


def test_the_estimate_that_gave_a_limit_is_named(lab: Laboratory, printed: Result, as_role: AsRole) -> None:
    version = printed.evaluation.run.method_version
    LimitEstimate.objects.create(
        method_version=version, line=printed.line, procedure=LimitProcedure.BLANKS, quantity=LimitQuantity.DETECTION,
        value=0.01, unit="mg/L", count=10, words="3 s of ten method blanks.", made_by=lab.people["analyst"],
        made_at=version.made_at,
    )  # fmt: skip
    words = shown(as_role("auditor"), printed)
    assert "Detection limit by standard deviation of blanks: 3 s of ten method blanks." in words


def test_both_measurements_of_a_sample_stand_side_by_side_with_cause_and_dilution(
    lab: Laboratory, as_role: AsRole
) -> None:
    """Given a solution over range, read again ten times diluted; then both are candidates and the second stands."""
    submission = a_submission(lab, 1)
    number = submission.samples.get().number
    evaluation = an_evaluated_run(lab, submission, contents={number: {"Cu": 4500.0, "Pb": 35.0}})
    portion = evaluation.run.positions.get(label=number).portion
    again = plan_run(
        by=lab.people["analyst"], at=lab.later(), reason="Cu over range", method_version=lab.version,
        portions=[portion], dilutions={portion.pk: 10.0}, instrument=lab.spectrometer,
    )  # fmt: skip
    an_imported_file(lab, again, a_reading_file(again, contents={number: {"Cu": 4500.0, "Pb": 35.0}}))
    evaluate_run(by=lab.people["analyst"], at=lab.later(), run=again)
    words = shown(as_role("analyst"), copper(evaluation__run=evaluation.run))
    assert "2 candidates" in words
    assert "R26-0001" in words
    assert "Cu over range , × 10 at the instrument" in words.replace("range,", "range ,")
    assert "Let another one stand, with a reason" in words
    # and the link leads to the cell of the one that stands, where the other may be chosen
    page = as_role("reviewer").get(reverse("trace", args=[copper(evaluation__run=evaluation.run).pk])).content.decode()
    (address,) = re.findall(rf'href="({reverse("review", args=[submission.number])}[^"#]*)#evidence"', page)
    review = as_role("reviewer").get(f"{address}&alone=1")
    assert review.context["evidence"].result == copper(evaluation__run=again)
    assert "Let another measurement stand" in review.content.decode()


def test_what_the_instrument_made_of_the_signal_stands_beside_ours(lab: Laboratory, as_role: AsRole) -> None:
    """Given a file that has the instrument's own concentration, 1 % low; then it is shown, and ours is carried on."""
    lab.layout = save_layout(
        by=lab.people["quality manager"], at=lab.later(),
        specification=replace(LONG, name="both", concentration="mg/L", concentration_unit="mg/L"),
    )  # fmt: skip
    submission = a_submission(lab, 1)
    run = a_run(lab, a_weighed_batch(lab, submission))
    head, *rows = a_reading_file(run).decode().splitlines()
    own = [f"{row},{0.99 * (float(row.split(',')[3]) / 1.001 - 10.0) / 1800.0!r}" for row in rows]
    an_imported_file(lab, run, "\n".join([f"{head},mg/L", *own]).encode())
    evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    words = shown(as_role("analyst"), copper())
    assert "The instrument itself made 1.1880 mg/L of this reading; here it is 1.2000 mg/L" in words
    assert "1.0 % apart. Only ours is carried on." in words
