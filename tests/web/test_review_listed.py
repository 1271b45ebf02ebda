"""A review of very many: so many that ask are listed at once, the others come after them, or from the matrix."""

import re
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from labresults.actions.evaluation import accept_control, evaluate_run
from labresults.models import ControlOutcome, Submission
from labresults.queries import review_pages
from labresults.queries.results import waiting_for_review
from labresults.queries.review_pages import review_page
from tests.builders import (
    PASSWORD,
    Laboratory,
    a_reading_file,
    a_run,
    a_submission,
    a_weighed_batch,
    an_imported_file,
)

AsRole = Callable[[str], Client]

SPACE = "\N{NO-BREAK SPACE}"


@pytest.fixture
def asking(lab: Laboratory, monkeypatch: pytest.MonkeyPatch) -> Submission:
    """Five samples of which copper asks, since their method blank was accepted by name; two are listed at once."""
    monkeypatch.setattr(review_pages, "MOST_LISTED", 2)
    monkeypatch.setattr(review_pages, "PART", 3)
    submission = a_submission(lab, 5)
    batch = a_weighed_batch(lab, submission)
    blank = batch.portions.get(role="method blank").label
    run = a_run(lab, batch)
    an_imported_file(lab, run, a_reading_file(run, contents={blank: {"Cu": 60.0}}))
    evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    outcomes = list(ControlOutcome.objects.filter(verdict="outside"))
    accept_control(by=lab.people["analyst"], at=lab.later(), reason="the tube was dirty", outcomes=outcomes)
    return submission


def listed(page: str) -> list[str]:
    return re.findall(r'<li data-row="(\d+)" data-asks', page)


def test_so_many_are_listed_and_the_page_says_how_many_more(asking: Submission, as_role: AsRole) -> None:
    page = as_role("reviewer").get(reverse("review", args=[asking.number])).content.decode().replace(SPACE, " ")
    assert len(listed(page)) == 2
    assert "5 results ask for a look" in page
    assert "3 results more ask" in page


def test_what_is_not_listed_is_accepted_in_the_matrix(asking: Submission, as_role: AsRole) -> None:
    browser, address = as_role("reviewer"), reverse("review", args=[asking.number])
    # given the last of the five, which stands on the second part and not in the list
    last = max(review_page(asking.number).asks)
    page = browser.get(address, {"part": 2}).content.decode()
    assert f'data-waits="{last}"' in page
    assert str(last) not in listed(page)
    # when it alone is accepted and signed
    seen = re.findall(r'name="seen" value="(\w+)"', page)[0]
    given = {"seen": seen, "password": PASSWORD, "meaning": "Reviewed and approved", f"d-{last}": "accept"}
    browser.post(reverse("approve", args=[asking.number]), given)
    # then it waits no more, nor does what asked for nothing; the other four do
    assert len(waiting_for_review(asking)) == 4
    assert last not in waiting_for_review(asking)


def test_a_cell_leads_to_its_part(asking: Submission, as_role: AsRole) -> None:
    last = max(review_page(asking.number).asks)
    page = as_role("reviewer").get(reverse("review", args=[asking.number]), {"cell": last}).content.decode()
    assert f'data-waits="{last}"' in page
    assert "KF26-00004" in page
    assert "focus" in re.findall(rf'data-waits="{last}"[^>]*class="([^"]*)"', page)[0]
