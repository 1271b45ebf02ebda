"""Receipt and labels, read back from the PDF."""

from dataclasses import replace

import pytest

from reports.render.paper import render_labels, render_receipt
from tests.render.papers import RECEIPT, labels
from tests.render.reading import fonts, pages, sizes_mm


def test_the_receipt_holds_what_was_received_to_the_letter() -> None:
    pdf = render_receipt(RECEIPT)
    text = " ".join(pages(pdf))
    for at, line in enumerate(RECEIPT.lines, start=1):
        own = " ".join(line.client_identification.split())
        assert f"{at} {line.number} {own} {line.delivered} {line.noted}".strip() in text
    for word in (RECEIPT.number, RECEIPT.due, RECEIPT.asked_for, RECEIPT.kept_until, RECEIPT.notices[0].text):
        assert word in text
    assert "page 1 of 1" in text
    assert all(fonts(pdf).values())


def test_a_long_receipt_numbers_its_sheets() -> None:
    lines = tuple(replace(RECEIPT.lines[0], number=f"KF26-{number:05d}") for number in range(1, 121))
    texts = pages(render_receipt(replace(RECEIPT, lines=lines)))
    assert len(texts) > 2
    assert all(f"page {at} of {len(texts)}" in text for at, text in enumerate(texts, start=1))
    assert all("Our number" in text for text in texts if "KF26-" in text)


@pytest.mark.parametrize(("count", "sheets"), [(1, 1), (24, 1), (25, 2)])
def test_24_labels_stand_on_a_sheet(count: int, sheets: int) -> None:
    pdf = render_labels(labels(count))
    assert sizes_mm(pdf) == [(210, 297)] * sheets
    texts = pages(pdf)
    assert sum(text.count("S26-0325, due Thu 19 Nov") for text in texts) == count
    assert all("page" not in text for text in texts)  # a label sheet has nothing but labels


def test_two_bottles_of_one_sample_are_told_apart_by_a_word() -> None:
    (text,) = pages(render_labels(labels(2)))
    assert text.count("KF26-04175") == 2
    assert "total" in text
    assert "dissolved" in text


def test_the_same_paper_is_the_same_file() -> None:
    assert render_labels(labels(3)) == render_labels(labels(3))
    assert render_receipt(RECEIPT) == render_receipt(replace(RECEIPT))
