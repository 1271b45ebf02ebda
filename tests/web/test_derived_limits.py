"""Limits on what is computed, by the form, and on the pages that show them."""

import re
from collections.abc import Callable
from html import unescape

import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from labresults.actions.limits import LimitRow, register_limits
from labresults.models import Limit, LimitSet
from labresults.terms import DecisionRule
from tests.actions.derived_builders import measured
from tests.actions.test_derived_limits import compared
from tests.builders import Laboratory, a_derived

AsRole = Callable[[str], Client]
FORM = {"name": "consent", "edition": "2026", "source": "invented", "basis": "as received", "decision_rule": ""}
pytestmark = pytest.mark.django_db


def words(answer: HttpResponse) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", answer.content.decode())).split())


def entered(browser: Client, limits: str) -> str:
    return words(browser.post(reverse("limit-sets"), FORM | {"limits": limits}, follow=True))  # type: ignore[arg-type]


def test_a_code_stands_where_others_have_their_element(lab: Laboratory, as_role: AsRole) -> None:
    a_derived(lab)
    quality = as_role("quality manager")
    assert "Codes of computed results, each with its unit: metals mg/kg" in entered(quality, "")
    page = entered(quality, "Pb; 250; mg/kg\nmetals; 500; mg/kg; at least")
    assert "consent, 2026 can be compared with from now on." in page
    rows = Limit.objects.order_by("pk").values_list("element", "derived_code", "value", "side")
    assert list(rows) == [("Pb", None, 250.0, "at most"), (None, "metals", 500.0, "at least")]
    shown = quality.get(reverse("limit-set", args=[LimitSet.objects.get().pk])).content.decode()
    assert f'<a href="{reverse("derived-result", args=["metals"])}">metals</a>, computed' in shown


@pytest.mark.parametrize(
    ("limits", "says"),
    [
        ("sar; 9; mg/kg", "Row 1: there is no computed result sar; known are metals."),
        ("pb; 9; mg/kg", "Of an element write the symbol, which begins with a capital."),
        ("metals; 9; mg/L", "it is computed in mg/kg, and the limit is in “mg/L”. Give the limit in mg/kg."),
    ],
)
def test_what_cannot_be_says_how_to_write_it(limits: str, says: str, lab: Laboratory, as_role: AsRole) -> None:
    a_derived(lab)
    assert says in entered(as_role("quality manager"), limits)
    assert not LimitSet.objects.exists()


def test_the_preview_of_rules_shows_value_rule_and_string_of_what_is_computed(
    lab: Laboratory, as_role: AsRole, django_assert_max_num_queries: Callable[[int], object]
) -> None:
    # given 155.4 mg/kg against 155.2, by simple acceptance: three figures would print 155
    submission = measured(lab, a_derived(lab), contents={"KF26-00001": {"Cu": 120.4, "Pb": 35.0}})
    limits = register_limits(
        by=lab.people["quality manager"], at=lab.later(), name="consent", edition="2026", source="invented",
        limits=[LimitRow("", 155.2, "mg/kg", derived="metals")], decision_rule=DecisionRule.SIMPLE,
    )  # fmt: skip
    compared(lab, submission, limits)
    browser = as_role("issuer")
    with django_assert_max_num_queries(22):  # type: ignore[attr-defined]
        page = words(browser.get(reverse("printing", args=[submission.number]), {"other": "R2"}))  # type: ignore[arg-type]
    first, second, third = re.findall(r"Cu \+ Pb computed (.*?)(?:Pb AR|Cu AR|Cu \+ Pb|$)", page)
    assert re.search(r"one more figure, so that it agrees .*? 155\.4 mg/kg", first)
    assert "does not conform" in first
    assert re.search(r"155 mg/kg .* conforms", second)
    assert "does not conform" not in second + third.partition("Invented")[0]
