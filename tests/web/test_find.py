"""The box at the top: a number leads straight to its page, words to a list."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from labresults.models import PreparationBatch, Run
from labresults.models import TestPortion as Portion
from tests.builders import Laboratory, a_certificate, a_submission, an_evaluated_run, approved

AsRole = Callable[[str], Client]


@pytest.fixture
def found(lab: Laboratory) -> dict[str, tuple[str, str]]:
    """What is asked, and the address that it leads to, by kind."""
    submission = a_submission(lab, 1, names=["NRD014 / 112"])
    an_evaluated_run(lab, submission)
    approved(lab, submission)
    certificate = a_certificate(lab, submission, draw=False)
    sample, batch = submission.samples.get(), PreparationBatch.objects.get()
    tube = Portion.objects.get(role="laboratory duplicate")
    issue = (certificate.number, certificate.issue)
    return {
        "sample": (sample.number, reverse("sample", args=[sample.number])),
        "small letters": (sample.number.lower(), reverse("sample", args=[sample.number])),
        "spaces around": (f" {submission.number} ", reverse("submission", args=[submission.number])),
        "batch": (batch.number, reverse("batch", args=[batch.number])),
        "tube": (tube.label, reverse("batch", args=[batch.number])),
        "run": (Run.objects.get().number, reverse("run", args=[Run.objects.get().number])),
        "lot": ("L-2200", reverse("lot", args=["L-2200"])),
        "method": ("AR-7", reverse("method", args=["AR-7"])),
        "equipment": ("B2", reverse("equipment-item", args=["B2"])),
        "certificate": (certificate.number, reverse("certificate", args=issue)),
        "check code": (certificate.check_code, reverse("certificate", args=issue)),
    }


def test_a_number_leads_to_its_page(found: dict[str, tuple[str, str]], as_role: AsRole) -> None:
    browser = as_role("analyst")
    answers = {kind: browser.get(reverse("find"), {"q": asked}) for kind, (asked, _) in found.items()}
    assert {kind: answer.headers.get("Location") for kind, answer in answers.items()} == {
        kind: address for kind, (_, address) in found.items()
    }


def test_a_clients_own_words_lead_to_a_list(found: dict[str, tuple[str, str]], as_role: AsRole) -> None:
    answer = as_role("analyst").get(reverse("find"), {"q": "NRD014 / 1"})
    assert [thing.number for thing in answer.context["found"]] == [found["sample"][0]]


def test_nothing_found_says_so(lab: Laboratory, as_role: AsRole) -> None:
    answer = as_role("analyst").get(reverse("find"), {"q": "<b>nowhere</b>"})
    assert "Nothing holds “&lt;b&gt;nowhere&lt;/b&gt;”." in answer.content.decode()
