"""The page on which files of readings are brought to a run: looked at first, taken then, several at once."""

import re
from collections.abc import Callable

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from labresults.actions.methods import save_layout
from labresults.models import Layout, ReadingFile, Run
from labresults.web.forms.readings import spans
from tests.actions.test_readings import BY_LABEL
from tests.builders import Laboratory, a_reading_file, a_run, a_submission, a_weighed_batch, an_imported_file

AsRole = Callable[[str], Client]
WHEN = {"measured_from": "2026-11-16T20:00", "measured_to": "2026-11-17T04:18"}


@pytest.fixture
def planned(lab: Laboratory) -> Run:
    return a_run(lab, a_weighed_batch(lab, a_submission(lab, 8)))


class Page:
    """The page as a browser without script has it: what it shows is sent again, with what a person changes."""

    def __init__(self, browser: Client, run: Run) -> None:
        self.browser, self.address = browser, reverse("import-readings", args=[run.number])
        self.words = browser.get(self.address).content.decode()

    def bring(self, *files: tuple[str, bytes]) -> "Page":
        return self.press("look", file=[SimpleUploadedFile(name, content) for name, content in files])

    def press(self, button: str, **changed: object) -> "Page":
        """Press a button: `do` is its value; fields by their names, without the prefix of a file for all files."""
        sent: dict[str, object] = {"do": button}
        for name, value in self.fields():
            sent.setdefault(name, []).append(value)  # type: ignore[attr-defined]
        for name, value in changed.items():
            named = [name] if name == "file" else [f"{prefix}-{name}" for prefix in self.prefixes]
            sent |= dict.fromkeys(named, value)
        self.answer = self.browser.post(self.address, sent, follow=True)
        self.words = self.answer.content.decode()
        return self

    def fields(self) -> list[tuple[str, str]]:
        """Name and value of every field that the page would send."""
        hidden = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', self.words)
        ticked = re.findall(r'<input type="checkbox" name="([^"]+)" value="([^"]*)" checked', self.words)
        chosen = [
            (name, re.search(r'value="([^"]*)" selected', body))
            for name, body in re.findall(r'<select name="([^"]+)"[^>]*>(.*?)</select>', self.words, re.DOTALL)
        ]
        return [*hidden, *ticked, *((name, found.group(1) if found else "") for name, found in chosen)]

    @property
    def hashes(self) -> list[str]:
        return re.findall(r'name="files" value="([0-9a-f]{64})"', self.words)

    @property
    def prefixes(self) -> list[str]:
        return [f"f{sha256[:16]}" for sha256 in self.hashes]

    @property
    def text(self) -> str:
        return " ".join(re.sub(r"<[^>]+>", " ", self.words).split())


@pytest.fixture
def page(planned: Run, as_role: AsRole) -> Page:
    return Page(as_role("analyst"), planned)


def test_a_file_is_looked_at_first_and_taken_then(planned: Run, page: Page) -> None:
    page.bring(("night.csv", a_reading_file(planned)))
    assert "positions and lines are those of the plan" in page.text
    assert "Say when it was measured; then it can be taken." in page.text, "the file has no times"
    assert not ReadingFile.objects.exists()

    page.press("look", **WHEN)
    assert "Nothing speaks against this file" in page.text
    page.press("take " + page.hashes[0], **WHEN)
    file = ReadingFile.objects.get()
    assert bytes(file.content) == a_reading_file(planned)
    assert (file.measured_to - file.measured_from).total_seconds() == (8 * 60 + 18) * 60
    assert page.answer.redirect_chain[-1][0] == reverse("run", args=[planned.number])


def test_the_layout_whose_headings_fit_is_offered_and_can_be_changed(lab: Laboratory, planned: Run, page: Page) -> None:
    save_layout(by=lab.people["analyst"], at=lab.later(), specification=BY_LABEL)
    page.bring(("night.csv", a_reading_file(planned)))
    assert "Its headings fit; so do those of" in page.text
    other = Layout.objects.get(name="by label")
    page.press("look", layout=str(other.pk))
    assert f'value="{other.pk}" selected' in page.words


