"""Numbers that people type and paste: what can be read in two ways is asked, never guessed."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from labresults.models import DerivedDefinition, Limit, SampleSetMember, Scope
from labresults.web.forms.numbers import read_number
from tests.builders import Laboratory, a_grade, a_submission
from tests.web.test_derived import sent as a_definition

AsRole = Callable[[str], Client]
TWO_WAYS = "“1,250” can be read in two ways: write 1250 or 1.250."


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("250", 250.0), ("0.05", 0.05), ("0,05", 0.05), ("1 250", 1250.0), ("1\N{NO-BREAK SPACE}250,5", 1250.5),
        ("1.250", 1.25),  # a point parts no thousands here
        ("0,125", 0.125), ("1250,125", 1250.125),  # no thousands are written so
        ("1,25", 1.25), ("-2,5", -2.5), ("1e3", 1000.0),
    ],
)  # fmt: skip
def test_what_can_be_read_in_one_way_only(text: str, number: float) -> None:
    assert read_number(text) == number


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("1,250", "write 1250 or 1.250"),
        ("-12,500", "write -12500 or -12.500"),
        ("1,250,000", "more than one comma: write 1250000"),
        ("1,250.5", "is no number"),
        ("1.250,5", "is no number"),
        ("", "is no number"),
        ("about 3", "is no number"),
    ],
)
def test_what_cannot_says_how_to_write_it(text: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        read_number(text)


def test_limits_are_asked_about(lab: Laboratory, as_role: AsRole) -> None:
    form = {"name": "consent", "edition": "2026", "source": "invented", "basis": "as received", "decision_rule": ""}
    browser, address = as_role("quality manager"), reverse("limit-sets")
    page = browser.post(address, form | {"limits": "Cu; 40; mg/kg\nPb; 1,250; mg/kg"}, follow=True).content.decode()
    assert f"Row 2: {TWO_WAYS}" in page
    assert not Limit.objects.exists()
    browser.post(address, form | {"limits": "Cu; 40; mg/kg\nPb; 1 250; mg/kg"})
    assert dict(Limit.objects.values_list("element", "value")) == {"Cu": 40.0, "Pb": 1250.0}


def test_a_scope_is_asked_about(lab: Laboratory, as_role: AsRole) -> None:
    form = {"rows": "Pb; soil; 5; 1,250; mg/kg", "valid_from": "2026-01-01"}
    page = as_role("quality manager").post(reverse("scope", args=[lab.method.code]), form, follow=True).content.decode()
    assert f"Row 1: {TWO_WAYS}" in page
    assert not Scope.objects.exists()


def test_masses_of_a_set_are_asked_about(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab, names=["a", "b"], derived=[a_grade(lab)])
    form = {"name": "upper", "members": "a; 1,250\nb; 2"}
    page = as_role("reception").post(reverse("sample-sets", args=[submission.number]), form, follow=True)
    assert f"Line 1: {TWO_WAYS}" in page.content.decode()
    assert not SampleSetMember.objects.exists()


def test_a_factor_is_asked_about(lab: Laboratory, as_role: AsRole) -> None:
    form = a_definition(**{"term-factor": ["", "1,250", ""]})
    page = as_role("quality manager").post(reverse("derived-results"), form, follow=True).content.decode()
    assert f"Term 2, factor: {TWO_WAYS}" in page
    assert not DerivedDefinition.objects.exists()
