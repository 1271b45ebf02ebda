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
        "trace": (reverse("trace", args=[result.pk]), 28),
        "sample": (reverse("sample", args=[sample.number]), 24),
        "submission": (reverse("submission", args=[worst.number]), 22),
        "sets": (reverse("sample-sets", args=[worst.number]), 26),
        "derived": (reverse("derived-of-sample", args=[sample.number]), 20),
    }
    assert beyond(browser, waiting) == {}
    # and when it is certified by rules of its own for a method
    certificate = certified(lab, worst)
    line = certificate.lines.get(sample=sample, result__element="Pb")
    place = reverse("printed-trace", args=[certificate.number, 1]) + f"?of={sample.number}&column={line.column}"
    on_dry_basis = certificate.lines.get(sample=sample, column="dry")
    mean = certificate.lines.get(sample_set__isnull=False)
    printed = {
        "printed": (place, 28),
        "sample": (reverse("sample", args=[sample.number]), 24),
        "JSON": (reverse("trace-file", args=[line.result_id, "json"]), 28),
        "PROV": (reverse("trace-file", args=[line.result_id, "prov.json"]), 28),
        "PDF": (reverse("trace-file", args=[line.result_id, "pdf"]), 29),
        "certificate": (reverse("certificate", args=[certificate.number, 1]), 15),
        "computed": (reverse("derived-trace", args=[on_dry_basis.pk]), 17),
        "mean": (reverse("derived-trace", args=[mean.pk]), 17),
        "computed, PDF": (reverse("derived-file", args=[on_dry_basis.pk, "pdf"]), 17),
    }
    assert beyond(browser, printed) == {}
    ways_back = [bound for page, (_, bound) in (waiting | printed).items() if page not in {"sample", "certificate"}]
    assert max(ways_back) < 30, "of a printed number, with nothing kept"


def test_review_and_amendment_ask_seldom(lab: Laboratory, worst: Submission, as_role: AsRole) -> None:
    """Two go beyond the 30 of others: what many results share is asked for once each, and not joined to each."""
    browser, review = as_role("reviewer"), reverse("review", args=[worst.number])
    waiting = {"review": (review, 33), "evidence": (f"{review}?cell={result_of(worst).pk}&alone=1", 28)}
    before = beyond(browser, waiting)
    certificate = certified(lab, worst)
    changed_since(lab, worst)
    changes = {"changes": (reverse("amendment-changes", args=[certificate.number, 1]), 38)}
    assert before | beyond(browser, changes) == {}