def test_a_file_that_no_layout_fits_leads_to_the_editor(planned: Run, page: Page) -> None:
    page.bring(("other.csv", b"a;b\n1;2\n"))
    assert "No saved layout fits its headings" in page.text
    assert reverse("new-layout") + f"?kept={page.hashes[0]}" in page.words


def test_every_problem_is_shown_at_its_row_and_nothing_is_stored(planned: Run, page: Page) -> None:
    page.bring(("night.csv", a_reading_file(planned).replace(b",CCV 1,", b",CCV X,")))
    assert "“CCV X” here and “CCV 1” in the plan" in page.text
    assert "Take these readings" not in page.text
    page.press("take " + page.hashes[0], **WHEN)
    assert not ReadingFile.objects.exists(), "whatever is pressed"


def test_many_problems_are_downloaded_whole_and_shown_in_part(planned: Run, page: Page) -> None:
    lines = (b"Cu 324.754", b"Pb 220.353")
    more = b"".join(b"\n%d,X%d,%b,1,2" % (n, n, line) for n in range(500, 750) for line in lines)
    page.bring(("night.csv", a_reading_file(planned) + more))
    assert "The first 200 of 250 are shown" in page.text
    page.press("problems " + page.hashes[0])
    assert page.answer["Content-Type"].startswith("text/csv")
    rows = page.answer.content.decode("utf-8-sig").splitlines()
    assert len(rows) == 251
    assert all(row.startswith("night.csv,") for row in rows[1:])


def test_a_row_is_left_out_by_name_with_a_reason(planned: Run, page: Page) -> None:
    # given a file with one reading that is no number
    lines = a_reading_file(planned).decode().splitlines()
    spoiled = "\n".join([*lines, lines[-1].rpartition(",")[0] + ",1O0"]).encode()
    page.bring(("night.csv", spoiled))
    row = str(len(lines) + 1)
    assert f"row {row}" in page.text
    # when it is struck without a reason, then nothing is taken
    page.press("take " + page.hashes[0], strike=row, **WHEN)
    assert "Say why: a reader of the record must know" in page.text
    assert not ReadingFile.objects.exists()
    # when it is struck with one, then the rest is
    page.press("look", strike=row, why="written twice", **WHEN)
    assert "1 row left out" in page.text.replace("\u202f", " ").replace("\xa0", " ")
    page.press("take " + page.hashes[0], why="written twice", **WHEN)
    assert ReadingFile.objects.get().struck == [[int(row), "written twice"]]


def test_what_does_not_match_the_plan_is_asked(lab: Laboratory, planned: Run, page: Page) -> None:
    save_layout(by=lab.people["analyst"], at=lab.later(), specification=BY_LABEL)
    layout, position = Layout.objects.get(name="by label"), planned.positions.get(label="KF26-00002")
    page.bring(("night.csv", a_reading_file(planned).replace(b",KF26-00002,", b",KF2602,")))
    page.press("look", layout=str(layout.pk))
    assert "Which position is meant? " in page.text
    assert f'<option value="{position.number}">{position.number}, KF26-00002</option>' in page.words
    # when it is answered, then the answer stays to be seen, and goes on record
    page.press("look", layout=str(layout.pk), answer=str(position.number), **WHEN)
    assert f'<option value="{position.number}" selected>' in page.words
    page.press("take " + page.hashes[0], **WHEN)
    assert ReadingFile.objects.get().matched == {"KF2602": position.number}


