"""Rules of plausibility: entered as data, asked at Review; what was let go by name is counted once a year."""

from collections.abc import Callable

from django.test import Client
from django.urls import reverse

from labresults.actions.evaluation import accept_control
from labresults.actions.plausibility import register_plausibility
from labresults.models import ControlOutcome, PlausibilityRule
from labresults.queries.review_facts import facts_of
from labresults.terms import PlausibilityKind, Verdict
from tests.builders import Laboratory, a_submission, an_evaluated_run

AsRole = Callable[[str], Client]

RULE = {
    "name": "duplicates", "kind": "duplicates agree", "matrix": "", "elements": "Cu, Pb", "low": "", "high": "20",
    "source": "common practice, no source",
}  # fmt: skip


def test_a_rule_is_entered_replaced_and_ended(lab: Laboratory, as_role: AsRole) -> None:
    browser, address = as_role("quality manager"), reverse("plausibility")
    for changes, says in (
        ({"source": " "}, "This field is required"),
        ({"elements": "Cu, Xx"}, "Xx is no element here"),
        ({"kind": "ratio of two elements", "elements": "Cu"}, "A ratio is of two elements"),
        ({"low": "30"}, "must lie under the highest"),
    ):
        assert says in browser.post(address, RULE | changes, follow=True).content.decode()
    assert not PlausibilityRule.objects.exists()
    for changes in ({}, {"high": "10"}, {"ends": "on"}):
        browser.post(address, RULE | changes)
    page = browser.get(address).content.decode()
    assert page.count("replaced</span>") == 2
    assert page.count("ended</span>") == 1
    assert "Enter a rule" not in as_role("analyst").get(address).content.decode()


def test_what_does_not_fit_earlier_samples_asks_for_a_look(lab: Laboratory) -> None:
    # given six earlier samples of about 120 mg/kg, and a rule
    contents = {f"KF26-0000{n}": {"Cu": 110.0 + 4 * n, "Pb": 35.0} for n in range(1, 7)}
    an_evaluated_run(lab, a_submission(lab, 6), contents=contents)
    register_plausibility(
        by=lab.people["quality manager"], at=lab.later(), name="beside earlier", kind=PlausibilityKind.BESIDE_EARLIER,
        source="invented", high=5.0,
    )  # fmt: skip
    # when a sample of the same client and matrix holds seven times as much copper
    submission = a_submission(lab, names=["odd", "usual"])
    an_evaluated_run(lab, submission, contents={"KF26-00007": {"Cu": 900.0, "Pb": 35.0}})
    # then its copper asks, with the numbers, and nothing else does
    facts = facts_of(list(submission.samples.values_list("pk", flat=True)))
    asked = {
        (selection.result.sample.client_identification, element): look.why
        for (_, _, element), selection in facts.selections.items()
        for look in facts.looks(selection.result)
    }
    assert set(asked) == {("odd", "Cu")}
    assert "does not fit 6 earlier samples" in asked["odd", "Cu"]
    assert "Rule: beside earlier." in asked["odd", "Cu"]


def test_exceptions_of_a_year_are_counted_by_name(lab: Laboratory, as_role: AsRole) -> None:
    an_evaluated_run(lab, a_submission(lab, 1), factors={("CCV 1", "Pb"): 1.2})
    failed = list(ControlOutcome.objects.filter(verdict=Verdict.OUTSIDE))
    accept_control(by=lab.people["analyst"], at=lab.later(), reason="pump", outcomes=failed)
    browser = as_role("quality manager")
    page = browser.get(reverse("exceptions")).content.decode()
    assert "Analyst Person" in page
    assert f">{len(failed)}</td>" in page
    assert "Nothing was let go by name" in browser.get(reverse("exceptions"), {"year": "2025"}).content.decode()
