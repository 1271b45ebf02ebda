"""Doubts that only two measurements together show: who approves either of them must look first."""

from collections.abc import Mapping
from datetime import date
from typing import Any

import pytest
from pytest_django import DjangoAssertNumQueries

from labresults.actions.batches import begin_batch
from labresults.actions.delivery import receive_samples
from labresults.actions.evaluation import evaluate_run
from labresults.actions.plausibility import register_plausibility
from labresults.actions.review import approve_results
from labresults.actions.weighings import Weighed, record_weighings
from labresults.acts import WrongState
from labresults.models import PreparationBatch, Result, Review, Run, Submission
from labresults.queries.results import waiting_for_review
from labresults.queries.review_evidence import evidence_of
from labresults.queries.review_pages import ReviewPage, review_page
from labresults.readers.delivery import DeliveredSample
from labresults.terms import PlausibilityKind, Repeat, Role
from tests.builders import (
    PASSWORD,
    Laboratory,
    a_method,
    a_reading_file,
    a_run,
    a_submission,
    a_weighed_batch,
    an_evaluated_run,
    an_imported_file,
)

# ---- dissolved above total, from either bottle


@pytest.fixture
def bottles(lab: Laboratory) -> Submission:
    """Two bottles of one well: 300 mg/kg of copper dissolved, and 100 in all; the same lead."""
    rows = [
        DeliveredSample(1, "well 4 dissolved", "soil", "30", sampled="2026-11-10", field_filtered="yes"),
        DeliveredSample(2, "well 4 total", "soil", "30", sampled="2026-11-10", field_filtered="no"),
    ]
    submission = receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, rows=rows, methods=[lab.method]
    )
    contents = {"KF26-00001": {"Cu": 300.0, "Pb": 35.0}, "KF26-00002": {"Cu": 100.0, "Pb": 35.0}}
    an_evaluated_run(lab, submission, contents=contents)
    register_plausibility(
        by=lab.people["quality manager"], at=lab.later(), name="dissolved and total", source="invented",
        kind=PlausibilityKind.DISSOLVED_AND_TOTAL,
    )  # fmt: skip
    return submission


@pytest.mark.parametrize("bottle", ["dissolved", "total"])
def test_either_bottle_alone_asks_on_the_page_beside_it_and_in_the_act(
    bottle: str, lab: Laboratory, bottles: Submission, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    # given the page of both bottles
    page = review_page(bottles.number)
    assert [(look.result.sample.client_identification, look.result.element_id) for look in page.looks] == [
        ("well 4 dissolved", "Cu"), ("well 4 total", "Cu"),
    ]  # fmt: skip
    # when one of them is looked at, or approved, alone
    of_one = [row for row in page.waiting if row.sample.client_identification.endswith(bottle)]
    copper = next(row for row in of_one if row.element_id == "Cu")
    # then its evidence says what the page says, once
    with django_assert_max_num_queries(27):
        beside = evidence_of(bottles.number, copper.pk)
    assert [look.why for look in beside.looks] == [look.why for look in page.looks if look.result.pk == copper.pk]
    with pytest.raises(WrongState, match=r"1 result asks for a look.*above the total"):
        approve(lab, of_one)
    assert approve(lab, of_one, looked_at=[copper.pk]).items.count() == 2


def approve(lab: Laboratory, rows: list[Result], **more: Any) -> Review:
    return approve_results(
        by=lab.people["reviewer"], at=lab.later(), results=[row.pk for row in rows], password=PASSWORD, **more
    )


# ---- two measurements of one thing


def prepared_again(lab: Laboratory, submission: Submission) -> PreparationBatch:
    """A second digestion of every sample, by the laboratory's version of the method: 0.5 g, to 50 mL."""
    batch = begin_batch(
        by=lab.people["preparer"], at=lab.later(), reason="digested twice", method_version=lab.version,
        samples=list(submission.samples.all()), caution_read=True, repeat=Repeat.RE_DIGEST,
    )  # fmt: skip
    rows = [
        Weighed(p.label, mass_g=None if p.role == Role.METHOD_BLANK else 0.5, volume_mL=50.0)
        for p in batch.portions.order_by("tube")
    ]
    record_weighings(by=lab.people["preparer"], at=lab.later(), batch=batch, balance=lab.balance, rows=rows)
    return batch


def read(lab: Laboratory, run: Run, content: bytes) -> None:
    an_imported_file(lab, run, content)
    evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)


def copper_of(page: ReviewPage) -> tuple[list[str], int]:
    return [look.why for look in page.looks if look.result.element_id == "Cu"], page.twice


def tripled(content: bytes, position: int) -> bytes:
    """The file, with three times the signal of copper at a position."""
    lines = []
    for line in content.decode().splitlines():
        number, label, name, *readings = line.split(",")
        if number == str(position) and name.startswith("Cu"):
            readings = [repr(float(each) * 3) for each in readings]
        lines.append(",".join([number, label, name, *readings]))
    return "\n".join(lines).encode()


def test_two_digestions_read_in_one_run_are_two_measurements(lab: Laboratory) -> None:
    # given a sample digested twice, both read in one run, the second with three times the copper
    submission = a_submission(lab, 1)
    run = a_run(lab, a_weighed_batch(lab, submission), prepared_again(lab, submission))
    first, second = run.positions.filter(portion__role=Role.SAMPLE).order_by("number")
    read(lab, run, tripled(a_reading_file(run), second.number))
    # then copper asks, and both elements were measured more than once
    whys, twice = copper_of(review_page(submission.number))
    assert whys == [
        f"Position {second.number} of the same run gave 361.1 mg/kg where this one gave 120 mg/kg: farther apart than"
        " both uncertainties allow."
    ]
    assert twice == 2
    assert first.number < second.number
    waiting = list(Result.objects.filter(pk__in=waiting_for_review(submission)))
    with pytest.raises(WrongState, match="1 result asks for a look"):
        approve(lab, waiting)


@pytest.mark.parametrize(
    ("copper", "changes", "gave"),
    [
        (600.0, {"unit": "%"}, "0.06 % (600 mg/kg)"),
        (120.0, {"unit": "%"}, ""),
        (600.0, {"reported_as": "CuO"}, "751.1 mg/kg CuO (600 mg/kg)"),  # CuO/Cu = 79.545/63.546 = 1.2518
        (120.0, {"reported_as": "CuO"}, ""),  # 150.2 mg/kg of oxide is no other content
    ],
)
def test_measurements_are_compared_whatever_unit_or_oxide_they_are_reported_in(
    copper: float, changes: Mapping[str, Any], gave: str, lab: Laboratory
) -> None:
    # given 120 mg/kg by one version of a method, and another measurement by the next one, which reports it otherwise
    submission = a_submission(lab, 1)
    an_evaluated_run(lab, submission)
    lab.version = a_method(lab.people["quality manager"], valid_from=date(2026, 2, 1), copper=dict(changes))
    run = a_run(lab, prepared_again(lab, submission))
    read(lab, run, a_reading_file(run, contents={"KF26-00001": {"Cu": copper, "Pb": 35.0}}))
    # then the one that stands asks where the contents differ, and only there
    looks, twice = copper_of(review_page(submission.number))
    assert looks == (
        [f"Run R26-0002 gave {gave} where this one gave 120 mg/kg: farther apart than both uncertainties allow."]
        if gave
        else []
    )
    assert twice == 2
