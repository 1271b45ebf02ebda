"""A person at a screen, in a real browser; pictures are kept in .screenshots/."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, Page, expect

from tests.builders import PASSWORD

PICTURES = Path(__file__).resolve().parents[2] / ".screenshots"
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run"]
PATIENCE_MS = 30_000
"""What a busy machine may take; whoever waits goes on as soon as it is there."""

expect.set_options(timeout=PATIENCE_MS)


class Desk:
    """One person at a screen, who waits until what they look for is there: nothing is read off a page on its way."""

    def __init__(self, page: Page, address: str) -> None:
        self.page = page
        self.address = address
        self.complaints: list[str] = []
        page.on("console", lambda message: self._heard(message.type, message.text))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))

    def _heard(self, kind: str, text: str) -> None:
        if kind in {"error", "warning"} and "status of 4" not in text:  # a refusal's own status is no fault of the page
            self.complaints.append(text)

    def go(self, path: str) -> None:
        self.page.goto(self.address + path)

    def press(self, name: str) -> None:
        self.page.get_by_role("button", name=name).first.click()

    def follow(self, name: str) -> None:
        self.page.get_by_role("link", name=name).first.click()

    def keep(self, name: str) -> None:
        """Keep a picture of the page, wide and narrow."""
        PICTURES.mkdir(exist_ok=True)
        for width in (1280, 390):
            self.page.set_viewport_size({"width": width, "height": 900})
            self.page.screenshot(path=PICTURES / f"{name}-{width}.png", full_page=True)
        self.page.set_viewport_size({"width": 1280, "height": 900})

    def says(self, words: str) -> None:
        """Wait until the page shows these words; breaks of lines and any number of spaces are one space."""
        expect(self.page.locator("body")).to_contain_text(words, use_inner_text=True)

    def does_not_say(self, words: str) -> None:
        """For a page that has come: wait first for something that it does say."""
        expect(self.page.locator("body")).not_to_contain_text(words, use_inner_text=True)

    def settled(self) -> None:
        """Wait until parts of the page that the server was asked for are in their places and answer to keys."""
        on_their_way = ".htmx-request, .htmx-swapping, .htmx-settling, .htmx-added"
        expect(self.page.locator(on_their_way)).to_have_count(0)


@contextmanager
def signed_in(browser: Browser, address: str, sign_in: str) -> Iterator[Desk]:
    """Somebody signs in through the page; afterwards nothing may have been complained about on the console."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, accept_downloads=True)
    context.set_default_timeout(PATIENCE_MS)
    desk = Desk(context.new_page(), address)
    desk.go("/sign-in")
    desk.page.get_by_label("Name", exact=False).first.fill(sign_in)
    desk.page.locator("input[type=password]").fill(PASSWORD)
    desk.page.keyboard.press("Enter")
    desk.page.wait_for_selector("nav.path")
    yield desk
    context.close()
    assert desk.complaints == []
