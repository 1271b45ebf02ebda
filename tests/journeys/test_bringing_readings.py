"""Readings are brought in a real browser: dropped onto the page, by keyboard alone, and on a layout that is made there.

Pictures are kept in .screenshots/.
"""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser

from labresults.models import Layout, ReadingFile, Run
from labresults.readers.layout import Layout as LayoutSpecification
from tests.builders import NOW, Laboratory, a_reading_file, a_run, a_submission, a_weighed_batch
from tests.journeys.desk import Desk, signed_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture(autouse=True)
def a_day_in_the_laboratorys_year(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW + timedelta(days=2))


@pytest.fixture
def planned(lab: Laboratory) -> Run:
    return a_run(lab, a_weighed_batch(lab, a_submission(lab)))


@pytest.fixture
def night(planned: Run, tmp_path: Path) -> Path:
    """The run's file, with a row that was written twice."""
    lines = a_reading_file(planned).decode().splitlines()
    file = tmp_path / "night.csv"
    file.write_text("\n".join([*lines, lines[-1]]))
    return file


@pytest.fixture
def desk(chromium: Browser, live_server: Any, planned: Run) -> Iterator[Desk]:
    with signed_in(chromium, live_server.url, "analyst") as found:
        found.go(f"/runs/{planned}/readings")
        yield found


def test_files_are_dropped_onto_the_page(desk: Desk, night: Path) -> None:
    # when two files are dropped anywhere on the page
    data = desk.page.evaluate_handle(
        """([one, other]) => {
            const data = new DataTransfer();
            data.items.add(new File([one], "night.csv"));
            data.items.add(new File([other], "notes.txt"));
            return data;
        }""",
        [night.read_text(), "nothing of a run"],
    )
    desk.page.dispatch_event("h1", "dragenter", {"dataTransfer": data})
    desk.page.dispatch_event("h1", "drop", {"dataTransfer": data})
    # then both are looked at, and nothing is stored
    desk.says("1 problem")
    desk.says("No saved layout fits its headings")
    assert not ReadingFile.objects.exists()
    desk.keep("readings-dropped")


def test_a_file_is_brought_and_a_row_left_out_by_keyboard_alone(desk: Desk, night: Path, planned: Run) -> None:
    page, keyboard = desk.page, desk.page.keyboard
    # the person reaches each field by Tab and never touches the mouse
    _tab_to(desk, "input[type=file]")
    page.set_input_files("input[type=file]", night)  # what the system's own window does
    _tab_to(desk, "button[value=look].main")
    keyboard.press("Enter")
    page.wait_for_selector("h2:has-text('night.csv')")
    _tab_to(desk, "input[name$=-measured_from]")
    keyboard.type("11162026")
    keyboard.press("ArrowRight")
    keyboard.type("0800PM")
    _tab_to(desk, "input[type=checkbox][name$=-strike]")
    keyboard.press("Space")
    _tab_to(desk, "input[name$=-why]")
    keyboard.type("written twice")
    keyboard.press("Enter")
    page.wait_for_selector("button:has-text('Take these readings')")
    desk.keep("readings-row-left-out")
    _tab_to(desk, "button[value^=take]")
    keyboard.press("Enter")
    page.wait_for_selector("h1:has-text('Run R26')")
    file = ReadingFile.objects.get()
    assert file.run == planned
    assert file.struck == [[len(night.read_text().splitlines()), "written twice"]]
    assert file.measured_from.isoformat() == "2026-11-16T20:00:00+00:00"


def test_a_layout_is_made_with_a_preview_that_follows_each_change(desk: Desk, tmp_path: Path) -> None:
    # given a file in which a word stands in place of a number
    file = tmp_path / "wide.csv"
    file.write_text("place;solution;Cu 324.754;Pb 220.353\n1;STD 0;10,5;9,25\n2;STD 1;100,25;pump off\n")
    page = desk.page
    desk.go("/layouts/new")
    page.set_input_files("input[type=file]", file)
    desk.press("Look at it")
    page.wait_for_selector("#editor")
    # when its word is taken out of what is offered, then the part of the page says so at once; and the cursor stays
    page.fill("#s-missing", "")
    _changed(desk, "#s-over_range", "")
    page.wait_for_selector("text=“pump off” is not a number")
    _changed(desk, "#s-name", "wide")
    _changed(desk, "#s-unit", "counts/s")
    _changed(desk, "#s-missing", "pump off")
    page.wait_for_selector("h2:has-text('So it would be read')")
    desk.press("Save wide, version 1")
    page.wait_for_selector("h1:has-text('Layout wide')")
    specification = LayoutSpecification.from_json(Layout.objects.get(name="wide").specification)
    assert (specification.missing, specification.decimal_sign) == (("pump off",), ",")
    desk.keep("layout")


def _tab_to(desk: Desk, field: str) -> None:
    """Press Tab until the field has the focus."""
    for _ in range(80):
        if desk.page.locator(f"{field}:focus").count():
            return
        desk.page.keyboard.press("Tab")
    raise AssertionError(f"Tab does not lead to {field}.")


def _changed(desk: Desk, field: str, text: str) -> None:
    """Fill a field and leave it; wait for the part of the page that comes back."""
    with desk.page.expect_response(lambda answer: answer.request.method == "POST"):
        desk.page.fill(field, text)
        desk.page.keyboard.press("Tab")
    desk.settled()
