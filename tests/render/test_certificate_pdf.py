"""The certificate on paper: read back from the PDF, since that is what a client holds."""

import importlib.abc
import sys
from dataclasses import replace
from io import BytesIO

import pikepdf
import pytest
from pikepdf import parse_content_stream
from pypdf import PdfReader

from reports.document import CertificateDocument, Column
from reports.render.pdf import render_certificate
from reports.render.printing import CannotPrint, PangoMissing, pdf_of
from tests.render import documents
from tests.render.reading import fonts, pages, sizes_mm
from tests.render.structure import fonts as fonts_of
from tests.render.structure import shown_codes, to_unicode

UPRIGHT, LANDSCAPE = (210, 297), (297, 210)


@pytest.fixture(scope="module")
def narrow() -> CertificateDocument:
    return documents.certificate(8, 14, conformity=True)


@pytest.fixture(scope="module")
def narrow_pdf(narrow: CertificateDocument) -> bytes:
    return render_certificate(narrow)


@pytest.fixture(scope="module")
def wide() -> CertificateDocument:
    return documents.certificate(24, 40)


@pytest.fixture(scope="module")
def wide_pdf(wide: CertificateDocument) -> bytes:
    return render_certificate(wide)


def _words_of(document: CertificateDocument) -> list[str]:
    """Return every string that must stand on the paper."""
    words = [document.title, document.laboratory, *document.address, document.number, document.client]
    words += [*document.client_address, document.reference, document.submission, document.sampling, document.received]
    words += [document.sampled, document.measured, document.issued, document.reported_on, document.description]
    words += [document.rule_name, document.rule_text, document.uncertainty_text, document.conformity_text]
    words += [*document.departures, *document.statements, document.chain_head, document.check_code]
    words += [text for s in document.signatures for text in (s.name, s.meaning, s.when)]
    words += [text for m in document.methods for text in (m.code, m.what_was_done, m.lines, *m.runs, m.blank)]
    words += [text for c in document.controls for text in (c.label, c.analyte, c.expected, c.found, c.accepted_because)]
    words += [text for r in document.rows for text in (r.number, r.client_identification, r.conformity)]
    return [" ".join(word.split()) for word in words]


@pytest.mark.parametrize("which", ["narrow", "wide"])
def test_everything_in_the_document_stands_on_paper(which: str, request: pytest.FixtureRequest) -> None:
    document, pdf = request.getfixturevalue(which), request.getfixturevalue(f"{which}_pdf")
    text = " ".join(pages(pdf))
    assert [word for word in _words_of(document) if word not in text] == []


def test_each_row_is_printed_in_full_and_in_order(narrow: CertificateDocument, narrow_pdf: bytes) -> None:
    text = " ".join(pages(narrow_pdf))
    for row in narrow.rows:
        values = " ".join(cell.printed.replace("\u00a0", " ") + cell.mark for cell in row.cells)
        assert f"{row.number} {row.client_identification} {values} {row.conformity}" in text


def test_every_sheet_has_number_issue_and_page_of_pages(wide_pdf: bytes) -> None:
    texts = pages(wide_pdf)
    for at, text in enumerate(texts, start=1):
        assert "C26-0297, issue 1" in text
        assert f"page {at} of {len(texts)}" in text


def test_all_fonts_are_in_the_file(narrow_pdf: bytes) -> None:
    found = fonts(narrow_pdf)
    assert found
    assert all(found.values()), found
    assert {name.partition("+")[2].partition("-")[0] for name in found} <= {
        "Atkinson",
        "AtkinsonHyperlegible",
        "AtkinsonHyperlegibleNext",
        "AtkinsonHyperlegibleMono",
        "Newsreader",
        "Signs",
    }


def test_the_file_says_what_it_is(narrow_pdf: bytes) -> None:
    reader = PdfReader(BytesIO(narrow_pdf))
    assert reader.metadata is not None
    assert reader.metadata.title == "Certificate of analysis C26-0297, issue 1"
    assert reader.metadata.author == "Kestrel Flat Laboratory"
    assert reader.root_object["/Lang"] == "en"
    assert "/StructTreeRoot" in reader.root_object  # tagged: a screen reader finds the tables


