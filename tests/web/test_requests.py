"""A request is changed on its page: seen beside what stands, accepted, entered; and holding times are entered."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from labresults.actions.delivery import receive_samples
from labresults.models import HoldingTime, Matrix, Submission
from labresults.readers.delivery import DeliveredSample
from tests.builders import Laboratory, a_method, a_submission

AsRole = Callable[[str], Client]


@pytest.fixture
def asked(lab: Laboratory) -> Submission:
    a_method(lab.people["quality manager"], "AR-8")
    return a_submission(lab)


def sent(lab: Laboratory, submission: Submission, **differing: object) -> dict[str, object]:
    """The form as the page shows it, with what is typed into it."""
    return {
        "seen_version": submission.requests.latest("version").version,
        "methods": [lab.method.pk],
        "basis": "as received",
        "limit_set": "",
        "due_on": "2026-11-25",
        "keeps_own": "keep",
        "numbers": "",
        "own_basis": "",
        "own_limits": "",
        "agreed_with": "A. Roth",
        "reason": "by telephone",
    } | differing


def page_of(submission: Submission) -> str:
    return reverse("change-request", args=[submission.number])


def test_the_page_shows_what_stands(lab: Laboratory, asked: Submission, as_role: AsRole) -> None:
    answer = as_role("reception").get(page_of(asked))
    form = answer.context["form"]
    assert form["methods"].initial == [lab.method.pk]
    assert form["basis"].initial == "as received"
    assert page_of(asked) in as_role("reception").get(reverse("submission", args=[asked.number])).content.decode()


def test_nothing_is_changed_before_it_was_seen_beside_what_stands(
    lab: Laboratory, asked: Submission, as_role: AsRole
) -> None:
    second = asked.samples.get(ordinal=2).number
    other = a_method(lab.people["quality manager"], "AR-9").method.pk
    typed = sent(lab, asked, basis="dry basis", due_on="", numbers=second, own_methods=[other], look="look")
    answer = as_role("reception").post(page_of(asked), typed)
    lines = [(line.what, line.before, line.after) for line in answer.context["lines"] if line.is_changed]
    assert lines == [
        ("reported on", "as received", "dry basis"),
        ("due", "2026-11-25", "2026-11-26"),  # AR-9 is new: seven working days from today, Tuesday 17 November
        (second, "as all", "AR-9"),
    ]
    assert asked.requests.count() == 1


def test_what_was_seen_is_entered_as_a_new_version(lab: Laboratory, asked: Submission, as_role: AsRole) -> None:
    numbers = list(asked.samples.order_by("ordinal").values_list("number", flat=True))[:2]
    typed = sent(lab, asked, numbers="\n".join(numbers), own_basis="dry basis", change="change")
    answer = as_role("reception").post(page_of(asked), typed)
    assert answer.url == reverse("submission", args=[asked.number])
    newest = asked.requests.latest("version")
    assert (newest.version, newest.basis, newest.agreed_with) == (2, "as received", "A. Roth")
    terms = newest.terms.order_by("sample")
    assert [(row.sample.number, row.basis) for row in terms] == [(number, "dry basis") for number in numbers]


def test_a_concern_is_shown_and_accepted_here_too(lab: Laboratory, as_role: AsRole) -> None:
    a_method(lab.people["quality manager"], "AR-8")
    submission = receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, methods=[lab.method],
        rows=[DeliveredSample(1, "a", "soil", "0.5")],
    )  # fmt: skip
    both = [lab.method.pk, lab.method.pk + 1]
    browser = as_role("reception")
    refused = browser.post(page_of(submission), sent(lab, submission, methods=both, change="change"))
    assert "together 0.9 g" in refused.content.decode()
    assert submission.requests.count() == 1

    reason = {"reason too little for the test portions": "all there is", "tell too little for the test portions": "on"}
    browser.post(page_of(submission), sent(lab, submission, methods=both, change="change") | reason)
    concern = submission.requests.latest("version").concerns.get()
    assert (concern.reason, concern.tell_client) == ("all there is", True)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"numbers": "KF26-99999"}, "has no sample KF26-99999"),
        ({"own_basis": "dry basis"}, "Say which samples ask for it"),
        ({"agreed_with": ""}, "This field is required"),
    ],
)
def test_what_cannot_be_is_said_at_its_field(
    typed: dict[str, str], says: str, lab: Laboratory, asked: Submission, as_role: AsRole
) -> None:
    answer = as_role("reception").post(page_of(asked), sent(lab, asked, change="change", **typed))
    assert says in answer.content.decode()
    assert asked.requests.count() == 1


def test_a_request_changed_by_another_meanwhile_is_not_overwritten(
    lab: Laboratory, asked: Submission, as_role: AsRole
) -> None:
    browser = as_role("reception")
    typed = sent(lab, asked, change="change")
    browser.post(page_of(asked), typed)
    answer = browser.post(page_of(asked), typed | {"basis": "dry basis"})
    assert "changed this request meanwhile" in answer.content.decode()
    assert asked.requests.latest("version").version == 2


def test_a_holding_time_is_entered_by_the_quality_manager(lab: Laboratory, as_role: AsRole) -> None:
    soil = Matrix.objects.get(name="soil")
    typed = {"matrix": soil.pk, "element": "Pb", "amount": "28", "unit": "24", "source": "a standard, table II"}
    refused = as_role("reception").post(reverse("holding-times"), typed)
    assert "may not register holding time" in refused.content.decode()
    assert not HoldingTime.objects.exists()
    as_role("quality manager").post(reverse("holding-times"), typed)
    as_role("quality manager").post(reverse("holding-times"), typed | {"amount": "36", "unit": "1"})
    words = as_role("auditor").get(reverse("holding-times")).content.decode()
    assert "<s>28 days</s>" in words
    assert "36 hours" in words
