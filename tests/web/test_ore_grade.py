"""A sample too rich for its method goes back to Preparation by the ore-grade method, when the client agrees."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from labresults import models
from labresults.actions.evaluation import evaluate_run
from labresults.models import Evaluation, Run
from labresults.queries.bench_waiting import samples_to_begin
from labresults.queries.ore_grade import richer_than_allowed
from tests.builders import (
    Laboratory,
    a_method,
    a_reading_file,
    a_run,
    a_submission,
    a_weighed_batch,
    an_imported_file,
)

AsRole = Callable[[str], Client]


@pytest.fixture
def rich(lab: Laboratory) -> Evaluation:
    """Three samples: the second holds 600 mg/kg of copper, and the method is for at most 500."""
    quality = lab.people["quality manager"]
    lab.version = a_method(quality, "AR-8", copper={"ore_grade_above": 500.0})
    lab.method = lab.version.method
    a_method(quality, "OG-8", ore_grade_of="AR-8")
    submission = a_submission(lab, 3)
    second = submission.samples.get(ordinal=2).number
    run = a_run(lab, a_weighed_batch(lab, submission))
    an_imported_file(lab, run, a_reading_file(run, contents={second: {"Cu": 600.0, "Pb": 35.0}}))
    return evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)


def words(browser: Client, run: Run) -> str:
    return " ".join(browser.get(reverse("run", args=[run.number])).content.decode().split())


@pytest.mark.parametrize(("copper", "asks"), [(499.9, False), (500.5, True), (1500.0, True)])
def test_it_is_decided_on_the_unrounded_value_or_the_top_of_the_range(
    lab: Laboratory, copper: float, asks: bool
) -> None:
    # given a bound of 500 mg/kg; 1500 mg/kg is over the range, whose top is 1000 mg/kg
    quality = lab.people["quality manager"]
    lab.version = a_method(quality, "AR-8", copper={"ore_grade_above": 500.0})
    lab.method = lab.version.method
    a_method(quality, "OG-8", ore_grade_of="AR-8")
    submission = a_submission(lab, 1)
    number = submission.samples.get().number
    run = a_run(lab, a_weighed_batch(lab, submission))
    an_imported_file(lab, run, a_reading_file(run, contents={number: {"Cu": copper, "Pb": 35.0}}))
    evaluation = evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    assert [row.samples for row in richer_than_allowed(evaluation)] == ([[number]] if asks else [])


def test_the_run_proposes_the_ore_grade_method_and_the_request_begins_with_it(
    lab: Laboratory, rich: Evaluation, as_role: AsRole
) -> None:
    page = as_role("analyst")
    shown = words(page, rich.run)
    assert "Cu in 1 sample" in shown.replace("\N{NO-BREAK SPACE}", " ")
    assert "is to be asked first" in shown
    [row] = richer_than_allowed(rich)
    # when the link is followed, the form holds the sample, both methods and the cause; nothing is changed yet
    address = reverse("change-request", args=[row.submission.number])
    form = page.get(address, {"also": "OG-8", "samples": row.samples[0], "because": rich.run.number})
    text = form.content.decode()
    assert row.samples[0] in text
    assert "above what AR-8 can tell" in text
    assert row.submission.requests.count() == 1


def test_what_was_asked_for_is_proposed_no_more_and_waits_at_preparation(
    lab: Laboratory, rich: Evaluation, as_role: AsRole
) -> None:
    models.Client.objects.update(ore_grade_consent="A. Roth, 3 March 2026")
    [row] = richer_than_allowed(rich)
    page, address = as_role("analyst"), reverse("change-request", args=[row.submission.number])
    assert "agreed to it for good (A. Roth, 3 March 2026)" in words(page, rich.run)
    proposed = {"also": "OG-8", "samples": row.samples[0], "because": rich.run.number}
    initial = page.get(address, proposed).context["form"]
    assert initial["agreed_with"].value() == "A. Roth, 3 March 2026"
    posted = {
        "seen_version": "1", "methods": [lab.method.pk], "basis": "as received", "keeps_own": "keep",
        "numbers": row.samples[0], "own_methods": initial["own_methods"].value(),
        "agreed_with": initial["agreed_with"].value(), "reason": initial["reason"].value(), "change": "1",
    }  # fmt: skip
    assert page.post(address, posted).status_code == 302
    assert richer_than_allowed(rich) == []
    assert [sample.number for sample in samples_to_begin("OG-8", lab.clock)] == row.samples
