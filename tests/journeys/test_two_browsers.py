"""Two people weigh into one batch at once, a browser dies in the middle of a grid, a file is sent twice: nothing is
lost and nothing is double. In real browsers; pictures are kept in .screenshots/.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Error, Playwright, expect, sync_playwright

from labresults.actions.batches import begin_batch
from labresults.actions.people import authorise_person, enrol_person
from labresults.models import AuditEvent, PreparationBatch, Weighing
from labresults.terms import Task
from tests.builders import NOW, PASSWORD, Laboratory, a_submission
from tests.journeys.desk import ARGUMENTS, PATIENCE_MS, Desk

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture(autouse=True)
def a_day_in_the_laboratorys_year(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages take the time from Django; the balances of the builders hold for this year only."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW + timedelta(days=2))


@pytest.fixture
def play() -> Iterator[Playwright]:
    with sync_playwright() as running:
        yield running


@pytest.fixture
def batch(lab: Laboratory) -> PreparationBatch:
    """Nine tubes: 1 method blank, 2 reference material, 3 to 8 samples, 9 duplicate of tube 8."""
    return begun(lab, "first")


def begun(lab: Laboratory, name: str) -> PreparationBatch:
    submission = a_submission(lab, 6, names=[f"{name} {number}" for number in range(6)])
    return begin_batch(
        by=lab.people["preparer"], at=lab.later(), method_version=lab.version,
        samples=list(submission.samples.order_by("ordinal")), caution_read=True,
    )  # fmt: skip


def a_second_preparer(lab: Laboratory) -> str:
    person = enrol_person(
        by=lab.people["laboratory manager"], at=NOW, sign_in="second", full_name="Second Preparer", password=PASSWORD,
        roles=["preparer"],
    )  # fmt: skip
    quality = lab.people["quality manager"]
    authorise_person(by=quality, at=NOW, person=person, task=Task.PREPARE, valid_from=date(2026, 1, 1))
    return person.username


class Bench(Desk):
    """A preparer at the weighing grid, with a scanner and a balance that type."""

    def __init__(self, context: BrowserContext, address: str) -> None:
        context.set_default_timeout(PATIENCE_MS)
        super().__init__(context.pages[0] if context.pages else context.new_page(), address)
        self.context = context

    def sign_in(self, name: str) -> None:
        self.go("/sign-in")
        self.page.get_by_label("Name", exact=False).first.fill(name)
        self.page.locator("input[type=password]").fill(PASSWORD)
        self.page.keyboard.press("Enter")
        self.page.wait_for_selector("nav.path")

    def open(self, batch: PreparationBatch) -> None:
        self.go(f"/preparation/{batch.number}")
        self.page.get_by_label("Balance", exact=True).select_option(label="B2")

    def scan(self, text: str, says: str = "") -> None:
        """The scanner, or the balance, types and sends Enter; the scan line then says this."""
        self.page.locator("#scan").focus()
        self.page.keyboard.type(text)
        self.page.keyboard.press("Enter")
        expect(self.page.locator("[data-scanline] .now")).to_contain_text(says, use_inner_text=True)

    def weigh(self, batch: PreparationBatch, tube: int, mass: str) -> None:
        self.scan(batch.portions.get(tube=tube).label, f"Tube {tube}, ")
        self.scan(f"  {mass} g")
        self.holds(tube, "Mass, g", mass)

    def holds(self, tube: int, heading: str, text: str) -> None:
        expect(self.page.get_by_label(f"{heading}, tube {tube}", exact=True)).to_have_value(text)

    def record(self) -> None:
        self.press("Record what is filled in")


@contextmanager
def bench(play: Playwright, folder: Path, address: str) -> Iterator[Bench]:
    """A browser that keeps its storage in a folder, as a person's own browser does."""
    context = play.chromium.launch_persistent_context(
        str(folder), executable_path="/usr/bin/chromium", args=ARGUMENTS, viewport={"width": 1280, "height": 900}
    )
    desk = Bench(context, address)
    yield desk
    context.close()
    assert desk.complaints == []


