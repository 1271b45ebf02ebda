"""The report of a run, read back from its PDF: all that the run stands on, and nothing of a client."""

from collections.abc import Callable
from dataclasses import replace

import pytest
from django.test import Client
from django.urls import reverse
from pypdfium2 import PdfDocument

from labresults.actions.evaluation import accept_control, evaluate_run
from labresults.models import ControlOutcome, Evaluation
from labresults.terms import Verdict
from reports.queries.run_report import run_report
from reports.queries.words import labels_in_words
from reports.render.run_report import render_run_report
from reports.run_report import NO_CERTIFICATE, NOT_RECOMPUTED, Picture, RunReport
from tests.builders import Laboratory, a_run, a_submission, a_weighed_batch, an_evaluated_run
from tests.render.reading import fonts, pages

OVER = {"KF26-00002": {"Cu": 4500.0, "Pb": 35.0}}
EMPTY = RunReport(
    laboratory="Kestrel Flat Laboratory", number="R26-0001", title="Aqua regia", method="AR-7 v1", printed="now",
    facts=(), answers=(), unit="mg/L", files=(), curves=(), smalls=(), pictures=(), judged=(), failures=(),
    failure_count=0, left_out=(), repeats=(), repeat_count=0, positions=(),
)  # fmt: skip


@pytest.fixture
def evaluation(lab: Laboratory) -> Evaluation:
    """A run of eight samples of one client: one over range, a check of lead that failed."""
    submission = a_submission(lab, 8, names=[f"Ninefold shaft {n}" for n in range(8)])
    return an_evaluated_run(lab, submission, contents=OVER, factors={("CCV 1", "Pb"): 1.2})


def report(lab: Laboratory, number: str, query: str = "") -> bytes:
    browser = Client()
    browser.force_login(lab.people["analyst"])
    answer = browser.get(reverse("run-report", args=[number]) + query)
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    assert f'filename="{number}-run-report.pdf"' in answer["Content-Disposition"]
    return answer.content


def read(pdf: bytes) -> str:
    return " ".join(pages(pdf))


def test_it_says_what_the_run_stands_on(lab: Laboratory, evaluation: Evaluation) -> None:
    words = read(report(lab, evaluation.run.number))
    file = evaluation.run.files.get()
    for expected in (
        "R26-0001",
        "AR-7 v1",
        "P1, spectrometer P1",
        file.name,
        file.sha256,
        evaluation.outputs_sha256,
        "Cu 324.754 straight line",
        "continuing calibration verification: recovery, % EPA Method 6010D (2018), section 9",
        "Pb 220.353 120.0 % 90–110 %",
        "not accepted",
        "Points left out: none",
        "KF26-00002",
        "re-dilute, × 10",
        "over range",
        "End of the report of run R26-0001",
    ):
        assert expected in words, expected


def test_control_samples_that_all_hold_stand_in_one_row(lab: Laboratory) -> None:
    """Given a run of two lines in which one check of lead failed; then only that line has a row of its own."""
    found = an_evaluated_run(lab, a_submission(lab, 8), factors={("CCV 1", "Pb"): 1.2})
    told = run_report(found.run.number, lab.later(), "Analyst Person").judged
    checks = [row for row in told if row.control.startswith("continuing calibration verification")]
    assert [(row.line, row.outside) for row in checks] == [("Pb 220.353", "1"), ("Cu 324.754", "")]
    initial = [row for row in told if row.control.startswith("initial calibration verification")]
    assert [(row.line, row.judged, row.outside) for row in initial] == [("2 lines", "2", "")]


def test_neighbours_stand_together_and_control_samples_alone(lab: Laboratory) -> None:
    found = an_evaluated_run(lab, a_submission(lab, 8))
    rows = run_report(found.run.number, lab.later(), "Analyst Person").positions
    samples = [row for row in rows if row.what == "sample"]
    assert [row.label for row in samples] == ["KF26-00001 to KF26-00003", "KF26-00004 to KF26-00008"]
    first, _, last = samples[1].number.partition("–")
    assert int(last) - int(first) == 4
    checks = [row for row in rows if row.what.startswith("continuing calibration verification")]
    assert all(row.number.isdecimal() and row.is_control for row in checks)


