"""What ISO 19005-3 (PDF/A-3u) and ISO 14289-1 (PDF/UA-1) ask of a file, as far as its structure shows it.

Numbers and titles of clauses: from memory. Each check returns what it has to complain of; none of them is a validator.
"""

import re
from collections.abc import Callable
from io import BytesIO
from xml.etree import ElementTree

from fontTools.ttLib import TTFont
from pikepdf import Array, Dictionary, Name, Object, Pdf, Stream

from tests.render import archival_objects
from tests.render.structure import (
    descriptor,
    elements,
    fonts,
    kids,
    marks_of,
    operations,
    parent_tree,
    shown_codes,
    to_unicode,
    widths,
)

Check = Callable[[Pdf], list[str]]
RDF, DC, PDF, XMP = (
    "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}",
    "{http://purl.org/dc/elements/1.1/}",
    "{http://ns.adobe.com/pdf/1.3/}",
    "{http://ns.adobe.com/xap/1.0/}",
)
PAINTS = {"TJ", "Tj", "'", '"', "S", "s", "f", "F", "f*", "B", "B*", "b", "b*", "sh", "Do", "BI", "INLINE IMAGE"}
HEADINGS = ("/H1", "/H2", "/H3", "/H4", "/H5", "/H6")


def _no_secrets(pdf: Pdf) -> list[str]:
    wrong = [] if "/ID" in pdf.trailer and len(pdf.trailer.ID) == 2 else ["the file has no identifier"]
    return wrong + ["the file is encrypted"] * ("/Encrypt" in pdf.trailer)


def _streams(pdf: Pdf) -> list[str]:
    streams = [one for one in pdf.objects if isinstance(one, Stream)]
    return [
        f"stream {s.objgen} is outside the file or packed by LZW"
        for s in streams
        if "/F" in s or "LZW" in str(s.get("/Filter"))
    ]


def _output_intent(pdf: Pdf) -> list[str]:
    intents = [i for i in pdf.Root.get("/OutputIntents", Array()) if i.S == "/GTS_PDFA1"]
    if len(intents) != 1:
        return [f"{len(intents)} output intents"]
    profile = intents[0].DestOutputProfile
    return (
        []
        if int(profile.N) == 3 and profile.read_bytes()[36:40] == b"acsp"
        else ["the profile is not one of three colours"]
    )


def _colours(pdf: Pdf) -> list[str]:
    return [f"page {n} paints in CMYK" for n, operator, _, _ in operations(pdf) if operator in {"k", "K"}]


def _opaque(pdf: Pdf) -> list[str]:
    wrong = []
    for number, page in enumerate(pdf.pages, start=1):
        for name, state in page.Resources.get("/ExtGState", Dictionary()).items():
            if float(state.get("/ca", 1)) != 1 or float(state.get("/CA", 1)) != 1 or "/SMask" in state:
                wrong.append(f"page {number}: state {name} is transparent")
    return wrong


def _embedded(pdf: Pdf) -> list[str]:
    wrong = [f"{font.BaseFont} is not in the file" for font in fonts(pdf) if "/FontFile2" not in descriptor(font)]
    names = [str(font.BaseFont) for font in fonts(pdf)]
    wrong += [f"two subsets are named {name}" for name in sorted(set(names)) if names.count(name) > 1]
    return wrong + [
        f"{f.BaseFont} has no map of glyphs" for f in fonts(pdf) if "/CIDToGIDMap" not in f.DescendantFonts[0]
    ]


def _widths(pdf: Pdf) -> list[str]:
    """Widths that the PDF states against those of the font itself, thousandths of an em, one unit either way."""
    wrong = []
    for font in fonts(pdf):
        program = TTFont(BytesIO(descriptor(font).FontFile2.read_bytes()))
        scale, order = 1000 / program["head"].unitsPerEm, program.getGlyphOrder()
        for code, width in widths(font).items():
            own = program["hmtx"][order[code]][0] * scale
            if abs(own - width) > 1:
                wrong.append(f"{font.BaseFont}, glyph {code}: {width} is stated, {own:.1f} is drawn")
    return wrong


def _unicode(pdf: Pdf) -> list[str]:
    maps = {str(font.BaseFont): to_unicode(font) for font in fonts(pdf)}
    wrong = []
    for name, code in shown_codes(pdf):
        sign = maps[name].get(code)
        if sign is None or sign in {"\x00", "\ufeff", "\ufffe"}:
            wrong.append(f"{name}, glyph {code} has no sign")
    return wrong


