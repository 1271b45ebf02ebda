"""Labels of a submission and of a batch: the sheet is chosen on a page, then printed."""

from collections.abc import Callable
from urllib.parse import urlencode

import pytest
from django.test import Client
from django.urls import reverse

from labresults.models import Submission
from reports.web.forms import labels as form
from tests.builders import Laboratory, a_submission, a_weighed_batch
from tests.render.reading import codes, pages, sizes_mm
from tests.web.test_paper import DeliveredSample as Row
from tests.web.test_paper import a_batch_half_weighed, delivered

AsRole = Callable[[str], Client]


def printed(browser: Client, page: str, number: str, **asked: object) -> bytes:
    answer = browser.get(reverse(f"{page}-file", args=[number]), asked)
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    assert f'filename="{number}-labels.pdf"' in answer["Content-Disposition"]
    return answer.content


def shown(browser: Client, number: str, **asked: object) -> str:
    answer = browser.get(reverse("labels", args=[number]), asked)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def test_each_sample_has_its_label_and_its_code_is_the_number_alone(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab, 3)
    pdf = printed(as_role("preparer"), "labels", submission.number)
    numbers = [sample.number for sample in submission.samples.order_by("ordinal")]
    due = submission.requests.get().due_on
    (words,) = pages(pdf)
    assert codes(pdf) == numbers
    assert sizes_mm(pdf) == [(210, 297)]
    for sample in submission.samples.all():
        assert f"{sample.number} {sample.client_identification} soil" in words
    assert words.count(f"{submission.number}, due {due:%a} {due.day} {due:%b}") == 3


def test_hazards_filtration_and_preservation_are_on_the_label(lab: Laboratory, as_role: AsRole) -> None:
    row = Row(
        1, "a", "rock", "30", hazards=("cyanide leach: never meets acid",), field_filtered="yes", preservation="ice"
    )
    (words,) = pages(printed(as_role("reception"), "labels", delivered(lab, row).number))
    assert "KF26-00001 a cyanide: no acid field filtered rock; ice" in words


def test_the_code_of_a_tube_is_its_sample_or_the_label_of_a_control(lab: Laboratory, as_role: AsRole) -> None:
    batch = a_batch_half_weighed(lab)
    pdf = printed(as_role("preparer"), "batch-labels", batch.number)
    tubes = batch.portions.filter(discarded=None)
    own = {"KF26-00003 (2)": "KF26-00003"}
    assert codes(pdf) == sorted(own.get(tube.label, tube.label) for tube in tubes)
    (words,) = pages(pdf)
    assert "KF26-00003 (2) core 3 tube" in words
    assert f"{batch.number} MB1 method blank tube 1" in words
    assert "KF26-00002 core 2 toxic tube 4" in words


@pytest.mark.parametrize(
    ("asked", "rows", "size_mm", "sheets"),
    [
        ({"only": "2, 4-5"}, [2, 4, 5], (210, 297), 1),
        ({"only": "KF26-00003", "copies": 3}, [3, 3, 3], (210, 297), 1),
        ({"only": "1-2", "start": 24}, [1, 2], (210, 297), 2),
        ({"paper": "Letter", "columns": 2, "rows": 2}, [1, 2, 3, 4, 5, 6], (216, 279), 2),
        ({"paper": "single", "width": "25", "height": "10", "only": "6"}, [6], (25, 10), 1),
        ({"paper": "single", "width": "31.2", "height": "40", "only": "1 to 2"}, [1, 2], (31, 40), 2),
    ],
    ids=["some", "copies", "part-used", "Letter", "roll", "upright"],
)
def test_what_is_asked_for_is_printed(
    asked: dict[str, object], rows: list[int], size_mm: tuple[int, int], sheets: int, lab: Laboratory, as_role: AsRole
) -> None:
    pdf = printed(as_role("reception"), "labels", a_submission(lab, 6).number, **asked)
    assert codes(pdf, dots_per_inch=300) == [f"KF26-{row:05d}" for row in rows]
    assert sizes_mm(pdf) == [size_mm] * sheets


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"columns": 4, "width": 60}, "Columns: 4 across, 60 mm each, with gaps of 0 mm, need 240 mm"),
        ({"top": 140, "bottom": 150, "gap_down": 2}, "Rows: Margins and gaps down take 304 mm of the page"),
        ({"paper": "single", "width": 20, "height": 8}, "Height: A label of 20 × 8 mm is too small for a code"),
        ({"paper": "single", "width": 20, "height": ""}, "Height: Give it."),
        ({"rows": ""}, "Rows: Give it."),
        ({"columns": 0}, "Columns: Ensure this value is greater than or equal to 1."),
        ({"start": 25}, "A page has 24 places: begin at one of them."),
        ({"only": "9, KF26-00001"}, "Not here: 9. Write numbers or rows (1 to 2)"),
        ({"copies": "x"}, "Enter a whole number."),
    ],
)
def test_what_cannot_be_is_said_beside_its_field_and_nothing_is_printed(
    asked: dict[str, object], words: str, lab: Laboratory, as_role: AsRole
) -> None:
    number, browser = a_submission(lab, 2).number, as_role("reception")
    page = shown(browser, number, **asked)
    assert words in page
    assert "sheet-picture" not in page
    assert reverse("labels-file", args=[number]) not in page
    answer = browser.get(reverse("labels-file", args=[number]), asked)
    assert (answer.status_code, answer["Location"].partition("?")[0]) == (302, reverse("labels", args=[number]))


