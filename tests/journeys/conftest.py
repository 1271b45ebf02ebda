"""A browser without a screen for the stories that need one."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, sync_playwright

from tests.journeys.desk import ARGUMENTS


@pytest.fixture
def chromium() -> Iterator[Browser]:
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=ARGUMENTS)
        yield browser
        browser.close()