def test_the_same_document_gives_the_same_bytes(narrow: CertificateDocument, narrow_pdf: bytes) -> None:
    assert render_certificate(CertificateDocument.from_json(narrow.to_json())) == narrow_pdf


def test_few_columns_stand_upright(narrow_pdf: bytes) -> None:
    assert set(sizes_mm(narrow_pdf)) == {UPRIGHT}


def test_many_columns_lie_landscape_and_are_parted_by_columns(wide: CertificateDocument, wide_pdf: bytes) -> None:
    assert set(sizes_mm(wide_pdf)) == {LANDSCAPE}
    with_values = [text for text in pages(wide_pdf) if "Detection limit" in text]
    for row in wide.rows:
        assert (
            sum(f"{row.number} {row.client_identification}" in text for text in with_values) == 2
        )  # once in each part


@pytest.mark.parametrize(("analytes", "samples"), [(8, 60), (10, 40)])
def test_detection_limits_repeat_with_the_head_of_the_table(analytes: int, samples: int) -> None:
    document = documents.certificate(analytes, samples)
    texts = pages(render_certificate(document))
    for row in document.rows:
        with_row = [text for text in texts if f"{row.number} {row.client_identification}" in text]
        assert with_row
        assert all("Detection limit 0." in text for text in with_row)


@pytest.mark.parametrize("samples", [8, 15, 24])
def test_signatures_never_stand_alone(samples: int) -> None:
    last = pages(render_certificate(documents.certificate(6, samples)))[-1]
    assert "Marta Quill" in last
    assert "The results relate only to the items tested." in last
    assert "C26-0297, issue 1" in last


def test_identification_is_printed_to_the_letter() -> None:
    own = ['<b>&"x', "{{ document.number }}", "{% now %}", "&lt;", "a  b", "Žďár n° 7 / Größe ±½ µΩ α", "=1+1"]
    document = documents.certificate(4, len(own))
    rows = tuple(replace(row, client_identification=text) for row, text in zip(document.rows, own, strict=True))
    text = " ".join(pages(render_certificate(replace(document, rows=rows))))
    for identification in own:
        assert " ".join(identification.split()) in text


def test_a_name_beyond_latin_1_is_printed_in_every_face() -> None:
    named = replace(documents.certificate(2, 1), client="Żółw Ďáblice", laboratory="Łabędź Ğ", number="Ž26-0001")
    named = replace(named, signatures=(replace(named.signatures[0], name="Řehoř Őry"),))
    texts = pages(render_certificate(named))
    for word in (named.client, named.laboratory, named.number, "Řehoř Őry"):
        assert word in " ".join(texts)
    assert all(f"{named.number}, issue 1" in text for text in texts)
    assert named.client in texts[-1]


def test_identification_keeps_its_spaces() -> None:
    document = documents.certificate(2, 1)
    row = replace(document.rows[0], client_identification="two  spaces")
    first = PdfReader(BytesIO(render_certificate(replace(document, rows=(row,))))).pages[0]
    assert "two  spaces" in first.extract_text()


@pytest.mark.parametrize("text", ["שלום 7", "नमस्ते", "cafe\u0301 12", "標本 12", "Проба № 4", "مرحبا"])
def test_an_identification_in_any_script_is_printed(text: str) -> None:
    document = documents.certificate(2, 1)
    row = replace(document.rows[0], client_identification=text)
    try:
        pdf = render_certificate(replace(document, rows=(row,)))
    except CannotPrint as refused:
        pytest.skip(f"no font of this machine has {refused.signs}")
    assert set(text) - {" "} <= _signs(pdf)


def _signs(pdf: bytes) -> set[str]:
    """Return every sign that the glyphs of a file stand for."""
    with pikepdf.open(BytesIO(pdf)) as opened:
        maps = {str(font.BaseFont): to_unicode(font) for font in fonts_of(opened)}
        return set("".join(maps[font][code] for font, code in shown_codes(opened)))


