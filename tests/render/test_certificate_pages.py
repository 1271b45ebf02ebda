"""Page by page: what stands where it is needed, on short and on long certificates, and what few of them have."""

from dataclasses import replace
from io import BytesIO

import pikepdf
import pytest

from reports.document import PREVIEW
from reports.render.pdf import render_certificate
from tests.render import documents
from tests.render.reading import codes, pages


def test_a_remark_stands_on_each_page_that_needs_it_and_on_no_other() -> None:
    document = documents.certificate(8, 100)
    rows = []
    for at, row in enumerate(document.rows):
        rows.append(replace(row, cells=tuple(replace(c, mark="b" if at == 95 else "") for c in row.cells)))
    remark = document.remarks[1].text
    for text in pages(render_certificate(replace(document, rows=tuple(rows)))):
        assert (remark in text) == (rows[95].number in text)


@pytest.mark.parametrize("analytes", [1, 8, 12, 45])
def test_each_result_is_printed_once_whatever_the_number_of_analytes(analytes: int) -> None:
    document = documents.certificate(analytes, 7)
    text = " ".join(pages(render_certificate(document)))
    for row in document.rows:
        found = [part.split() for part in text.split(f"{row.number} {row.client_identification} ")[1:]]
        printed = [cell.printed.replace("\u00a0", " ") + cell.mark for cell in row.cells]
        for words in found:  # what stands behind a sample's name are its next results, as many as the sheet has
            at = 0
            while printed and words[at : at + len(printed[0].split())] == printed[0].split():
                at += len(printed.pop(0).split())
        assert printed == []


@pytest.mark.parametrize(
    ("changed", "word"),
    [({"preliminary": True}, "PRELIMINARY"), ({"number": PREVIEW}, "PREVIEW")],
    ids=["preliminary", "a preview"],
)
def test_a_word_lies_across_each_page_and_the_text_stays_whole(changed: dict[str, object], word: str) -> None:
    document = replace(documents.certificate(8, 60), **changed)  # type: ignore[arg-type]
    pdf = render_certificate(document)
    with pikepdf.open(BytesIO(pdf)) as opened:
        for page in opened.pages:
            first = page.Contents[0] if isinstance(page.Contents, pikepdf.Array) else page.Contents
            assert first.read_bytes().startswith(b"/Artifact <</Type /Pagination>> BDC")
    for text in pages(pdf):
        assert word in text
    assert sum(text.count("KF26-04") for text in pages(pdf)) >= len(document.rows)


def test_an_address_to_ask_at_is_printed_and_coded() -> None:
    document = replace(documents.certificate(2, 1), verify_address="https://lab.example/v/7KQ4-MX2R")
    pdf = render_certificate(document)
    assert "lab.example/v/7KQ4-MX2R" in pages(pdf)[-1]
    assert codes(pdf) == ["https://lab.example/v/7KQ4-MX2R"]
    assert codes(render_certificate(documents.certificate(2, 1))) == ["C26-0297/1 7KQ4-MX2R"]


def test_what_few_certificates_have_is_printed_too() -> None:
    document = documents.everything()
    text = " ".join(pages(render_certificate(document)))
    (opinion,), (note,), (grade,), (derived,) = (
        document.opinions,
        document.sampling_notes,
        document.grades,
        document.derived_notes,
    )
    for words in (
        *(document.submissions[0], f"Submission {document.submissions[1]}", document.accreditation),
        *("Opinion, not a result of measurement", opinion.text, opinion.basis, opinion.name),
        *(note.sampled_by, note.place, note.plan, note.uncertainty),
        *(grade.name, grade.samples, grade.mass, "1.24 U 0.1"),
        *(derived.formula, derived.below, derived.source),
    ):
        assert words in text, words


def test_each_change_of_an_amendment_has_its_reason_where_reasons_differ() -> None:
    document = documents.amendment()
    (first,) = document.changes
    changes = (
        replace(first, column=document.columns[2].key, reason="standard withdrawn"),
        replace(first, sample="KF26-04116", reason="a slip of the pen"),
    )
    text = " ".join(pages(render_certificate(replace(document, changes=changes))))
    assert "KF26-04115 As, mg/kg 119 123 standard withdrawn" in text
    assert "119 123 a slip of the pen" in text


def test_a_name_too_long_for_the_margin_is_cut() -> None:
    document = replace(documents.certificate(8, 60), client="A client with a very long name " * 5)
    second = pages(render_certificate(document))[1]
    assert "A client with a very long name A client" in second
    assert "…" in second


def test_progress_is_told_to_the_end() -> None:
    told: list[tuple[int, int]] = []
    render_certificate(documents.certificate(8, 900), progress=lambda done, parts: told.append((done, parts)))
    assert told == sorted(told)
    assert len({parts for _, parts in told}) == 1
    assert told[-1][0] == told[-1][1] > 3