def _notdef(pdf: Pdf) -> list[str]:
    return [f"{name} shows .notdef" for name, code in shown_codes(pdf) if code == 0]


def _packet(pdf: Pdf) -> list[str]:
    raw = pdf.Root.Metadata.read_bytes()
    wrong = [] if raw.count(b"<rdf:RDF") == 1 else ["not one rdf:RDF"]
    about = ElementTree.fromstring(re.sub(rb"<\?xpacket.*?\?>", b"", raw)).find(f".//{RDF}Description")
    assert about is not None
    info = pdf.trailer.Info
    for key, path in (
        ("/Title", f"{DC}title/{RDF}Alt/{RDF}li"),
        ("/Author", f"{DC}creator/{RDF}Seq/{RDF}li"),
        ("/Subject", f"{DC}description/{RDF}Alt/{RDF}li"),
        ("/Keywords", f"{PDF}Keywords"),
        ("/Producer", f"{PDF}Producer"),
        ("/Creator", f"{XMP}CreatorTool"),
    ):
        if str(info.get(key, "")) != about.findtext(path):
            wrong.append(f"{key} of the document information differs from the packet")
    dates = re.sub(r"\D", "", about.findtext(f"{XMP}CreateDate") or "")
    return wrong + ["the dates differ"] * (re.sub(r"\D", "", str(info.get("/CreationDate", ""))) != dates)


def _says(pdf: Pdf, *wanted: bytes) -> list[str]:
    raw = pdf.Root.Metadata.read_bytes()
    return [f"the packet lacks {one.decode()}" for one in wanted if one not in raw]


def _is_a(pdf: Pdf) -> list[str]:
    return _says(pdf, b"<pdfaid:part>3</pdfaid:part>", b"<pdfaid:conformance>U</pdfaid:conformance>")


def _schemas(pdf: Pdf) -> list[str]:
    return _says(pdf, b"pdfaExtension:schemas", b"<pdfaSchema:prefix>pdfuaid</pdfaSchema:prefix>")


def _is_ua(pdf: Pdf) -> list[str]:
    return _says(pdf, b"<pdfuaid:part>1</pdfuaid:part>")


def _files(pdf: Pdf) -> list[str]:
    wrong = []
    related = {file.objgen for file in pdf.Root.get("/AF", Array())}
    names = pdf.Root.get("/Names", Dictionary()).get("/EmbeddedFiles", Dictionary()).get("/Names", Array())
    if [str(name) for name in names[::2]] != sorted(str(name) for name in names[::2]):
        wrong.append("names of files are not in order")
    for file in names[1::2]:
        lacks = [key for key in ("/F", "/UF", "/Desc", "/AFRelationship") if key not in file]
        lacks += [key for key in ("/Subtype", "/Params") if key not in file.EF.F]
        wrong += [f"{file.UF} lacks {key}" for key in lacks]
        wrong += [f"{file.UF} is not related to the document"] * (file.objgen not in related)
    return wrong


def _marked(pdf: Pdf) -> list[str]:
    """Everything painted is content with a mark or an artifact; marks and elements point at each other."""
    wrong = [
        f"page {n} paints outside every mark"
        for n, operator, depth, _ in operations(pdf)
        if operator in PAINTS and not depth
    ]
    parents = parent_tree(pdf)
    held: dict[tuple[int, int], int] = {}
    for element in elements(pdf):
        for page, number in marks_of(element):
            held[int(page.StructParents), number] = element.objgen[0]
    for number, page in enumerate(pdf.pages, start=1):
        key = int(page.obj.StructParents)
        marks = [mark for _, operator, _, mark in operations(pdf, page) if operator == "BDC" and mark is not None]
        if sorted(marks) != list(range(len(parents[key]))):
            wrong.append(f"page {number}: marks {len(marks)}, elements {len(parents[key])}")
        for mark, element in enumerate(parents[key]):
            if held.get((key, mark)) != element.objgen[0]:
                wrong.append(f"page {number}: mark {mark} and its element do not agree")
    return wrong


def _shown_title(pdf: Pdf) -> list[str]:
    shows = pdf.Root.get("/ViewerPreferences", Dictionary()).get("/DisplayDocTitle", False)
    return ["the title is not shown"] * (not shows) + ["not marked"] * (
        not pdf.Root.get("/MarkInfo", Dictionary()).get("/Marked", False)
    )