def test_a_sign_without_a_glyph_is_refused_and_named() -> None:
    document = documents.certificate(2, 1)
    unknown = replace(document, rows=(replace(document.rows[0], client_identification="bag \ue123"),))
    with pytest.raises(CannotPrint, match=r"U\+E123"):
        render_certificate(unknown)


def test_a_preliminary_certificate_says_so_on_every_sheet() -> None:
    texts = pages(render_certificate(replace(documents.certificate(8, 30), preliminary=True)))
    assert len(texts) > 1
    assert all("PRELIMINARY" in text for text in texts)


def test_a_final_certificate_does_not_say_preliminary(narrow_pdf: bytes) -> None:
    assert "PRELIMINARY" not in " ".join(pages(narrow_pdf))


def _bars(pdf: bytes) -> int:
    """Count the upright bars, 0.7 mm wide, that mark a changed value."""
    with pikepdf.open(BytesIO(pdf)) as opened:
        boxes = [operands for operands, operator in parse_content_stream(opened.pages[0]) if str(operator) == "re"]
    return sum(abs(float(width) - 0.7 * 72 / 25.4) < 0.01 and float(height) > 5 for _, _, width, height in boxes)


def test_an_amendment_says_why_and_what_changed() -> None:
    document = documents.amendment()
    text = " ".join(pages(render_certificate(document)))
    assert "issue 2, replaces issue 1 of 12 November 2026" in text
    assert document.replaces_why in text
    assert "KF26-04115 As, mg/kg 119 123" in text
    assert _bars(render_certificate(document)) == 1
    assert _bars(render_certificate(documents.certificate())) == 0


def test_a_limit_of_one_sample_is_shown_where_it_differs() -> None:
    document = documents.certificate(3, 2)
    first, second = document.rows
    cells = (replace(first.cells[0], detection_limit="0.04"), *first.cells[1:])
    same = (replace(second.cells[0], detection_limit=document.columns[0].detection_limit), *second.cells[1:])
    text = " ".join(
        pages(render_certificate(replace(document, rows=(replace(first, cells=cells), replace(second, cells=same)))))
    )
    assert text.count("detection limit of this sample 0.04") == 1
    assert text.count("detection limit of this sample") == 1


def test_uncertainties_stand_below_the_results_they_belong_to() -> None:
    document = documents.certificate(3, 1)
    cells = tuple(replace(cell, u=f"0.{at}") for at, cell in enumerate(document.rows[0].cells, start=1))
    text = " ".join(pages(render_certificate(replace(document, rows=(replace(document.rows[0], cells=cells),)))))
    assert "expanded uncertainty U 0.1 0.2 0.3" in text


def test_columns_of_one_element_are_told_apart_by_their_basis() -> None:
    document = documents.certificate(1, 1)
    (total,) = document.columns
    dissolved = Column("Au-d", total.formula, total.unit, "dissolved", total.method, "0.01", "0.03")
    cells = (*document.rows[0].cells, replace(document.rows[0].cells[0], column="Au-d"))
    two = replace(
        document,
        columns=(replace(total, basis="total"), dissolved),
        rows=(replace(document.rows[0], cells=cells),),
    )
    assert "g/t total" in pages(render_certificate(two))[0]
    assert "g/t dissolved" in pages(render_certificate(two))[0]


def test_without_pango_one_sentence_names_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    class NoPango(importlib.abc.MetaPathFinder):
        def find_spec(self, name: str, path: object, target: object = None) -> None:
            if name == "weasyprint":
                raise OSError("cannot load library 'libpango-1.0-0'")

    for name in [name for name in sys.modules if name.partition(".")[0] == "weasyprint"]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setattr(sys, "meta_path", [NoPango(), *sys.meta_path])
    with pytest.raises(PangoMissing, match=r"libpango-1\.0-0.*libpangoft2-1\.0-0.*Homebrew"):
        render_certificate(documents.certificate(1, 1))


@pytest.mark.parametrize("address", ["http://example.org/x.png", "file:///etc/hostname", "../../templates/x.html"])
def test_a_page_reaches_nothing_outside_the_print_folder(address: str) -> None:
    with pytest.raises(ValueError, match="may use files of reports only"):
        pdf_of(f'<img src="{address}">', b"0" * 16)
