"""Pages of the reporting rules: what is typed is printed at once, and saved as the next version."""

from collections.abc import Callable

from django.test import Client
from django.urls import reverse

from reports.models import RuleSetVersion
from reports.queries.rule_drafts import typed
from reports.rules.ruleset import RuleSet
from tests.builders import Laboratory, a_submission, an_evaluated_run

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
