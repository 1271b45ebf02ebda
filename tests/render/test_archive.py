"""Certificates that can be kept and heard: what PDF/A-3u and PDF/UA-1 ask, as far as the structure of a file shows it.

No validator is to be had, so each clause that can be seen in the structure has a check (tests/render/archival.py), and
each check is shown a file with the fault that it looks for.
"""

from collections.abc import Callable
from dataclasses import replace
from io import BytesIO

import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name, Pdf, Stream, String

from reports.document import CertificateDocument
from reports.render.archive import Attachment
from reports.render.pdf import render_certificate
from tests.render import documents
from tests.render.archival import CHECKS
from tests.render.reading import pages
from tests.render.structure import elements, fonts, kids

FILES = (
    Attachment("C26-0297-1.json", "application/json", "The document as frozen", "Source", b'{"number": "C26-0297"}'),
    Attachment("C26-0297-1.csv", "text/csv", "Results, a row a sample", "Data", b"Sample,Au\r\nKF26,<0.1\r\n"),
)
DOCUMENTS: dict[str, Callable[[], CertificateDocument]] = {
    "one sample": lambda: documents.certificate(2, 1),
    "statements of conformity": lambda: documents.certificate(8, 14, conformity=True),
    "parted over pages": lambda: documents.certificate(8, 80),
    "parted by columns, preliminary": lambda: replace(documents.certificate(24, 40), preliminary=True),
    "amendment": documents.amendment,
    "rows below rows": lambda: documents.with_limits_of_their_own(6, 12),
    "everything else": documents.everything,
}


@pytest.fixture(scope="module", params=DOCUMENTS)
def kept(request: pytest.FixtureRequest) -> Pdf:
    return pikepdf.open(BytesIO(render_certificate(DOCUMENTS[request.param](), FILES)))


@pytest.mark.parametrize("clause", CHECKS)
def test_a_certificate_meets(clause: str, kept: Pdf) -> None:
    assert CHECKS[clause](kept) == []


def _first(pdf: Pdf, kind: str) -> pikepdf.Object:
    return next(element for element in elements(pdf) if kind == element.S)


def _spoil_content(pdf: Pdf, content: bytes) -> None:
    page = pdf.pages[0].obj
    page.Contents = Array([*page.Contents, pdf.make_indirect(Stream(pdf, content))])


def _spoil_packet(pdf: Pdf, old: bytes, new: bytes) -> None:
    pdf.Root.Metadata.write(pdf.Root.Metadata.read_bytes().replace(old, new))


def _add_field(pdf: Pdf, flags: int) -> None:
    field = Dictionary(Subtype=Name.Widget, FT=Name.Sig, F=flags, Rect=[0, 0, 0, 0], T="S", TU="Signature")
    pdf.pages[0].obj.Annots = Array([pdf.make_indirect(field)])


def _font_name(pdf: Pdf) -> bytes:
    return next(name for name in pdf.pages[0].Resources.Font).encode()  # type: ignore[no-any-return]