def _language(pdf: Pdf) -> list[str]:
    return [] if str(pdf.Root.get("/Lang", "")) else ["no language"]


def _graphics(pdf: Pdf) -> list[str]:
    wrong = []
    for element in elements(pdf):
        if element.S == "/Figure":
            box, page = [float(edge) for edge in element.A.BBox], element.Pg.MediaBox
            inside = 0 <= box[0] < box[2] <= float(page[2]) and 0 <= box[1] < box[3] <= float(page[3])
            wrong += ["a figure without words"] * ("/Alt" not in element) + ["a figure outside its page"] * (not inside)
    return wrong


def _headings(pdf: Pdf) -> list[str]:
    levels = [HEADINGS.index(str(e.S)) + 1 for e in elements(pdf) if str(e.S) in HEADINGS]
    steps = zip([0, *levels], levels, strict=False)
    return [f"heading {below} follows heading {above}" for above, below in steps if below > above + 1]


def _tables(pdf: Pdf) -> list[str]:
    wrong = []
    for table in (e for e in elements(pdf) if e.S == "/Table"):
        rows = [row for part in kids(table) if part.S != "/Caption" for row in kids(part)]
        ids = {str(cell.ID) for row in rows for cell in kids(row) if "/ID" in cell}
        taken: dict[int, int] = {}
        spans = []
        for row in rows:
            reach = sum(1 for left in taken.values() if left)
            taken = {column: left - 1 for column, left in taken.items() if left}
            for cell in kids(row):
                span = int(cell.A.get("/ColSpan", 1))
                if int(cell.A.get("/RowSpan", 1)) > 1:
                    taken |= {reach: int(cell.A.RowSpan) - 1}
                reach += span
                if cell.S == "/TH" and ("/Scope" not in cell.A or "/ID" not in cell):
                    wrong.append("a head without scope or identifier")
                wrong += [
                    f"head {name} is in no cell"
                    for name in map(str, cell.A.get("/Headers", Array()))
                    if name not in ids
                ]
            spans.append(reach)
        wrong += [f"rows of {sorted(set(spans))} columns in one table"] * (len(set(spans)) > 1)
    return wrong


def _identifiers(pdf: Pdf) -> list[str]:
    """ISO 32000-1, 14.7.2: an IDTree, in order, that leads to each element with an identifier."""
    names: dict[str, Object] = {}
    for leaf in pdf.Root.StructTreeRoot.get("/IDTree", Dictionary(Kids=Array())).Kids:
        pairs = list(leaf.Names)
        names |= {str(name): element for name, element in zip(pairs[::2], pairs[1::2], strict=True)}
    own = {str(element.ID): element for element in elements(pdf) if "/ID" in element}
    if list(names) != sorted(names) or names.keys() != own.keys():
        return ["the tree of identifiers does not have those of the elements"]
    return [f"{name} leads elsewhere" for name, element in names.items() if element.objgen != own[name].objgen]


def _tabs(pdf: Pdf) -> list[str]:
    return [
        f"page {n} has no tab order" for n, page in enumerate(pdf.pages, start=1) if page.obj.get("/Tabs") != Name.S
    ]


CHECKS: dict[str, Check] = {
    "19005-3 6.1.3 file trailer": _no_secrets,
    "19005-3 6.1.7 streams": _streams,
    "19005-3 6.2.3 output intent": _output_intent,
    "19005-3 6.2.4 colour spaces": _colours,
    "19005-3 6.2.10 transparency": _opaque,
    "19005-3 6.2.11.4 embedding of fonts": _embedded,
    "19005-3 6.2.11.5 font metrics": _widths,
    "19005-3 6.2.11.7 Unicode character maps": _unicode,
    "19005-3 6.2.11.8 .notdef": _notdef,
    "19005-3 6.6.2 metadata": _packet,
    "19005-3 6.6.2.3 extension schemas": _schemas,
    "19005-3 6.6.4 identification": _is_a,
    "19005-3 6.8 embedded files": _files,
    "14289-1 5 identification": _is_ua,
    "14289-1 7.1 real content and artifacts": _marked,
    "14289-1 7.1 title": _shown_title,
    "14289-1 7.2 natural language": _language,
    "14289-1 7.3 graphics": _graphics,
    "14289-1 7.4 headings": _headings,
    "14289-1 7.5 tables": _tables,
    "14289-1 7.18.3 tab order": _tabs,
    "32000-1 14.7.2 identifiers": _identifiers,
    **archival_objects.CHECKS,
}
