"""What is asked for at the counter: for all, by matrix, by sample; remembered, copied, reviewed before logging."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from labresults.actions.limits import register_limits
from labresults.actions.samples import register_matrices
from labresults.models import (
    LimitSet,
    Method,
    RequestConcern,
    RequestedMethod,
    RequestedTerms,
    Submission,
    UsualRequest,
)
from tests.builders import NOW, Laboratory, a_method, a_submission
from tests.web.counter import form, grid, sent_again

AsRole = Callable[[str], Client]


@pytest.fixture
def other_method(lab: Laboratory) -> Method:
    return a_method(lab.people["quality manager"], "AR-8").method


@pytest.fixture
def limits(lab: Laboratory) -> LimitSet:
    return register_limits(
        by=lab.people["quality manager"], at=NOW, name="Soil guideline", edition="2024", source="invented",
        limits=[("Pb", 50.0, "mg/kg")],
    )  # fmt: skip


def test_methods_basis_and_limits_are_put_into_the_rows_of_one_matrix(
    lab: Laboratory, other_method: Method, limits: LimitSet, as_role: AsRole
) -> None:
    browser = as_role("reception")
    rows = grid("a", "b", "c") | {"matrix": ["soil", "rock", "soil"]}
    of_soil = {
        "of_matrix": "soil", "of_matrix_methods": [other_method.pk], "of_matrix_basis": "dry basis",
        "of_matrix_limits": str(limits),
    }  # fmt: skip
    put = browser.post(reverse("reception"), form(lab, of_matrix_put="", **of_soil, **rows))
    assert [(row["methods"], row["basis"], row["limits"]) for row in put.context["grid"].rows] == [
        ("AR-8", "dry basis", "Soil guideline, 2024"), ("", "", ""), ("AR-8", "dry basis", "Soil guideline, 2024"),
    ]  # fmt: skip
    assert [(own.matrix, own.rows, own.methods) for own in put.context["by_matrix"]] == [
        ("soil", 2, "AR-8"), ("rock", 1, ""),
    ]  # fmt: skip
    browser.post(reverse("reception"), form(lab, log="", **sent_again(put)))
    asked = RequestedMethod.objects.order_by("pk").values_list("method__code", "sample__client_identification")
    assert set(asked) == {("AR-7", None), ("AR-8", "a"), ("AR-8", "c")}
    assert set(RequestedTerms.objects.values_list("sample__client_identification", "basis", "limit_set")) == {
        ("a", "dry basis", limits.pk), ("c", "dry basis", limits.pk),
    }  # fmt: skip


def test_a_usual_request_is_remembered_and_filled_in_when_the_client_is_chosen(
    lab: Laboratory, other_method: Method, limits: LimitSet, as_role: AsRole
) -> None:
    browser = as_role("reception")
    asked = {"methods": [lab.method.pk, other_method.pk], "basis": "dry basis", "limit_set": limits.pk}
    kept = browser.post(reverse("reception"), form(lab, remember="", **asked, **grid("a")))
    assert UsualRequest.objects.get().client == lab.client
    assert len(kept.context["grid"].rows) == 1
    assert not Submission.objects.exists()
    filled = browser.get(reverse("reception-asked"), {"client": lab.client.pk}).context["form"]
    assert filled["methods"].value() == [str(lab.method.pk), str(other_method.pk)]
    assert (filled["basis"].value(), filled["limit_set"].value()) == ("dry basis", str(limits.pk))
    by_button = browser.post(reverse("reception"), form(lab, usual="", methods=[], **grid("a")))
    assert by_button.context["form"]["methods"].value() == [str(lab.method.pk), str(other_method.pk)]
    assert len(by_button.context["grid"].rows) == 1


def test_what_was_chosen_already_is_not_overwritten_by_the_usual_request(
    lab: Laboratory, other_method: Method, as_role: AsRole
) -> None:
    browser = as_role("reception")
    browser.post(reverse("reception"), form(lab, remember=""))
    chosen = {"client": lab.client.pk, "methods": [other_method.pk], "basis": "dry basis"}
    shown = browser.get(reverse("reception-asked"), chosen).context["form"]
    assert (shown["methods"].value(), shown["basis"].value()) == ([str(other_method.pk)], "dry basis")


def test_what_is_asked_for_is_copied_from_an_earlier_submission(
    lab: Laboratory, other_method: Method, as_role: AsRole
) -> None:
    browser = as_role("reception")
    earlier = a_submission(lab, 1)
    given = form(lab, copy="", copy_from=f" {earlier.number} ", methods=[other_method.pk], **grid("a"))
    copied = browser.post(reverse("reception"), given)
    assert copied.context["form"]["methods"].value() == [str(lab.method.pk)]
    unknown = browser.post(reverse("reception"), form(lab, copy="", copy_from="S26-9999", **grid("a")))
    assert "There is no submission “S26-9999”." in unknown.content.decode()
    assert len(unknown.context["grid"].rows) == 1


def test_only_who_may_receive_may_remember(lab: Laboratory, as_role: AsRole) -> None:
    assert as_role("analyst").post(reverse("reception"), form(lab, remember="")).status_code == 403
    assert not UsualRequest.objects.exists()


@pytest.fixture
def ash(lab: Laboratory) -> str:
    """A matrix that the method does not serve."""
    register_matrices(by=lab.people["quality manager"], at=NOW, area="geochemistry", names=["ash"])
    return "ash"


def test_a_concern_is_shown_before_logging_and_needs_a_reason(lab: Laboratory, ash: str, as_role: AsRole) -> None:
    browser = as_role("reception")
    rows = grid("a", "b", "c", delivered_g=["30", "0.1", "30"]) | {"matrix": ["soil", "soil", ash]}
    checked = browser.post(reverse("reception"), form(lab, check="", **rows))
    kinds = {kind.what: kind for kind in checked.context["kinds"]}
    assert set(kinds) == {"too little for the test portions", "the method does not serve the matrix"}
    assert kinds["too little for the test portions"].ones[0].found.row == 2
    assert "AR-7 is validated for rock, soil; this sample is ash." in checked.content.decode()
    refused = browser.post(reverse("reception"), form(lab, log="", **rows))
    assert not Submission.objects.exists()
    assert "to mend or to accept with a reason" in refused.content.decode()
    reasons = {
        kinds["too little for the test portions"].said.reason_name: "client has no more",
        kinds["too little for the test portions"].said.tell_name: "on",
        kinds["the method does not serve the matrix"].ones[0].said.reason_name: "as agreed by telephone",
    }
    browser.post(reverse("reception"), form(lab, log="", **rows, **reasons))
    kept = RequestConcern.objects.values_list("sample__client_identification", "reason", "tell_client")
    assert set(kept) == {("b", "client has no more", True), ("c", "as agreed by telephone", False)}


def test_one_reason_holds_for_all_concerns_of_a_kind_but_those_with_their_own(
    lab: Laboratory, ash: str, as_role: AsRole
) -> None:
    browser = as_role("reception")
    names = [f"a {n}" for n in range(80)]
    rows = grid(*names, matrix=ash)
    kind = browser.post(reverse("reception"), form(lab, check="", **rows)).context["kinds"][0]
    assert (kind.count, len(kind.ones), kind.others) == (80, 50, 30)
    reasons = {kind.said.reason_name: "a trial", kind.ones[0].said.reason_name: "the client insists"}
    browser.post(reverse("reception"), form(lab, log="", **rows, **reasons))
    kept = list(RequestConcern.objects.order_by("pk").values_list("reason", flat=True))
    assert kept == ["the client insists", *["a trial"] * 79]


def test_what_was_typed_as_a_reason_stays_when_something_else_is_missing(
    lab: Laboratory, ash: str, as_role: AsRole
) -> None:
    browser = as_role("reception")
    rows = grid("a", matrix=ash)
    kind = browser.post(reverse("reception"), form(lab, check="", **rows)).context["kinds"][0]
    answer = browser.post(
        reverse("reception"), form(lab, log="", due_on="soon", **rows, **{kind.said.reason_name: "a trial"})
    )
    assert answer.context["kinds"][0].said.reason == "a trial"
    assert not Submission.objects.exists()


def test_enough_for_one_measurement_and_none_for_a_repeat_is_a_note(lab: Laboratory, as_role: AsRole) -> None:
    browser = as_role("reception")
    rows = grid("a", delivered_g=["0.6"])
    checked = browser.post(reverse("reception"), form(lab, check="", **rows))
    assert "Little material" in checked.content.decode()
    assert checked.context["kinds"] == []
    assert browser.post(reverse("reception"), form(lab, log="", **rows)).status_code == 302
