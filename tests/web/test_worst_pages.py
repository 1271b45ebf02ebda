"""How often pages ask the database at their worst: everything that can be true of a submission is, nothing is kept."""

from collections.abc import Callable, Mapping

import pytest
from django.core.cache import cache
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from labresults.models import Result, Submission
from tests.builders import Laboratory, a_submission, an_evaluated_run
from tests.web.worst import certified, changed_since, the_worst_submission

AsRole = Callable[[str], Client]


def asked(browser: Client, address: str) -> int:
    """How many queries a page makes right after the start of the program."""
    cache.clear()
    with CaptureQueriesContext(connection) as queries:
        assert browser.get(address).status_code == 200
    return len(queries)


@pytest.fixture
def worst(lab: Laboratory) -> Submission:
    """A client with earlier samples, and a submission of which everything is true at once."""
    an_evaluated_run(lab, a_submission(lab, 6, names=[f"earlier {place}" for place in range(6)]))
    return the_worst_submission(lab)


def result_of(submission: Submission) -> Result:
    sample = submission.samples.get(ordinal=1)
    return Result.objects.filter(sample=sample, element="Pb", is_candidate=True).latest("pk")


def beyond(browser: Client, bounds: Mapping[str, tuple[str, int]]) -> dict[str, int]:
    """Pages that ask more often than they may, with how often."""
    counts = {page: asked(browser, address) for page, (address, _) in bounds.items()}
    return {page: count for page, count in counts.items() if count > bounds[page][1]}


def test_the_way_back_and_the_pages_of_a_sample_ask_seldom(lab: Laboratory, worst: Submission, as_role: AsRole) -> None:
    browser, sample, result = as_role("reviewer"), worst.samples.get(ordinal=1), result_of(worst)
    waiting = {
        "trace": (reverse("trace", args=[result.pk]), 30),
        "sample": (reverse("sample", args=[sample.number]), 26),
        "submission": (reverse("submission", args=[worst.number]), 24),
        "sets": (reverse("sample-sets", args=[worst.number]), 28),
        "derived": (reverse("derived-of-sample", args=[sample.number]), 22),
    }
    assert beyond(browser, waiting) == {}
    # and when it is certified by rules of its own for a method
    certificate = certified(lab, worst)
    line = certificate.lines.get(sample=sample, result__element="Pb")
    place = reverse("printed-trace", args=[certificate.number, 1]) + f"?of={sample.number}&column={line.column}"
    printed = {
        "printed": (place, 30),
        "sample": (reverse("sample", args=[sample.number]), 26),
        "JSON": (reverse("trace-file", args=[line.result_id, "json"]), 29),
        "PROV": (reverse("trace-file", args=[line.result_id, "prov.json"]), 29),
        "PDF": (reverse("trace-file", args=[line.result_id, "pdf"]), 30),
        "certificate": (reverse("certificate", args=[certificate.number, 1]), 15),
    }
    assert beyond(browser, printed) == {}


def test_review_and_amendment_ask_seldom(lab: Laboratory, worst: Submission, as_role: AsRole) -> None:
    """Beyond the 30 of other pages: rows that many results share are asked for once each, and not joined to each."""
    browser, review = as_role("reviewer"), reverse("review", args=[worst.number])
    waiting = {"review": (review, 36), "evidence": (f"{review}?cell={result_of(worst).pk}&alone=1", 34)}
    before = beyond(browser, waiting)
    certificate = certified(lab, worst)
    changed_since(lab, worst)
    changes = {"changes": (reverse("amendment-changes", args=[certificate.number, 1]), 40)}
    assert before | beyond(browser, changes) == {}
