"""The main job in a real browser, as five people: from sign-in to trace. Pictures are kept in .screenshots/."""

from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Route, expect

from labresults.models import PreparationBatch, Run, Sample
from reports.models import Certificate
from tests.builders import NOW, PASSWORD, Laboratory, a_reading_file
from tests.journeys.desk import Desk, signed_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture(autouse=True)
def a_day_in_the_laboratorys_year(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages take the time from Django; standards and balances of the builders hold for this year only."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW + timedelta(days=2))


def test_from_sign_in_to_trace(live_server: object, lab: Laboratory, chromium: Browser, tmp_path: Path) -> None:
    address = live_server.url  # type: ignore[attr-defined]
    with signed_in(chromium, address, "reception") as desk:
        sixty_samples_are_pasted(desk, lab)
    with signed_in(chromium, address, "preparer") as desk:
        batches_are_weighed_by_keyboard(desk)
    with signed_in(chromium, address, "analyst") as desk:
        the_run_is_planned_read_and_evaluated(desk, lab, tmp_path)
    with signed_in(chromium, address, "reviewer") as desk:
        the_results_are_approved(desk)
    with signed_in(chromium, address, "issuer") as desk:
        the_certificate_is_issued(desk, lab)
    with signed_in(chromium, address, "auditor") as desk:
        a_number_is_followed_back(desk)


def sixty_samples_are_pasted(desk: Desk, lab: Laboratory) -> None:
    rows = [f"NRD014 {number}.0 m\tsoil" for number in range(100, 160)]
    wrong = rows.copy()
    wrong[6] = wrong[5]  # a repeated identification
    wrong[9] = "NRD014 109.0 m\tsol"  # a mistyped matrix
    wrong[19] = "\tsoil"  # a blank identification
    desk.go("/reception")
    desk.page.get_by_label("Client", exact=True).select_option(label=str(lab.client))
    desk.page.get_by_label("Order or reference").fill("order 26-118")
    desk.page.get_by_label("AR-7, Aqua regia").first.check()
    desk.page.get_by_label("Paste rows here").fill("\n".join(["Sample\tMatrix", *wrong]))
    desk.press("Read the rows")
    desk.press("Put 60 rows into the grid")
    desk.says("60 rows: 57 ready, 3 to correct")
    desk.says("Row 6 has this identification already.")
    desk.says("“sol” is not a matrix in this laboratory. Did you mean “soil”?")
    desk.keep("1-reception-to-correct")
    expect(desk.page.get_by_role("button", name="Log 60 samples")).to_be_disabled()
    assert not Sample.objects.exists()

    desk.page.get_by_label("Client's own identification, row 7").fill(rows[6].split("\t")[0])
    desk.page.get_by_label("Matrix, row 10").fill("soil")
    desk.page.get_by_label("Strike row 20").check()
    desk.press("Check again")
    desk.press("Log 59 samples")
    desk.says("S26-0001 is logged: 59 samples")
    assert Sample.objects.count() == 59
    desk.keep("2-submission")
    receipt = str(desk.page.get_by_role("link", name="Receipt, PDF").get_attribute("href"))
    for paper in (receipt, "/submissions/S26-0001/labels.pdf"):
        answer = desk.page.request.get(desk.address + paper, timeout=60_000)  # sixty labels take their time
        assert answer.body().startswith(b"%PDF")


def batches_are_weighed_by_keyboard(desk: Desk) -> None:
    for _ in range(3):
        desk.go("/preparation")
        desk.follow("Begin")
        desk.page.get_by_label("I have read the caution").check()
        desk.press("Begin the batch")
        desk.says("is begun")
        batch = PreparationBatch.objects.latest("pk")
        desk.page.get_by_label("Balance", exact=True).select_option(label="B2")
        tubes = list(batch.portions.order_by("tube").values_list("tube", "role"))
        # By keyboard alone: Enter goes down the column of masses, then of volumes.
        desk.page.get_by_label(f"Mass, g, tube {tubes[0][0]}", exact=True).focus()
        for tube, role in tubes:
            desk.page.keyboard.type("" if role == "method blank" else f"0.50{tube % 10}")
            desk.page.keyboard.press("Enter")
        desk.page.get_by_label(f"Volume, mL, tube {tubes[0][0]}", exact=True).focus()
        for _ in tubes:
            desk.page.keyboard.type("50")
            desk.page.keyboard.press("Enter")
        if batch.number.endswith("1"):
            desk.page.get_by_label("Mass, g, tube 3", exact=True).fill("0.2714")
            desk.press("Record what is filled in")
            desk.says("0.2714 g lies outside 0.45 to 0.55 g")
            desk.keep("3-preparation-asks-for-a-reason")
            desk.page.get_by_label("Reason, tube 3").fill("all that was left")
        desk.press("Record what is filled in")
        desk.says(f"{len(tubes)} tubes are recorded.")
    assert PreparationBatch.objects.filter(portions__weighings__isnull=True).count() == 0


def the_run_is_planned_read_and_evaluated(desk: Desk, lab: Laboratory, folder: Path) -> None:
    desk.go("/runs/plan?method=AR-7")
    desk.page.get_by_label("Instrument", exact=True).select_option(label="P1")
    desk.press("Plan this run")
    desk.says("is planned")
    run = Run.objects.get()
    run_list = desk.page.request.get(f"{desk.address}/runs/{run.number}/list.csv").text()
    assert run_list.startswith("position,label,role")
    assert len(run_list.splitlines()) == run.positions.count() + 1

    file = folder / "night.csv"
    file.write_bytes(a_reading_file(run, factors={("CCV 2", "Pb"): 1.134}))
    spoiled = folder / "spoiled.csv"
    spoiled.write_bytes(file.read_bytes().replace(b",CCV 1,", b",CCV X,"))
    look_at(desk, run, spoiled)
    desk.says("“CCV X” here and “CCV 1” in the plan")
    desk.keep("4-readings-with-a-problem")
    look_at(desk, run, file)
    desk.keep("5-readings-understood")
    desk.press("Take these readings")
    desk.page.locator("h1", has_text=f"Run {run.number}").wait_for()
    look_at(desk, run, file)
    desk.says("These very bytes were taken before")

    desk.go(f"/runs/{run.number}")
    desk.press("Evaluate")
    desk.says("Pb 220.353")
    desk.says("113.4 %")
    desk.keep("6-run-opens-on-what-failed")
    desk.page.locator("summary", has_text="Accept all the same").first.click()
    form = desk.page.locator("form[action$='/accept']")
    for box in form.locator("input[type=checkbox]").all():
        box.check()
    form.locator("textarea, input[name=reason]").first.fill("The pump was repaired; the checks around it hold.")
    form.locator("button[type=submit]").click()
    desk.says("Accepted by name")


def look_at(desk: Desk, run: Run, file: Path) -> None:
    """The file is looked at; where it has no times of its own, they are said."""
    desk.go(f"/runs/{run.number}/readings")
    desk.page.locator("input[type=file]").set_input_files(file)
    desk.press("Look at them")
    desk.page.locator("h2", has_text=file.name).wait_for()
    if desk.page.locator("input[name$=-measured_from]").count():
        desk.page.locator("input[name$=-measured_from]").fill("2026-11-16T20:00")
        desk.page.locator("input[name$=-measured_to]").fill("2026-11-17T04:18")
        with desk.page.expect_navigation():
            desk.press("Look again")


def the_results_are_approved(desk: Desk) -> None:
    desk.go("/review/S26-0001")
    desk.keep("7-review")
    sign(desk, "a guess")
    desk.says("The password is not right; nothing was signed.")
    sign(desk, PASSWORD)
    desk.says("Signed with your name.")
    desk.keep("8-approved")


def sign(desk: Desk, password: str) -> None:
    form = desk.page.locator("form[data-sign]")
    for fold in form.locator("td details").all():
        fold.locator("summary").click()
    for choice in form.locator("[data-row] select").all():
        choice.select_option("accept")
    form.locator("input[type=password]").fill(password)
    form.get_by_role("button", name="Sign").click()


def the_certificate_is_issued(desk: Desk, lab: Laboratory) -> None:
    desk.go("/certificates/for/S26-0001")
    desk.says("nothing is missing")
    desk.keep("9-certify")
    shown = desk.page.request.get(f"{desk.address}/certificates/for/S26-0001/preview.pdf?rule_set={lab.rule_set.pk}")
    assert shown.body().startswith(b"%PDF")
    held: list[Route] = []  # a server that takes its time
    desk.page.route("**/certificates/for/*", lambda route: held.append(route) if _is_post(route) else route.continue_())
    button = desk.page.get_by_role("button", name="Issue the certificate")
    said = button.evaluate("button => { button.click(); button.click(); return button.closest('form').innerText; }")
    assert "It is being composed and frozen" in said
    desk.page.wait_for_timeout(200)
    assert len(held) == 1, "pressed twice, sent once"
    held[0].continue_()
    desk.page.get_by_text("C26-0001, issue 1 is issued.").wait_for()
    desk.keep("10-certificate")
    for link in ("Certificate, PDF", "Spreadsheet"):
        address = desk.page.get_by_role("link", name=link).get_attribute("href")
        body = desk.page.request.get(desk.address + str(address)).body()
        assert body[:4] in (b"%PDF", b"PK\x03\x04")


def _is_post(route: Route) -> bool:
    return route.request.method == "POST"


def a_number_is_followed_back(desk: Desk) -> None:
    certificate = Certificate.objects.get()
    desk.go("/certificates/C26-0001/1")
    desk.page.locator("td a.n").first.click()
    line = certificate.lines.order_by("pk").first()
    file = line.result.evaluation.run.files.get()
    desk.says("Why is this one")
    for words in (line.printed, "night.csv", file.sha256[:8], "L-2203", "B2", "Analyst Person"):
        desk.says(words)
    desk.keep("11-trace")
