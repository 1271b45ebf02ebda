"""A printed number followed back, on a page: every kind of result has its walk, in a bounded number of queries."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from labresults.actions.evaluation import accept_control
from labresults.models import ControlOutcome, Result, Sample
from labresults.terms import Verdict
from tests.builders import Laboratory, a_certificate, a_submission, an_evaluated_run, approved

AsRole = Callable[[str], Client]
QUERIES = 45
"""At most, with those of the frame, whatever the size of the run."""


def shown(browser: Client, result: Result) -> str:
    answer = browser.get(reverse("trace", args=[result.pk]))
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def copper(submission: object) -> Result:
    return Result.objects.filter(sample__submission=submission, element="Cu", is_candidate=True).earliest("pk")


def test_a_printed_number_is_walked_back_to_everything_it_stands_on(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab)
    evaluation = an_evaluated_run(lab, submission)
    certificate = a_certificate(lab, approved(lab, submission), draw=False)
    page = shown(as_role("auditor"), copper(submission))
    assert "Why is this one 120 mg/kg?" in page
    assert "Because 0.5 g of soil made 50 mL, in which the curve of R26-0001 reads 1.2 mg/L of copper." in page
    assert "the same to the last bit" in page
    file = evaluation.run.files.get()
    for behind in (
        file.sha256, file.name, "L-2203", "B2", "NRD014 112.0 m", "Preparer Person", "Analyst Person",
        "Reviewer Person", "Issuer Person", str(certificate), "120.0000", "first valid result",
    ):  # fmt: skip
        assert behind in page


def test_before_it_is_printed_the_value_itself_is_asked_about(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab)
    an_evaluated_run(lab, submission)
    page = shown(as_role("analyst"), copper(submission))
    assert "not printed on any certificate" in page
    assert "Why is this one 120" in page


def test_over_range_says_so_and_ends_where_the_calculation_ends(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab)
    an_evaluated_run(lab, submission, factors={("KF26-00001", "Cu"): 40.0})
    result = copper(submission)
    assert result.value is None
    page = shown(as_role("analyst"), result)
    assert "Why has this one no value for Cu?" in page
    assert "It is over range" in page
    assert "It ends here" in page


def test_a_saturated_reading_has_a_page_without_arithmetic(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab)
    an_evaluated_run(lab, submission, words={("KF26-00001", "Cu"): "saturated"})
    assert "There is no reading to compute from" in shown(as_role("analyst"), copper(submission))


def test_a_control_samples_result_stands_for_no_sample(lab: Laboratory, as_role: AsRole) -> None:
    an_evaluated_run(lab, a_submission(lab))
    result = Result.objects.filter(sample=None, value__isnull=False).earliest("pk")
    assert "it stands for no sample" in shown(as_role("analyst"), result)


def test_a_failed_control_stands_against_it_until_it_is_accepted_by_name(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab)
    an_evaluated_run(lab, submission, factors={("CCV 1", "Cu"): 1.2})
    assert "stands against it" in shown(as_role("analyst"), copper(submission))
    failed = list(ControlOutcome.objects.filter(verdict=Verdict.OUTSIDE))
    accept_control(by=lab.people["analyst"], at=lab.later(), reason="The pump was mended.", outcomes=failed)
    page = shown(as_role("analyst"), copper(submission))
    assert "stands against it" not in page
    assert "The pump was mended." in page


@pytest.mark.parametrize("count", [1, 20])
def test_the_number_of_queries_does_not_grow_with_the_run(
    lab: Laboratory, as_role: AsRole, count: int, django_assert_max_num_queries: Callable[..., object]
) -> None:
    submission = a_submission(lab, count)
    an_evaluated_run(lab, submission)
    a_certificate(lab, approved(lab, submission), draw=False)
    browser, result = as_role("auditor"), copper(submission)
    browser.get("/")  # what the frame keeps for a minute is kept
    with django_assert_max_num_queries(QUERIES):  # type: ignore[attr-defined]
        shown(browser, result)


def test_a_client_is_shown_no_trace(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab)
    an_evaluated_run(lab, submission)
    assert Sample.objects.exists()
    assert as_role("client").get(reverse("trace", args=[copper(submission).pk])).status_code == 403


def test_a_number_that_is_not_there_is_not_found(lab: Laboratory, as_role: AsRole) -> None:
    assert as_role("analyst").get(reverse("trace", args=[987654])).status_code == 404