def test_what_is_asked_again_for_one_reason_stands_in_one_row(lab: Laboratory) -> None:
    """Given a check that failed for lead; then every sample that it brackets is named once, with its reason."""
    found = an_evaluated_run(lab, a_submission(lab, 8), factors={("CCV 1", "Pb"): 1.2})
    told = run_report(found.run.number, lab.later(), "Analyst Person")
    assert told.repeat_count == len(told.repeats) == 1
    assert (told.repeats[0].label, told.repeats[0].why.count("Read")) == ("KF26-00001 to KF26-00008", 1)


@pytest.mark.parametrize(
    ("labels", "words"),
    [
        ([], ""),
        (["KF26-00009", "KF26-00010", "KF26-00011", "KF26-00013"], "KF26-00009 to KF26-00011, KF26-00013"),
        (["KF26-00001", "KF26-00002"], "KF26-00001, KF26-00002"),
        (["S9", "S10", "S11"], "S9, S10, S11"),  # a number of more figures does not count on
        (["A-1 D", "A-2 D", "A-3 D"], "A-1 D, A-2 D, A-3 D"),
    ],
)
def test_labels_that_count_on_are_drawn_together(labels: list[str], words: str) -> None:
    assert labels_in_words(labels) == words


def test_it_is_no_certificate_and_holds_nothing_of_a_client(lab: Laboratory, evaluation: Evaluation) -> None:
    pdf = report(lab, evaluation.run.number)
    words = read(pdf)
    assert NO_CERTIFICATE in words
    submission = evaluation.run.positions.get(label="KF26-00001").portion.subsample.sample.submission
    for secret in ("Ninefold", lab.client.name, lab.client.code, submission.number, submission.reference):
        assert secret not in words, secret
    assert all(fonts(pdf).values())


def test_acceptances_and_points_left_out_stand_by_name(lab: Laboratory, evaluation: Evaluation) -> None:
    evaluate_run(
        by=lab.people["analyst"], at=lab.later(), run=evaluation.run, reason="standard 2 was spilled",
        left_out=[(3, "Cu 324.754")],
    )  # fmt: skip
    failed = ControlOutcome.objects.filter(verdict=Verdict.OUTSIDE, evaluation__version=2)
    accept_control(by=lab.people["analyst"], at=lab.later(), reason="the pump", outcomes=list(failed))
    words = read(report(lab, evaluation.run.number))
    assert "Analyst Person: the pump" in words
    assert "Points left out: Cu 324.754 at position 3" in words
    assert "standard 2 was spilled" in words
    older = read(report(lab, evaluation.run.number, "?evaluation=1"))
    assert "Points left out: none" in older


def ink(pdf: bytes) -> int:
    """How many dots of the printed sheets are dark."""
    with PdfDocument(pdf) as document:
        return sum(int((sheet.render(grayscale=True).to_numpy() < 128).sum()) for sheet in document)


def test_its_pictures_are_drawn_with_a_style_of_their_own() -> None:
    """Given a line that is styled by its class only; then its ink is on the paper, as thick as the class says."""
    frame = '<svg viewBox="0 0 100 10" role="img" aria-label="a line">{}</svg>'
    drawn = frame.format('<path class="p-axis" d="M0 5H100"/>')
    with_line, without = (
        render_run_report(replace(EMPTY, pictures=(Picture("a line", drawing),)))
        for drawing in (drawn, frame.format(""))
    )
    assert ink(with_line) > ink(without) + 1_000


def test_a_run_without_curves_says_who_calibrated() -> None:
    words = read(render_run_report(EMPTY))
    assert NOT_RECOMPUTED in words
    assert "Every control sample that was judged holds." in words
    assert "Nothing is proposed." in words


def test_the_same_report_is_the_same_file() -> None:
    assert render_run_report(EMPTY) == render_run_report(replace(EMPTY))


def test_a_run_that_was_not_evaluated_has_none(lab: Laboratory) -> None:
    run = a_run(lab, a_weighed_batch(lab, a_submission(lab, 1)))
    browser = Client()
    browser.force_login(lab.people["analyst"])
    assert browser.get(reverse("run-report", args=[run.number])).status_code == 404


def test_it_makes_few_queries(
    lab: Laboratory, evaluation: Evaluation, django_assert_max_num_queries: Callable[[int], object]
) -> None:
    browser = Client()
    browser.force_login(lab.people["analyst"])
    with django_assert_max_num_queries(30):  # type: ignore[attr-defined]
        browser.get(reverse("run-report", args=[evaluation.run.number]))
