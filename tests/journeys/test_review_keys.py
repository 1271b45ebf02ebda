"""A review by keyboard in a real browser: cells, evidence, marks that stay until they are signed."""

from datetime import timedelta

import pytest
from playwright.sync_api import Browser, expect

from labresults.models import Review
from tests.builders import NOW, PASSWORD, Laboratory, a_submission, an_evaluated_run
from tests.journeys.desk import Desk, signed_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture(autouse=True)
def a_day_in_the_laboratorys_year(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages take the time from Django; the builders' people are authorised in this year."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW + timedelta(days=2))


def beside(desk: Desk, words: str) -> None:
    """The evidence shows this cell."""
    expect(desk.page.locator("#evidence h2")).to_have_text(words)


# Presses R in the very moment in which another cell's evidence stands on the page, as a quick reviewer may.
AT_ONCE = """(words) => new MutationObserver((_, watch) => {
  const heading = document.querySelector("#evidence h2");
  if (!heading || heading.textContent !== words) return;
  watch.disconnect();
  document.activeElement.dispatchEvent(new KeyboardEvent("keydown", { key: "r", bubbles: true }));
}).observe(document.body, { childList: true, subtree: true })"""


def test_a_key_is_heard_as_soon_as_the_evidence_is_seen_and_not_before(
    live_server: object, lab: Laboratory, chromium: Browser
) -> None:
    # given a review whose first cell's evidence is shown
    submission = a_submission(lab, 2)
    an_evaluated_run(lab, submission)
    with signed_in(chromium, live_server.url, "reviewer") as desk:  # type: ignore[attr-defined]
        desk.go(f"/review/{submission.number}")
        beside(desk, "Cu in KF26-00001")
        keys, marked = desk.page.keyboard, desk.page.locator("[data-marked]")
        expect(marked).to_be_attached()
        # when a key comes while the next cell's evidence is on its way, it decides nothing and says so
        held = desk.page.context
        held.route("**/review/**", lambda route: None)
        desk.page.locator(".matrix td a").first.focus()
        keys.press("ArrowRight")
        keys.press("r")
        expect(marked).to_contain_text("still on its way")
        expect(desk.page.locator("[data-why]")).to_be_hidden()
        # then in the moment in which the evidence stands there, the same key asks for the reason
        held.unroute("**/review/**")
        desk.page.evaluate(AT_ONCE, "Cu in KF26-00002")
        keys.press("ArrowLeft")
        keys.press("ArrowDown")
        beside(desk, "Cu in KF26-00002")
        expect(desk.page.locator("[data-why-what]")).to_have_text("it is refused")


def test_a_review_by_keyboard(live_server: object, lab: Laboratory, chromium: Browser) -> None:
    # given three samples, of which lead in all asks for a look: a verification failed and was not accepted
    submission = a_submission(lab, 3)
    an_evaluated_run(lab, submission, factors={("CCV 1", "Pb"): 1.2})
    with signed_in(chromium, live_server.url, "reviewer") as desk:  # type: ignore[attr-defined]
        desk.go(f"/review/{submission.number}")
        beside(desk, "Pb in KF26-00001")
        keys, summary = desk.page.keyboard, desk.page.locator("[data-summary]")
        expect(summary).to_have_text("3 approved, 3 that ask for a look wait on")
        # when the reviewer goes from cell to cell, the evidence follows
        desk.page.locator(".matrix td.focus a").focus()
        keys.press("ArrowLeft")
        beside(desk, "Cu in KF26-00001")
        keys.press("ArrowDown")
        beside(desk, "Cu in KF26-00002")
        keys.press("End")
        beside(desk, "Pb in KF26-00002")
        # what blocks cannot be accepted; it is refused with a reason, another one goes back to Preparation
        keys.press("a")
        expect(desk.page.locator("[data-marked]")).to_contain_text("cannot be accepted as it is")
        keys.press("r")
        keys.type("spilled")
        keys.press("Enter")
        expect(summary).to_have_text("3 approved, 1 refused, 2 that ask for a look wait on")
        keys.press("n")
        beside(desk, "Pb in KF26-00003")
        keys.press("b")
        keys.type("digest again")
        desk.page.get_by_label("to be prepared anew").check()
        desk.page.get_by_role("button", name="Mark it").click()
        expect(summary).to_have_text("3 approved, 1 refused, 1 sent back, 1 that ask for a look wait on")
        keys.press("Home")
        beside(desk, "Cu in KF26-00003")
        keys.press("b")
        keys.type("too odd")
        keys.press("Enter")
        expect(summary).to_have_text("2 approved, 1 refused, 2 sent back, 1 that ask for a look wait on")
        # the marks are still there after the page was opened again, and after a wrong password
        desk.page.reload()
        expect(summary).to_have_text("2 approved, 1 refused, 2 sent back, 1 that ask for a look wait on")
        desk.page.locator("#sign-password").fill("a guess")
        desk.page.get_by_role("button", name="Sign", exact=True).click()
        desk.says("The password is not right; nothing was signed.")
        expect(summary).to_have_text("2 approved, 1 refused, 2 sent back, 1 that ask for a look wait on")
        desk.page.locator("#sign-password").fill(PASSWORD)
        desk.page.get_by_role("button", name="Sign", exact=True).click()
        desk.says("Signed with your name.")
        # and are gone once they are signed
        expect(summary).to_have_text("0 approved, 1 that ask for a look wait on")
    # then one signature holds exactly that
    reviews = Review.objects.order_by("pk").values_list("decision", "sent_to", "reason", "items__result__element")
    assert list(reviews) == [
        ("refused", "", "spilled", "Pb"), ("sent back", "runs", "too odd", "Cu"),
        ("sent back", "preparation", "digest again", "Pb"), ("approved", "", "", "Cu"), ("approved", "", "", "Cu"),
    ]  # fmt: skip