def test_the_page_shows_the_sheet_before_it_is_printed(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab, 5, names=["a story of the sack " * 9, "b", "c", "d", '<b>"e'])
    browser = as_role("reception")
    page = shown(browser, submission.number, **form.PRESETS["25 × 10 mm"])
    assert "The first label, 25 × 10 mm" in page
    assert "1 identification longer than the label" in page
    assert "Print 5 labels, PDF" in page
    page = shown(browser, submission.number, start=22)
    assert "Next time the first free place is 3" in page
    assert page.partition('class="taken"')[2].partition(">")[0].count("M") == 3  # places 22 to 24 of the first page
    assert page.partition('class="places"')[2].partition(">")[0].count("M") == 24


@pytest.mark.parametrize("words", form.PRESETS)
def test_every_grid_at_hand_holds_a_whole_label(words: str, lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab, 1)
    page = shown(as_role("reception"), submission.number, **form.PRESETS[words])
    assert f'aria-current="true">{words}</a>' in page
    assert "identification longer" not in page
    assert "Print 1 label, PDF" in page


def test_a_grid_keeps_which_labels_were_chosen(lab: Laboratory, as_role: AsRole) -> None:
    page = shown(as_role("reception"), a_submission(lab, 3).number, only="2-3", copies=2)
    assert page.count(urlencode({"only": "2-3", "copies": "2"}).replace("&", "&amp;")) == len(form.PRESETS)


def test_the_sheet_that_was_printed_last_comes_up_the_next_time_and_not_its_labels(
    lab: Laboratory, as_role: AsRole
) -> None:
    first, second, browser = a_submission(lab, 2), a_submission(lab, 3), as_role("reception")
    printed(browser, "labels", first.number, only="2", copies=2, **form.PRESETS["25 × 10 mm"])
    page = shown(browser, second.number)
    assert "The first label, 25 × 10 mm" in page
    assert "Print 3 labels, PDF" in page
    assert "The first label, 64 × 34 mm" in shown(as_role("preparer"), second.number)


def test_many_labels_are_printed_in_parts(lab: Laboratory, as_role: AsRole, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(form, "MOST_LABELS", 4)
    submission, browser = a_submission(lab, 9), as_role("reception")
    page = shown(browser, submission.number)
    assert "One file holds 4 labels: print them in parts." in page
    for rows in ("1-4", "5-8", "9-9"):
        assert f">{rows}</a>" in page
    assert codes(printed(browser, "labels", submission.number, only="5-8")) == [
        f"KF26-{row:05d}" for row in range(5, 9)
    ]


def test_the_pages_of_a_submission_and_of_a_batch_lead_to_their_labels(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab, 1)
    batch, browser, client = a_weighed_batch(lab, submission), as_role("reception"), as_role("client")
    for page, of, number in (("labels", "submission", submission.number), ("batch-labels", "batch", batch.number)):
        address = reverse(page, args=[number])
        assert address in browser.get(reverse(of, args=[number])).content.decode()
        assert reverse(of, args=[number]) in browser.get(address).content.decode()
        assert client.get(address).status_code == 403
        assert browser.get(reverse(page, args=["S26-9999"])).status_code == 404


def test_a_submission_without_samples_left_has_nothing_to_print(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab, 1)
    Submission.objects.get().samples.update(struck_at=lab.clock)
    assert "There is nothing to print a label of." in shown(as_role("reception"), submission.number)


@pytest.mark.parametrize("page", ["labels", "batch-labels", "labels-file", "batch-labels-file"])
def test_labels_make_few_queries_whatever_their_number(
    lab: Laboratory, as_role: AsRole, page: str, django_assert_max_num_queries: Callable[[int], object]
) -> None:
    submission = a_submission(lab, 20)
    number = a_weighed_batch(lab, submission).number if page.startswith("batch") else submission.number
    browser = as_role("reception")
    with django_assert_max_num_queries(16):  # type: ignore[attr-defined]
        assert browser.get(reverse(page, args=[number])).status_code == 200