FAULTS: dict[str, tuple[str, Callable[[Pdf], object]]] = {
    "no identifier": ("19005-3 6.1.3", lambda pdf: pdf.trailer.__delitem__("/ID")),
    "no output intent": ("19005-3 6.2.3", lambda pdf: pdf.Root.__delitem__("/OutputIntents")),
    "four inks": ("19005-3 6.2.4", lambda pdf: _spoil_content(pdf, b"0 0 0 1 k")),
    "half transparent": (
        "19005-3 6.2.10",
        lambda pdf: pdf.pages[0].Resources.__setitem__("/ExtGState", Dictionary(s=Dictionary(ca=0.5))),
    ),
    "a font left outside": (
        "19005-3 6.2.11.4",
        lambda pdf: fonts(pdf)[0].DescendantFonts[0].FontDescriptor.__delitem__("/FontFile2"),
    ),
    "a width that is not the font's": (
        "19005-3 6.2.11.5",
        lambda pdf: fonts(pdf)[0].DescendantFonts[0].W[1].__setitem__(0, 5000),
    ),
    "a glyph without a sign": (
        "19005-3 6.2.11.7",
        lambda pdf: _spoil_content(pdf, b"/Artifact BMC BT " + _font_name(pdf) + b" 8 Tf [<fff0>] TJ ET EMC"),
    ),
    "a glyph that is none": (
        "19005-3 6.2.11.8",
        lambda pdf: _spoil_content(pdf, b"/Artifact BMC BT " + _font_name(pdf) + b" 8 Tf [<0000>] TJ ET EMC"),
    ),
    "an action": ("19005-3 6.5", lambda pdf: pdf.Root.__setitem__("/OpenAction", Dictionary(S=Name.GoTo))),
    "a script": ("19005-3 6.5", lambda pdf: pdf.pages[0].obj.__setitem__("/X", Dictionary(S=Name.JavaScript, JS="0"))),
    "a link": (
        "19005-3 6.3",
        lambda pdf: pdf.pages[0].obj.__setitem__(
            "/Annots", Array([Dictionary(Subtype=Name.Link, Rect=[0, 0, 9, 9], F=4)])
        ),
    ),
    "a hidden field": ("19005-3 6.3", lambda pdf: _add_field(pdf, 2)),
    "a field outside the structure": ("14289-1 7.18.1", lambda pdf: _add_field(pdf, 4)),
    "a stack too deep": ("19005-3 6.1.13", lambda pdf: _spoil_content(pdf, b"q " * 29 + b"Q " * 29)),
    "a state left open": ("19005-3 6.1.13", lambda pdf: _spoil_content(pdf, b"q")),
    "blending": (
        "19005-3 6.2.5",
        lambda pdf: pdf.pages[0].Resources.__setitem__("/ExtGState", Dictionary(s=Dictionary(BM=Name.Multiply))),
    ),
    "PostScript": (
        "19005-3 6.2.8",
        lambda pdf: pdf.pages[0].obj.__setitem__("/X", pdf.make_indirect(Stream(pdf, b"", Subtype=Name.PS))),
    ),
    "another order of signs": (
        "19005-3 6.2.11.3",
        lambda pdf: fonts(pdf)[0].DescendantFonts[0].CIDSystemInfo.__setitem__("/Ordering", String("Japan1")),
    ),
    "a relation of nobody's": (
        "19005-3 6.8 relation",
        lambda pdf: pdf.Root.AF[0].__setitem__("/AFRelationship", Name.Cousin),
    ),
    "a file that grew": ("19005-3 6.8 relation", lambda pdf: pdf.Root.AF[0].EF.F.Params.__setitem__("/Size", 1)),
    "a type of our own": ("14289-1 7.1 roles", lambda pdf: _first(pdf, "/P").__setitem__("/S", Name.Remark)),
    "suspects": ("14289-1 7.1 suspects", lambda pdf: pdf.Root.MarkInfo.__setitem__("/Suspects", True)),
    "an artifact in a word": (
        "14289-1 7.1 artifacts",
        lambda pdf: _spoil_content(pdf, b"/Span <</Lang (en)>> BDC /Artifact BMC EMC EMC"),
    ),
    "no tag of a language": (
        "14289-1 7.2 language",
        lambda pdf: pdf.Root.__setitem__("/Lang", String("plain English")),
    ),
    "a paragraph between rows": ("14289-1 7.5 parts", lambda pdf: _first(pdf, "/TR").__setitem__("/S", Name.P)),
    "two titles": ("19005-3 6.6.2 ", lambda pdf: pdf.trailer.Info.__setitem__("/Title", String("Another"))),
    "no schema": ("19005-3 6.6.2.3", lambda pdf: _spoil_packet(pdf, b">pdfuaid<", b"><")),
    "part 2": ("19005-3 6.6.4", lambda pdf: _spoil_packet(pdf, b"<pdfaid:part>3", b"<pdfaid:part>2")),
    "a file of no relation": ("19005-3 6.8 emb", lambda pdf: pdf.Root.__delitem__("/AF")),
    "part of PDF/UA": ("14289-1 5", lambda pdf: _spoil_packet(pdf, b"<pdfuaid:part>1", b"<pdfuaid:part>2")),
    "a rule without a mark": ("14289-1 7.1 real", lambda pdf: _spoil_content(pdf, b"0 0 9 9 re f")),
    "a mark of nobody": ("14289-1 7.1 real", lambda pdf: _spoil_content(pdf, b"/P <</MCID 9999>> BDC EMC")),
    "a title that is not shown": ("14289-1 7.1 title", lambda pdf: pdf.Root.__delitem__("/ViewerPreferences")),
    "no language": ("14289-1 7.2 nat", lambda pdf: pdf.Root.__delitem__("/Lang")),
    "a figure without words": ("14289-1 7.3", lambda pdf: _first(pdf, "/Figure").__delitem__("/Alt")),
    "a heading left out": ("14289-1 7.4", lambda pdf: _first(pdf, "/H2").__setitem__("/S", Name.H3)),
    "a head without scope": ("14289-1 7.5 tables", lambda pdf: _first(pdf, "/TH").A.__delitem__("/Scope")),
    "a row too short": ("14289-1 7.5 tables", lambda pdf: _first(pdf, "/TR").K.__delitem__(0)),
    "a head that is nowhere": (
        "14289-1 7.5 tables",
        lambda pdf: _first(pdf, "/TD").A.__setitem__("/Headers", Array([String("nowhere")])),
    ),
    "no tab order": ("14289-1 7.18.3", lambda pdf: pdf.pages[0].obj.__delitem__("/Tabs")),
    "no tree of identifiers": ("32000-1 14.7.2", lambda pdf: pdf.Root.StructTreeRoot.__delitem__("/IDTree")),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_check_sees_its_fault(fault: str) -> None:
    clause, spoil = FAULTS[fault]
    with pikepdf.open(BytesIO(render_certificate(documents.certificate(2, 1), FILES))) as pdf:
        spoil(pdf)
        (check,) = (check for name, check in CHECKS.items() if name.startswith(clause))
        assert check(pdf) != []


def test_an_encrypted_file_is_seen() -> None:
    out = BytesIO()
    with pikepdf.open(BytesIO(render_certificate(documents.certificate(2, 1)))) as pdf:
        pdf.save(out, encryption=pikepdf.Encryption(owner="o", user=""))
    with pikepdf.open(out) as locked:
        assert CHECKS["19005-3 6.1.3 file trailer"](locked) == ["the file is encrypted"]


def test_attached_files_are_as_they_were_given() -> None:
    document = documents.certificate(2, 1)
    with pikepdf.open(BytesIO(render_certificate(document, FILES))) as pdf:
        for file in FILES:
            found = pdf.attachments[file.name]
            assert found.get_file().read_bytes() == file.content
            assert (found.get_file().mime_type, str(found.obj.AFRelationship)) == (file.mime, f"/{file.relationship}")
            assert found.description == file.description


def test_the_same_document_with_the_same_files_gives_the_same_bytes() -> None:
    document = documents.certificate(3, 5)
    assert render_certificate(document, FILES) == render_certificate(document, FILES[::-1])
    assert render_certificate(document, FILES) != render_certificate(document)


def test_the_identifier_of_a_file_is_made_of_its_document() -> None:
    document = documents.certificate(2, 1)

    def identifier(of: CertificateDocument) -> bytes:
        with pikepdf.open(BytesIO(render_certificate(of))) as pdf:
            return bytes(pdf.trailer.ID[0])

    assert identifier(document) == identifier(document)
    assert identifier(document) != identifier(replace(document, check_code="another"))


def test_a_table_over_several_pages_is_one_table_with_one_head() -> None:
    document = documents.certificate(8, 80)
    pdf = render_certificate(document)
    assert sum("Results, continued" in text for text in pages(pdf)) == 2
    with pikepdf.open(BytesIO(pdf)) as opened:
        tables = [e for e in elements(opened) if e.S == "/Table" and kids(e)[0].S == "/Caption"]
        assert len(tables) == 1
        assert [str(part.S) for part in kids(tables[0])] == ["/Caption", "/THead", "/TBody"]
        assert len(kids(kids(tables[0])[2])) == len(document.rows)


def test_a_cell_names_its_sample_and_its_column() -> None:
    with pikepdf.open(BytesIO(render_certificate(documents.certificate(3, 2)))) as pdf:
        table = next(e for e in elements(pdf) if e.S == "/Table" and kids(e)[0].S == "/Caption")
        names = {str(e.ID): e for e in elements(pdf) if "/ID" in e}
        sample = kids(kids(table)[2])[1]
        gold = kids(sample)[2]
        heads = [names[str(name)] for name in gold.A.Headers]
        assert heads[0].objgen == kids(sample)[0].objgen
        assert str(heads[1].A.Scope) == "/Column"


@pytest.mark.parametrize(
    ("when", "expected"),
    [
        ("Thu 12 November 2026, 14:05 +01:00", "D:20261112130500Z"),
        ("Mon 23 November 2026, 10:05 UTC+0000", "D:20261123100500Z"),
        ("some day", None),
    ],
)
def test_a_file_was_made_when_the_certificate_was_signed_last(when: str, expected: str | None) -> None:
    document = documents.certificate(2, 1)
    signed = replace(document, signatures=(*document.signatures[:-1], replace(document.signatures[-1], when=when)))
    with pikepdf.open(BytesIO(render_certificate(signed, FILES))) as pdf:
        dates = [
            pdf.trailer.Info.get("/CreationDate"),
            pdf.attachments[FILES[0].name].get_file().obj.Params.get("/ModDate"),
        ]
        assert [None if date is None else str(date) for date in dates] == [expected, expected]
        assert CHECKS["19005-3 6.6.2 metadata"](pdf) == []