def masses(batch: PreparationBatch) -> dict[int, list[float | None]]:
    """What was recorded of each tube, every version of it."""
    found: dict[int, list[float | None]] = {portion.tube: [] for portion in batch.portions.all()}
    for tube, mass in Weighing.objects.filter(portion__batch=batch).values_list("portion__tube", "mass_g"):
        found[tube].append(mass)
    return found


def test_two_people_weigh_into_one_batch_and_one_browser_dies(
    live_server: object, lab: Laboratory, batch: PreparationBatch, play: Playwright, tmp_path: Path
) -> None:
    address = live_server.url  # type: ignore[attr-defined]
    second = a_second_preparer(lab)
    with bench(play, tmp_path / "one", address) as one, bench(play, tmp_path / "two", address) as two:
        for desk, name in ((one, "preparer"), (two, second)):
            desk.sign_in(name)
            desk.open(batch)
        they_weigh_different_tubes_at_once(one, two, batch)
        they_weigh_the_same_tube(one, two, batch)
        one.open(batch)
        one.weigh(batch, 2, "0.5004")
        one.page.get_by_label("Volume, mL, tube 1", exact=True).fill("50")
        with pytest.raises(Error):
            one.page.goto("chrome://crash")
    assert masses(batch)[2] == []

    with bench(play, tmp_path / "one", address) as one:
        what_was_typed_comes_back(one, batch)
    assert masses(batch) == {
        1: [None], 2: [0.5004], 3: [0.5031], 4: [0.4987], 5: [0.5012], 6: [0.4951], 7: [0.5127], 8: [0.5068],
        9: [0.5101],
    }  # fmt: skip
    people = set(AuditEvent.objects.filter(act="record_weighings").values_list("person__username", flat=True))
    assert people == {"preparer", second}


def they_weigh_different_tubes_at_once(one: Bench, two: Bench, batch: PreparationBatch) -> None:
    """Each sees the other's tubes empty; each records only their own."""
    for (tube, mass), (other, its) in zip(
        [(3, "0.5031"), (4, "0.4987"), (5, "0.5012")], [(6, "0.4951"), (7, "0.5127"), (8, "0.5068")], strict=True
    ):
        one.weigh(batch, tube, mass)
        two.weigh(batch, other, its)
    one.scan("KF26-99999", "is not a tube of this batch. No tube is chosen")
    one.scan("0.5", "this amount was not put anywhere")
    one.keep("bench-1-scanned")
    for desk in (two, one):
        desk.record()
        desk.says("3 tubes are recorded.")
    one.holds(6, "Mass, g", "0.4951")


def they_weigh_the_same_tube(one: Bench, two: Bench, batch: PreparationBatch) -> None:
    """The second to send sees what the first recorded beside their own, and nothing is overwritten."""
    two.open(batch)
    two.weigh(batch, 9, "0.5101")
    one.weigh(batch, 9, "0.4902")
    two.record()
    two.says("1 tube is recorded.")
    one.record()
    one.says("was recorded by Second Preparer meanwhile")
    one.holds(9, "Mass, g", "0.4902")
    one.keep("bench-2-recorded-by-another")
    one.page.get_by_label("Keep what Second Preparer recorded").check()
    one.record()
    one.holds(9, "Mass, g", "0.5101")


def what_was_typed_comes_back(one: Bench, batch: PreparationBatch) -> None:
    """The browser was started again: it offers the cells that were typed and not recorded, and only those."""
    one.open(batch)
    one.says("2 cells typed at")
    one.holds(2, "Mass, g", "")
    one.keep("bench-3-typed-and-not-recorded")
    one.press("Put back")
    one.holds(1, "Volume, mL", "50")
    one.holds(2, "Mass, g", "0.5004")
    one.record()
    one.says("2 tubes are recorded.")
    one.open(batch)
    one.does_not_say("not recorded.")
    one.keep("bench-4-every-tube-recorded")


