"""A scanner types fast and sends Enter: what it read opens where the person works, and hands are not taken for it."""

from collections.abc import Callable
from datetime import timedelta
from urllib.parse import parse_qs, urlsplit

import pytest
from playwright.sync_api import Browser, Page, Response, expect

from labresults.models import Sample
from tests.builders import NOW, Laboratory, a_submission
from tests.journeys.desk import Desk, signed_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

BY_HAND_MS = 90  # from key to key; a quick typist


@pytest.fixture(autouse=True)
def a_day_in_the_laboratorys_year(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages take the time from Django; methods and standards of the builders hold for this year only."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW + timedelta(days=2))


def scan(page: Page, code: str) -> None:
    """What a scanner does: keys without a pause, then Enter, all in the page so that a busy machine adds no pauses."""
    page.evaluate(
        """(code) => {
          const target = () => document.activeElement || document.body;
          const press = (key) => {
            const event = new KeyboardEvent("keydown", { key, bubbles: true, cancelable: true });
            if (target().dispatchEvent(event) && key.length === 1 && "value" in target()) target().value += key;
          };
          [...code].forEach(press);
          press("Enter");
        }""",
        code,
    )


def test_a_scanned_label_opens_at_the_persons_station(live_server: object, lab: Laboratory, chromium: Browser) -> None:
    address = live_server.url  # type: ignore[attr-defined]
    submission = a_submission(lab, 30)
    sample = submission.samples.get(ordinal=25)
    with signed_in(chromium, address, "reception") as desk:
        desk.go("/methods")
        scan(desk.page, sample.number)
        desk.page.wait_for_url(f"**/submissions/{submission.number}#s{sample.number}")
        expect(desk.page.locator(f"#s{sample.number}:target")).to_be_in_viewport(ratio=1)
        expect(desk.page.locator("#scanned[role=status]")).to_have_text(
            f"{sample.number} was scanned; this is what it opens."
        )
        desk.keep("scan-opens-a-sample")
    with signed_in(chromium, address, "preparer") as desk:
        desk.page.get_by_role("link", name="Preparation").focus()  # on a link: the scanner's Enter does not follow it
        scan(desk.page, sample.number.lower())
        desk.page.wait_for_url(f"**/preparation/begin/AR-7?with={sample.number}")
        scan(desk.page, "L-9999-X")
        desk.page.wait_for_url("**/find?q=L-9999-X")
        desk.says("“L-9999-X” was scanned: nothing here has this number.")
        scan(desk.page, "L-2200")
        desk.page.wait_for_url("**/lots/L-2200")


def test_a_field_keeps_what_is_scanned_into_it(live_server: object, lab: Laboratory, chromium: Browser) -> None:
    sample = a_submission(lab, 1).samples.get()
    with signed_in(chromium, live_server.url, "reception") as desk:  # type: ignore[attr-defined]
        desk.go("/reception")
        field = desk.page.get_by_label("Order or reference")
        field.focus()
        scan(desk.page, sample.number)
        expect(field).to_have_value(sample.number)
        assert desk.page.url.endswith("/reception")
        desk.page.locator("#find").focus()  # the box at the top is for scanning
        scan(desk.page, sample.number)
        desk.page.wait_for_url(f"**/submissions/*#s{sample.number}")


def test_hands_are_not_taken_for_a_scanner(live_server: object, lab: Laboratory, chromium: Browser) -> None:
    sample = Sample.objects.get(pk=a_submission(lab, 1, names=["NRD014 / 112"]).samples.get().pk)
    with signed_in(chromium, live_server.url, "reception") as desk:  # type: ignore[attr-defined]
        desk.go("/methods")
        desk.page.keyboard.type(sample.number, delay=BY_HAND_MS)
        desk.page.keyboard.press("Enter")
        assert desk.page.url.endswith("/methods")
        the_box_shows_what_it_finds_while_somebody_types(desk, sample)


def answers(text: str) -> Callable[[Response], bool]:
    """Whether this is what the box at the top was answered for a text."""
    return lambda answer: "as-typed" in answer.url and parse_qs(urlsplit(answer.url).query).get("q") == [text]


def the_box_shows_what_it_finds_while_somebody_types(desk: Desk, sample: Sample) -> None:
    desk.page.keyboard.press("/")
    expect(desk.page.locator("#find")).to_be_focused()
    with desk.page.expect_response(answers("d014 / 1")):  # not what was found on the way there
        desk.page.keyboard.type("d014 / 1", delay=20)
    desk.page.wait_for_selector("#as-typed a")
    desk.settled()
    desk.keep("find-as-typed")
    desk.page.keyboard.press("ArrowDown")
    expect(desk.page.locator(f"#as-typed a[href='/samples/{sample.number}']")).to_be_focused()
    desk.page.keyboard.press("Escape")
    expect(desk.page.locator("#as-typed a")).to_have_count(0)
    desk.page.keyboard.press("Enter")
    desk.page.wait_for_url("**/find?q=*")
    desk.says(sample.number)
    desk.keep("find")
    assert desk.page.evaluate("document.documentElement.scrollWidth <= innerWidth")
