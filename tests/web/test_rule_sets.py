"""Pages of the reporting rules: what is typed is printed at once, and saved as the next version."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from labresults.terms import Basis
from reports.actions.rule_sets import save_rule_set
from reports.models import RuleSetVersion
from reports.queries.rule_drafts import typed
from reports.rules.ruleset import RuleSet
from tests.builders import Laboratory, a_certificate, a_submission, an_evaluated_run, approved

AsRole = Callable[[str], Client]
TYPED = {key: value for key, value in typed(RuleSet("R2", 1)).items() if value not in (None, False)}


def test_strings_follow_what_is_typed(lab: Laboratory, as_role: AsRole) -> None:
    browser = as_role("quality manager")
    answer = browser.post(reverse("rule-strings", args=["R2"]), TYPED | {"figures": 2, "words_not_detected": "n.d."})
    assert "n.d." in answer.content.decode()
    assert "4.1<" in answer.content.decode()
    answer = browser.post(reverse("rule-strings", args=["R2"]), TYPED | {"figures_by_size": "ten: 3"})
    assert "no number" in answer.content.decode()
    assert not RuleSetVersion.objects.filter(version=2).exists()


@pytest.mark.parametrize(
    ("setting", "entered", "says"),
    [
        ("figures_by_size", "10: 99999999999", "“99999999999”: give a whole number from 1 to 12."),
        ("figures_by_size", "10: 2.7", "“2.7”: give a whole number from 1 to 12."),
        ("figures_by_size", "10: 0", "“0”: give a whole number from 1 to 12."),
        ("finest_decimals", "mg/kg: 1.5", "“1.5”: give a whole number from 0 to 12."),
        ("finest_decimals", "mg/kg: 99999999", "“99999999”: give a whole number from 0 to 12."),
        ("forms", "Al: Al2SiO5\nSi: Al2SiO5", "both printed as Al2SiO5"),
    ],
)
def test_what_cannot_be_printed_is_said_beside_the_strings(
    setting: str, entered: str, says: str, lab: Laboratory, as_role: AsRole
) -> None:
    answer = as_role("quality manager").post(reverse("rule-strings", args=["R2"]), TYPED | {setting: entered})
    assert (answer.status_code, says in answer.content.decode()) == (200, True)


@pytest.mark.parametrize(
    ("of_rules", "says"),
    [
        ({"basis": Basis.DRY}, "is as received, and odd v1 prints results on dry basis only"),
        ({"forms": (("Cu", "CuPbO2"), ("Pb", "CuPbO2")), "edition": 1}, "Cu and Pb by AR-7 are both printed as CuPbO2"),
    ],
)
def test_rules_that_cannot_be_followed_are_a_refusal_in_words(
    of_rules: dict[str, object], says: str, lab: Laboratory, as_role: AsRole
) -> None:
    # given results as received, and rules that they cannot be printed by
    rules = RuleSet("odd", 1, **of_rules)  # type: ignore[arg-type]
    odd = save_rule_set(by=lab.people["quality manager"], at=lab.later(), rule_set=rules)
    submission = a_submission(lab)
    an_evaluated_run(lab, submission)
    approved(lab, submission)
    browser = as_role("issuer")
    # then every page that would compose the certificate says so
    page = browser.post(reverse("certify", args=[submission.number]), {"rule_set": odd.pk}, follow=True)
    assert says in page.content.decode()
    page = browser.get(reverse("certificate-preview", args=[submission.number]), {"rule_set": odd.pk})
    assert (page.status_code, says in page.content.decode()) == (409, True)
    a_certificate(lab, submission, draw=False)
    page = browser.get(reverse("amendment-changes", args=["C26-0001", 1]), {"rule_set": odd.pk})
    assert says in page.content.decode()


def test_the_next_version_is_saved(lab: Laboratory, as_role: AsRole) -> None:
    as_role("quality manager").post(reverse("rule-set", args=["R2"]), TYPED | {"figures": 4, "qualifiers": "EPA"})
    rules = RuleSet.from_json(RuleSetVersion.objects.get(name="R2", version=2).specification)
    assert (rules.figures, len(rules.codes)) == (4, 4)


def test_value_rule_and_string_stand_side_by_side(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab)
    an_evaluated_run(lab, submission)
    page = as_role("issuer").get(reverse("printing", args=[submission.number]), {"other": "R2"}).content.decode()
    assert "three figures" in page
    assert "R2 v1" in page