def test_several_files_have_a_row_each_and_go_on_by_themselves(lab: Laboratory, planned: Run, page: Page) -> None:
    # given a run whose instrument wrote one file a line, and one of another run
    heading, *rows = a_reading_file(planned).decode().splitlines()
    of_line = {
        line: "\n".join([heading, *(row for row in rows if line in row)]).encode() for line in ("324.754", "220.353")
    }
    page.bring(("Cu.csv", of_line["324.754"]), ("Pb.csv", of_line["220.353"]), ("x.csv", b"position;label\n1;a\n"))
    assert len(page.hashes) == 3
    assert "No saved layout fits its headings" in page.text
    page.press("leave " + page.hashes[2])
    assert len(page.hashes) == 2


def test_the_same_bytes_lead_to_where_they_were_taken(lab: Laboratory, planned: Run, page: Page) -> None:
    content = a_reading_file(planned)
    an_imported_file(lab, planned, content)
    page.bring(("again.csv", content))
    assert "These very bytes were taken before" in page.text
    assert reverse("run", args=[planned.number]) in page.words
    assert "Take these readings" not in page.text


def test_two_people_bring_the_same_file_and_one_of_them_is_told(
    lab: Laboratory, planned: Run, page: Page, as_role: AsRole
) -> None:
    # given two browsers in which the same file was looked at
    other = Page(as_role("analyst"), planned).bring(("mine.csv", a_reading_file(planned)))
    page.bring(("night.csv", a_reading_file(planned)))
    # when one takes it, and then the other
    page.press("take " + page.hashes[0], **WHEN)
    other.press("take " + other.hashes[0], **WHEN)
    # then it is there once, and the other reads where
    assert ReadingFile.objects.count() == 1
    assert f"mine.csv is taken already, as night.csv of run {planned}" in other.text


def test_a_second_file_of_lines_that_were_read_is_told_so(lab: Laboratory, planned: Run, page: Page) -> None:
    an_imported_file(lab, planned)
    page.bring(("again.csv", a_reading_file(planned, factors={("CCV 1", "Pb"): 1.01})))
    assert f"run {planned} has its readings of Pb 220.353 already." in page.text
    assert "the method of this run does not have this line" not in page.text
    assert "Take these readings" not in page.text


def test_bytes_that_were_not_brought_here_take_nothing(planned: Run, as_role: AsRole) -> None:
    answer = as_role("analyst").post(
        reverse("import-readings", args=[planned.number]), {"do": "take", "files": "0" * 64, f"name-{'0' * 64}": "x"}
    )
    assert "x is not kept any more" in answer.content.decode()
    assert not ReadingFile.objects.exists()


def test_a_person_who_may_not_load_is_told_so_and_nothing_is_taken(planned: Run, as_role: AsRole) -> None:
    page = Page(as_role("reviewer"), planned).bring(("night.csv", a_reading_file(planned)))
    page.press("take " + page.hashes[0], **WHEN)
    assert "may not import readings" in page.text
    assert not ReadingFile.objects.exists()


def test_a_period_that_ends_before_it_begins_is_refused(planned: Run, page: Page) -> None:
    page.bring(("night.csv", a_reading_file(planned)))
    page.press("take " + page.hashes[0], measured_from="2026-11-17T04:18", measured_to="2026-11-16T20:00")
    assert "The end lies before the beginning" in page.text
    assert not ReadingFile.objects.exists()


@pytest.mark.parametrize(
    ("text", "rows"),
    [
        ("", set()),
        ("14", {14}),
        ("14, 20-22", {14, 20, 21, 22}),
        ("14; 15", {14, 15}),
        ("22-20", None),
        ("fourteen", None),
        ("1-999999999", None),
        ("-3", None),
    ],
)
def test_rows_written_as_spans(text: str, rows: set[int] | None) -> None:
    assert spans(text) == rows


@pytest.mark.parametrize("files", [0, 5])
def test_the_page_asks_the_database_seldom(
    planned: Run, page: Page, files: int, django_assert_max_num_queries: Callable[[int], object]
) -> None:
    content = a_reading_file(planned)
    with django_assert_max_num_queries(20):  # type: ignore[attr-defined]
        page.bring(*((f"{number}.csv", content + b"\n" * number) for number in range(files)))