def test_a_balance_file_that_is_sent_twice_is_recorded_once(
    live_server: object, lab: Laboratory, batch: PreparationBatch, play: Playwright, tmp_path: Path
) -> None:
    address = live_server.url  # type: ignore[attr-defined]
    file = tmp_path / "balance.csv"
    tubes = list(batch.portions.order_by("tube").exclude(role="method blank"))
    lines = [f"{portion.label},0.50{portion.tube}0,50.0" for portion in tubes]
    file.write_text("\n".join(["label,mass g,volume mL", *lines]))
    with bench(play, tmp_path / "one", address) as one:
        one.sign_in("preparer")
        other = Bench(one.context, address)
        other.page = one.context.new_page()
        for tab in (one, other):
            tab.open(batch)
            put_in(tab, file)
            tab.says("8 tubes are filled in. Nothing of them is recorded yet.")
        one.keep("bench-5-balance-file")
        assert not Weighing.objects.exists()
        one.record()
        one.says("8 tubes are recorded.")
        other.record()
        other.says("All 8 tubes are recorded already with these values")
        put_in(other, file)
        other.says("All that this file holds is recorded already")
        other.open(batch)
        other.does_not_say("not recorded.")
    assert all(len(found) == 1 for tube, found in masses(batch).items() if tube != 1)
    assert AuditEvent.objects.filter(act="record_weighings").count() == 1


def put_in(tab: Bench, file: Path) -> None:
    tab.page.locator("summary", has_text="Fill the grid").click()
    tab.page.locator("input[type=file]").set_input_files(file)
    tab.press("Put it into the grid")


def test_cells_of_two_windows_are_kept_side_by_side(
    live_server: object, batch: PreparationBatch, play: Playwright, tmp_path: Path
) -> None:
    address = live_server.url  # type: ignore[attr-defined]
    with bench(play, tmp_path / "one", address) as one:
        one.sign_in("preparer")
        other = Bench(one.context, address)
        other.page = one.context.new_page()
        one.open(batch)
        other.open(batch)
        one.weigh(batch, 3, "0.5031")
        other.weigh(batch, 4, "0.4987")
        one.weigh(batch, 5, "0.5012")
        one.open(batch)
        one.says("3 cells typed at")
        one.press("Put back")
        one.record()
        one.says("3 tubes are recorded.")
        other.open(batch)
        other.does_not_say("not recorded.")
    assert {tube: found for tube, found in masses(batch).items() if found} == {
        3: [0.5031], 4: [0.4987], 5: [0.5012],
    }  # fmt: skip


def test_the_grid_is_reached_by_keyboard_and_fits_a_telephone(
    live_server: object, batch: PreparationBatch, play: Playwright, tmp_path: Path
) -> None:
    with bench(play, tmp_path / "one", live_server.url) as one:  # type: ignore[attr-defined]
        one.sign_in("preparer")
        for path in ("/preparation", "/preparation/begin/AR-7", f"/preparation/{batch.number}"):
            one.page.set_viewport_size({"width": 390, "height": 800})
            one.go(path)
            assert one.page.evaluate("document.documentElement.scrollWidth") <= 390, path
        one.page.set_viewport_size({"width": 1280, "height": 900})
        one.page.get_by_label("Mass, g, tube 3", exact=True).focus()
        for text in ("0.5031", "0.4987"):
            one.page.keyboard.type(text)
            one.page.keyboard.press("Enter")
        one.holds(3, "Mass, g", "0.5031")
        one.holds(4, "Mass, g", "0.4987")
        one.page.keyboard.press("Tab")
        assert one.page.evaluate("document.activeElement.getAttribute('aria-label')") == "Volume, mL, tube 5"
        assert one.page.evaluate("getComputedStyle(document.activeElement).outlineStyle") != "none"
        for _ in range(60):  # on through the grid to the button, and Enter
            one.page.keyboard.press("Tab")
            if one.page.evaluate("document.activeElement.textContent") == "Record what is filled in":
                break
        one.page.keyboard.press("Enter")
        one.says("2 tubes are recorded.")
