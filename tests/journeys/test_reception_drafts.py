"""Rows that were typed at the counter and not logged outlive the page, in a real browser."""

from datetime import timedelta

import pytest
from playwright.sync_api import Browser, expect

from labresults.models import Submission
from tests.builders import NOW, Laboratory
from tests.journeys.desk import Desk, signed_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture(autouse=True)
def a_day_in_the_laboratorys_year(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW + timedelta(days=2))


def holds(desk: Desk, column: str, row: int, text: str) -> None:
    """The cell holds this, to the letter."""
    expect(desk.page.get_by_label(f"{column}, row {row}", exact=True)).to_have_value(text)


def type_a_delivery(desk: Desk, lab: Laboratory) -> None:
    """Four rows by keyboard alone; the page has three empty ones, Enter in the last begins another."""
    desk.go("/reception")
    desk.page.get_by_label("Client", exact=True).select_option(label=str(lab.client))
    desk.page.get_by_label("AR-7, Aqua regia").first.check()
    desk.page.get_by_label("Client's own identification, row 1", exact=True).focus()
    for name in ("bin 01", "bin 02", "bin 03", "bin 04"):
        desk.page.keyboard.type(name)
        desk.page.keyboard.press("Tab")
        desk.page.keyboard.type("soil")
        desk.page.keyboard.press("Shift+Tab")
        desk.page.keyboard.press("Enter")
    holds(desk, "Client's own identification", 4, "bin 04")


def test_rows_typed_and_not_sent_are_offered_back_until_they_are_logged(
    live_server: object, lab: Laboratory, chromium: Browser
) -> None:
    address = live_server.url  # type: ignore[attr-defined]
    with signed_in(chromium, address, "reception") as desk:
        type_a_delivery(desk, lab)
        desk.go("/reception")  # left without sending: what was typed is kept as the page goes
        desk.page.get_by_role("button", name="Go on with the 4 rows of").click()
        desk.page.locator("#rows", has_text="4 rows: 4 ready").wait_for()
        for row, text in ((1, "bin 01"), (4, "bin 04")):
            holds(desk, "Client's own identification", row, text)
        expect(desk.page.get_by_label("AR-7, Aqua regia").first).to_be_checked()
        desk.press("Log 4 samples")
        desk.says("S26-0001 is logged: 4 samples")
        with desk.page.expect_response("**/reception/logged/*") as asked:
            desk.go("/reception")
        assert asked.value.json() == {"number": "S26-0001"}
        expect(desk.page.locator("[data-draft]")).to_be_hidden()
        desk.page.go_back()
        desk.page.go_back()  # over the submission to the form that was logged: an empty one stands there
        desk.page.locator("#rows", has_text="No row yet").wait_for()
    assert Submission.objects.get().samples.count() == 4


def test_a_draft_is_thrown_away_when_the_person_says_so(
    live_server: object, lab: Laboratory, chromium: Browser
) -> None:
    address = live_server.url  # type: ignore[attr-defined]
    with signed_in(chromium, address, "reception") as desk:
        type_a_delivery(desk, lab)
        desk.go("/reception")
        desk.press("Throw it away")
        desk.page.locator("[data-draft]").wait_for(state="hidden")
        desk.go("/reception")
        assert desk.page.evaluate("Object.keys(localStorage).filter((name) => name.includes('delivery')).length") == 0
        expect(desk.page.locator("[data-draft]")).to_be_hidden()


def test_a_block_pasted_into_the_grid_makes_the_rows_that_it_needs_and_travels_as_one_field(
    live_server: object, lab: Laboratory, chromium: Browser
) -> None:
    address = live_server.url  # type: ignore[attr-defined]
    with signed_in(chromium, address, "reception") as desk:
        desk.page.context.grant_permissions(["clipboard-read", "clipboard-write"])
        desk.go("/reception")
        block = "\n".join(f" core {n}\tsoil\t30" for n in range(1, 13))
        desk.page.evaluate("(text) => navigator.clipboard.writeText(text)", block)
        desk.page.get_by_label("Client's own identification, row 1", exact=True).focus()
        desk.page.keyboard.press("Control+V")
        with desk.page.expect_request("**/reception") as sent:
            desk.press("Check again")
        body = sent.value.post_data or ""
        assert 'name="rows"' in body
        assert 'name="client_identification"' not in body
        desk.page.locator("#rows", has_text="12 rows: 12 ready").wait_for()
        holds(desk, "Client's own identification", 12, " core 12")
        holds(desk, "Mass delivered in grams", 12, "30")
