"""From the counter to a filled tray in a real browser: 500 pasted samples, seven mistakes, labels, a weighed batch."""

import re
from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from labresults.models import AuditEvent, PreparationBatch, Sample, Submission, Weighing
from tests.builders import NOW, Laboratory
from tests.journeys.desk import Desk, signed_in
from tests.render.reading import codes

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

HEADINGS = ("Material", "Comment", "Weight (g)", "Sample ID", "Date sampled")
"""As the client's spreadsheet has them: in another order than the grid's, in the client's own words."""

MISTAKES = {
    7: ("Sample ID", "NRD014 105.0 m"),  # the one before it once more
    40: ("Material", "sol"),  # mistyped
    111: ("Sample ID", ""),  # blank
    222: ("Weight (g)", "3O"),  # a letter for a nought
    303: ("Weight (g)", "-30"),
    404: ("Date sampled", "2027-11-13"),  # not yet
    500: ("Material", ""),
}
"""Row of the list to what is wrong in it."""


@pytest.fixture(autouse=True)
def a_day_in_the_laboratorys_year(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages take the time from Django; standards and balances of the builders hold for this year only."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW + timedelta(days=2))


def a_list() -> str:
    """The client's list as a spreadsheet puts it on the clipboard, with its mistakes."""
    lines = ["\t".join(HEADINGS)]
    for row in range(1, 501):
        cells = {
            "Material": "soil",
            "Comment": "bag torn, none lost" if row == 3 else "",
            "Weight (g)": f"{30 + row % 7}.5",
            "Sample ID": right_identification(row),
            "Date sampled": "2026-11-13",
        }
        if row in MISTAKES:
            heading, text = MISTAKES[row]
            cells[heading] = text
        lines.append("\t".join(cells[heading] for heading in HEADINGS))
    return "\n".join(lines)


def right_identification(row: int) -> str:
    return f"NRD014 {99 + row}.0 m"


def test_from_the_counter_to_a_filled_tray(
    live_server: object, lab: Laboratory, chromium: Browser, tmp_path: Path
) -> None:
    address = live_server.url  # type: ignore[attr-defined]
    with signed_in(chromium, address, "reception") as desk:
        a_delivery_with_seven_mistakes_is_mended_and_logged(desk, lab)
        every_label_can_be_scanned(desk)
    with signed_in(chromium, address, "preparer") as desk:
        a_batch_is_begun_by_scanning(desk)
        ten_tubes_are_weighed_with_a_scanner(desk)
        the_rest_comes_from_a_balance_file(desk, tmp_path)
    with signed_in(chromium, address, "auditor") as desk:
        each_act_stands_in_the_audit_trail(desk)


def a_delivery_with_seven_mistakes_is_mended_and_logged(desk: Desk, lab: Laboratory) -> None:
    desk.go("/reception")
    desk.page.get_by_label("Client", exact=True).select_option(label=str(lab.client))
    desk.page.get_by_label("AR-7, Aqua regia").first.check()
    desk.page.get_by_label("Paste rows here").fill(a_list())
    desk.press("Read the rows")
    # the headings were recognised by name, and nothing is in the grid before the person says so
    desk.says("500 rows")
    expect(desk.page.get_by_label("What Sample ID is")).to_have_value("client_identification")
    expect(desk.page.get_by_label("What Weight (g) is")).to_have_value(re.compile("^delivered_g"))
    desk.keep("20-reception-columns")
    desk.press("Put 500 rows into the grid")
    desk.says("500 rows: 493 ready, 7 to correct")
    desk.says("Row 6 has this identification already.")
    desk.keep("21-reception-seven-to-correct")
    expect(desk.page.get_by_role("button", name="Log 500 samples")).to_be_disabled()
    assert not Sample.objects.exists()
    for row, (heading, _) in MISTAKES.items():
        mend(desk, row, heading)
    desk.press("Check again")
    desk.says("500 rows: 500 ready")
    desk.press("Log 500 samples")
    desk.says("S26-0001 is logged: 500 samples")
    samples = Submission.objects.get().samples.order_by("ordinal")
    assert [sample.client_identification for sample in samples] == [right_identification(row) for row in range(1, 501)]
    assert samples[2].note == "bag torn, none lost"
    desk.keep("22-submission")


def mend(desk: Desk, row: int, heading: str) -> None:
    """Go to the row from the list of problems, and type what is right."""
    label, text = {
        "Sample ID": (f"Client's own identification, row {row}", right_identification(row)),
        "Material": (f"Matrix, row {row}", "soil"),
        "Weight (g)": (f"Mass delivered in grams, row {row}", "30.5"),
        "Date sampled": (f"Sampled, day and time, row {row}", "2026-11-13"),
    }[heading]
    if not desk.page.get_by_label(label, exact=True).count():
        desk.page.get_by_role("button", name=f"Row {row}", exact=True).first.click()
    desk.page.get_by_label(label, exact=True).fill(text)


def every_label_can_be_scanned(desk: Desk) -> None:
    """The printed labels, drawn and read as a scanner reads them, give every laboratory number back."""
    printed = desk.page.request.get(f"{desk.address}/submissions/S26-0001/labels.pdf", timeout=60_000)
    assert printed.body().startswith(b"%PDF")
    numbers = list(Sample.objects.order_by("ordinal").values_list("number", flat=True))
    assert codes(printed.body()) == sorted(numbers)


def a_batch_is_begun_by_scanning(desk: Desk) -> None:
    desk.go("/preparation/begin/AR-7")
    desk.press("Untick all, and scan them in")
    scan = desk.page.get_by_label("Scan a sample or a lot")
    for number in Sample.objects.order_by("ordinal").values_list("number", flat=True)[:20]:
        scan.focus()
        desk.page.keyboard.type(number)
        desk.page.keyboard.press("Enter")
        desk.page.locator(f"input[name=samples][value='{number}']:checked").wait_for()
    desk.page.get_by_label("I have read the caution").check()
    desk.keep("23-batch-by-scanner")
    desk.press("Begin the batch")
    desk.says("is begun")
    batch = PreparationBatch.objects.get()
    assert batch.portions.filter(role="sample").count() == 20


def ten_tubes_are_weighed_with_a_scanner(desk: Desk) -> None:
    batch = PreparationBatch.objects.get()
    desk.page.get_by_label("Balance", exact=True).select_option(label="B2")
    scan = desk.page.get_by_label("Scan a label, then weigh")
    labels = list(batch.portions.filter(role="sample").order_by("tube").values_list("label", "tube"))[:10]
    for place, (label, tube) in enumerate(labels):
        scan.focus()
        for typed in (label, f"0.50{place}0 g"):  # the scanner types and sends Enter; so does the balance
            desk.page.keyboard.type(typed)
            desk.page.keyboard.press("Enter")
        expect(desk.page.get_by_label(f"Mass, g, tube {tube}", exact=True)).to_have_value(f"0.50{place}0")
        desk.page.get_by_label(f"Volume, mL, tube {tube}", exact=True).fill("50")
    # the third is diluted in two steps: its total is shown at once, and a total that disagrees is refused
    third = labels[2][1]
    desk.page.get_by_label(f"Dilution, tube {third}", exact=True).fill("5 mL to 50 mL, 1 + 4 = x 60")
    desk.press("Record what is filled in")
    desk.says("1 to correct; nothing was recorded.")
    assert not Weighing.objects.exists()
    desk.keep("24-dilution-that-disagrees")
    desk.page.get_by_label(f"Dilution, tube {third}", exact=True).fill("5 mL to 50 mL, 1 + 4 = x 50")
    desk.press("Record what is filled in")
    desk.says("10 tubes are recorded.")
    assert Weighing.objects.count() == 10
    assert Weighing.objects.get(portion__tube=third).dilution == 50.0
    desk.keep("25-ten-tubes-recorded")


def the_rest_comes_from_a_balance_file(desk: Desk, folder: Path) -> None:
    batch = PreparationBatch.objects.get()
    left = batch.portions.filter(weighings=None).order_by("tube")
    lines = ["label,mass g,volume mL"]
    lines += [f"{portion.label},{'' if portion.role == 'method blank' else '0.5012'},50" for portion in left]
    file = folder / "balance.csv"
    file.write_text("\n".join(lines))
    for time in ("first", "second"):
        desk.page.get_by_label("Balance", exact=True).select_option(label="B2")
        desk.page.locator("summary", has_text="Fill the grid from a balance file").click()
        desk.page.locator("input[type=file][name=file]").set_input_files(file)
        desk.press("Put it into the grid")
        desk.press("Record what is filled in")
        if time == "first":
            desk.keep("26-tray-filled")
    # the same file twice records nothing twice
    assert Weighing.objects.count() == batch.portions.count()
    assert not batch.portions.filter(weighings=None).exists()


def each_act_stands_in_the_audit_trail(desk: Desk) -> None:
    desk.go("/audit")
    for act in ("receive samples", "begin batch", "record weighings"):
        desk.says(act)
    weighed = AuditEvent.objects.filter(act="record_weighings").latest("seq")
    desk.go(f"/audit/{weighed.seq}")
    desk.says("0.5012")
    desk.says("B2")
    desk.keep("27-audit-event")
