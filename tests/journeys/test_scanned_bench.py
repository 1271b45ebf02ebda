"""The bench by scanner and balance in a real browser: a batch filled by labels, tubes tared and weighed again."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Playwright, expect, sync_playwright

from labresults.actions.batches import discard_portion
from labresults.models import PreparationBatch, Weighing
from tests.builders import NOW, Laboratory, a_submission
from tests.journeys.test_two_browsers import Bench, begun, bench

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
def desk(live_server: object, lab: Laboratory, play: Playwright, tmp_path: Path) -> Iterator[Bench]:
    with bench(play, tmp_path / "own", live_server.url) as own:  # type: ignore[attr-defined]
        own.sign_in("preparer")
        yield own


def test_a_batch_is_filled_by_scanning_labels(lab: Laboratory, desk: Bench) -> None:
    numbers = [sample.number for sample in a_submission(lab, 5).samples.order_by("ordinal")]
    desk.go("/preparation/begin/AR-7")
    desk.press("Untick all")
    for code, words in [
        (numbers[3], "is in."),
        (numbers[1], "is in."),
        (numbers[3], "is in already."),
        ("KF26-09999", "is neither a sample nor a lot of this laboratory."),
    ]:
        desk.page.locator("#scan").focus()
        desk.page.keyboard.type(code)
        desk.page.keyboard.press("Enter")
        desk.page.locator(".scanline .now", has_text=words).wait_for()
    desk.says("2 of at most 20 are ticked")
    desk.page.wait_for_selector("#order li:nth-child(5):has-text('laboratory duplicate of tube 4')")
    desk.page.get_by_label("I have read the caution").check()
    desk.press("Begin the batch")
    desk.says("is begun")
    labels = list(PreparationBatch.objects.get().portions.filter(role="sample").values_list("label", flat=True))
    assert labels == [numbers[1], numbers[3]]


def test_what_the_scan_line_makes_of_what_is_typed_into_it(lab: Laboratory, desk: Bench) -> None:
    batch = begun(lab, "core")
    label = {portion.tube: portion.label for portion in batch.portions.all()}
    desk.open(batch)
    for typed, words in [
        ("0.5", "Scan the label of the tube first"),
        (label[3].lower(), "Tube 3, core 0. Weigh it in. 0.45 to 0.55 g."),
        ("T", "Tube 3: put the empty vessel on."),
        ("27.9881 g", "tare 27.9881 g is taken."),
        ("503.1 mg", "This is in mg, and g is wanted."),
        ("0,5031", "The balance sends a decimal comma."),
        ("- 0.5031 g", "less than nothing"),
        ("0.7001 g", "0.7001 g lies outside 0.45 to 0.55 g."),
        ("R", "Tube 3: weigh it again."),
        ("+  0.5031 g", "Tube 4, core 1."),
        (label[3], "It has 0.5031. Press R to weigh it again."),
        ("0.5", "Press R to weigh it again."),
        (label[1], "method blank. Nothing is weighed in; Enter says that it is made up."),
        ("0.5", "is a blank"),
        ("", "Tube 2, certified reference material"),
        ("X-1", "“X-1” is not a tube of this batch. No tube is chosen"),
        (label[4], "Tube 4, core 1."),
        ("RM2", "“RM2” is not a tube of this batch."),
        (label[4], "Tube 4, core 1."),
        ("5", "“5” is not a tube of this batch."),
        (label[4], "Tube 4, core 1."),
        ("N  +  0.4987 g", "Tube 5, core 2."),
    ]:
        desk.scan(typed, words)
    desk.keep("bench-6-scan-line")
    desk.record()
    desk.says("3 tubes are recorded.")
    rows = Weighing.objects.order_by("portion__tube").values_list("portion__tube", "tare_g", "mass_g", "volume_mL")
    assert list(rows) == [(1, None, None, 50.0), (3, 27.9881, 0.5031, 50.0), (4, None, 0.4987, 50.0)]


def test_the_label_of_a_discarded_tube_leads_to_the_one_taken_instead(lab: Laboratory, desk: Bench) -> None:
    batch = begun(lab, "core")
    lost = batch.portions.get(tube=4)
    discard_portion(by=lab.people["preparer"], at=lab.later(), reason="boiled dry", portion=lost)
    desk.open(batch)
    desk.scan(lost.label, f"{lost.label} was discarded; {lost.label} (2) is taken instead. Tube 10,")
    desk.says("boiled dry")


def test_what_was_typed_can_be_thrown_away(lab: Laboratory, desk: Bench) -> None:
    batch = begun(lab, "core")
    desk.open(batch)
    desk.weigh(batch, 3, "0.5031")
    desk.open(batch)
    desk.says("1 cell typed at")
    desk.press("Throw away")
    desk.open(batch)
    desk.does_not_say("not recorded.")
    desk.holds(3, "Mass, g", "")


PASTED = """text => {
  const held = new DataTransfer();
  held.setData("text", text);
  const pasted = new ClipboardEvent("paste", { clipboardData: held, bubbles: true, cancelable: true });
  document.activeElement.dispatchEvent(pasted);
}"""


def test_a_block_of_a_spreadsheet_fills_the_cells_that_are_shown(lab: Laboratory, desk: Bench) -> None:
    batch = begun(lab, "core")
    desk.open(batch)
    desk.page.get_by_label("Mass, g, tube 3", exact=True).focus()
    desk.page.evaluate(PASTED, "0.5001\t50.1\t1 in 10\r\n0.5002\t50.2\t1 + 9, x 2\r\n")
    for heading, text in (("Mass, g", "0.5002"), ("Volume, mL", "50.2"), ("Dilution", "1 + 9, x 2")):
        desk.holds(4, heading, text)
    expect(desk.page.locator("#tube-4 [data-total]")).to_have_text("× 20")
    desk.page.get_by_label("made up by mass").check()
    desk.page.get_by_label("Volume, mL, tube 5", exact=True).focus()
    desk.page.evaluate(PASTED, "\t51\t1.02")
    desk.page.get_by_label("Mass, g, tube 5", exact=True).fill("0.5")
    expect(desk.page.locator("#tube-5 [data-factor]")).to_have_text("100")
    desk.record()
    desk.says("3 tubes are recorded.")
    rows = Weighing.objects.order_by("portion__tube").values_list("volume_mL", "dilution", "final_g")
    assert list(rows) == [(50.1, 10.0, None), (50.2, 20.0, None), (50.0, 1.0, 51.0)]
