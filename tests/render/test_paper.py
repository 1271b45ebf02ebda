"""Receipt and bench sheet, read back from the PDF."""

from dataclasses import replace

from reports.render.bench_sheet import render_bench_sheet
from reports.render.paper import render_receipt
from tests.render.papers import BENCH, RECEIPT
from tests.render.reading import codes, fonts, pages


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


def test_what_was_found_on_arrival_and_what_is_asked_otherwise_are_said() -> None:
    text = " ".join(pages(render_receipt(RECEIPT)))
    for words in ("Seals intact", "Temperature 6.5 °C on receipt", "Rows 1–2: as received"):
        assert words in text
    assert codes(render_receipt(RECEIPT)) == [RECEIPT.number]


def test_the_bench_sheet_has_cautions_on_top_then_tubes_with_what_is_recorded() -> None:
    pdf = render_bench_sheet(BENCH)
    (text,) = pages(pdf)
    assert text.index("Hydrofluoric acid") < text.index("licensed practice decide") < text.index("Label")
    for words in ("1 B26-0009 MB1 method blank", "27.2846 0.2714", "0.245–", "weighed by", "outside: sticky"):
        assert words in text
    assert "Printed figures are already recorded. Written ones count only when entered" in text
    assert "Tube 2, KF26-00011 lost: boiled dry" in text


def test_every_code_of_a_bench_sheet_is_read_back_though_they_stand_close() -> None:
    assert codes(render_bench_sheet(BENCH)) == sorted([BENCH.number, *(row.code for row in BENCH.rows)])


def test_a_long_batch_goes_on_with_its_headings() -> None:
    rows = tuple(replace(BENCH.rows[1], tube=tube, label=f"KF26-{tube:05d}") for tube in range(1, 61))
    texts = pages(render_bench_sheet(replace(BENCH, rows=rows)))
    assert len(texts) > 1
    assert all("What it is" in text for text in texts if "KF26-" in text)
    assert "entered by" in texts[-1]


def test_the_same_paper_is_the_same_file() -> None:
    assert render_bench_sheet(BENCH) == render_bench_sheet(replace(BENCH))
    assert render_receipt(RECEIPT) == render_receipt(replace(RECEIPT))
