"""What both standards ask of a file object by object: nothing that acts, nothing that varies, no fields without words.

Numbers and titles of clauses: from memory. Each check returns what it has to complain of.
"""

import re
from collections.abc import Callable, Iterator

from pikepdf import Array, Dictionary, Name, Object, Pdf, Stream, parse_content_stream

from tests.render.structure import elements, fonts, kids, parent_tree

Check = Callable[[Pdf], list[str]]
ACTIONS = {"/Launch", "/Sound", "/Movie", "/ResetForm", "/ImportData", "/Hide", "/SetOCGState", "/Rendition", "/Trans",
           "/GoTo3DView", "/JavaScript", "/GoToR", "/GoToE", "/SubmitForm", "/URI", "/Named", "/Thread"}  # fmt: skip
STANDARD = {
    *("Document", "Sect", "Caption", "P", "H1", "H2", "H3", "H4", "H5", "H6", "L", "LI", "Lbl", "LBody"),
    *("Table", "TR", "TH", "TD", "THead", "TBody", "TFoot", "Span", "Note", "Link", "Figure", "Form"),
}
"""Those types of structure of ISO 32000-1, 14.8.4, that our papers may use."""
RELATIONS = {"/Source", "/Data", "/Alternative", "/Supplement", "/Unspecified"}
HIDDEN = 1 | 2 | 32 | 256  # invisible, hidden, no view, toggle no view (ISO 32000-1, 12.5.3)
PRINTED = 4
MOST_NESTED, LONGEST_NAME = 28, 127  # ISO 19005-3, 6.1.13


def _dictionaries(pdf: Pdf) -> Iterator[Object]:
    """Yield every dictionary of the file, those inside others too; a signature's own are not looked into."""
    for held in pdf.objects:
        pending = [held]
        while pending:
            one = pending.pop()
            if isinstance(one, Array):
                pending += [part for part in one if isinstance(part, Array | Dictionary) and not part.is_indirect]
            elif isinstance(one, Dictionary | Stream):
                yield one
                values = [one[key] for key in one.keys()]  # noqa: SIM118 - a stream has no other way
                pending += [v for v in values if isinstance(v, Array | Dictionary) and not v.is_indirect]


def _nothing_acts(pdf: Pdf) -> list[str]:
    wrong = [
        f"the catalogue has {key}"
        for key in ("/OpenAction", "/AA", "/OCProperties", "/Requirements")
        if key in pdf.Root
    ]
    wrong += ["scripts have names"] * ("/JavaScript" in pdf.Root.get("/Names", Dictionary()))
    for one in _dictionaries(pdf):
        kind = str(one.get("/S", ""))
        wrong += [f"an action {kind}"] * (kind in ACTIONS and one.get("/Type") != Name.StructElem)
        wrong += [f"{key} in {one.get('/Type')}" for key in ("/JS", "/AA", "/PresSteps", "/XFA") if key in one]
    return wrong


def _annotations(pdf: Pdf) -> list[str]:
    """Only fields of signatures, seen or printed as they are; without extent they need no appearance."""
    wrong = []
    for number, page in enumerate(pdf.pages, start=1):
        for one in page.obj.get("/Annots", Array()):
            flags, box = int(one.get("/F", 0)), [float(edge) for edge in one.Rect]
            wrong += [f"page {number}: a {one.Subtype}"] * (one.Subtype != "/Widget" or one.get("/FT") != "/Sig")
            wrong += [f"page {number}: flags {flags}"] * bool(flags & HIDDEN or not flags & PRINTED)
            wrong += [f"page {number}: no appearance"] * ("/AP" not in one and (box[0], box[1]) != (box[2], box[3]))
    form = pdf.Root.get("/AcroForm", Dictionary())
    return wrong + ["appearances are made when it is shown"] * bool(form.get("/NeedAppearances", False))


def _fields(pdf: Pdf) -> list[str]:
    """A field has words of its own, and stands in the structure as a form that leads back to it."""
    wrong, in_tree = [], {element.objgen for element in elements(pdf)}
    for page in pdf.pages:
        for one in page.obj.get("/Annots", Array()):
            wrong += [f"field {one.get('/T')} has no words"] * (not str(one.get("/TU", "")))
            form = parent_tree(pdf).get(int(one.get("/StructParent", -1)))
            if not isinstance(form, Dictionary) or form.S != "/Form" or form.objgen not in in_tree:
                wrong.append(f"field {one.get('/T')} is in no form of the structure")
            elif form.K.get("/Type") != "/OBJR" or form.K.Obj.objgen != one.objgen:
                wrong.append(f"the form of field {one.get('/T')} holds something else")
    return wrong


def _limits(pdf: Pdf) -> list[str]:
    wrong = []
    for page in pdf.pages:
        depth = deepest = 0
        for _, operator in parse_content_stream(page):
            depth += {"q": 1, "Q": -1}.get(str(operator), 0)
            deepest = max(deepest, depth)
        wrong += [f"{deepest} states within each other"] * (deepest > MOST_NESTED)
        wrong += [f"{depth} states are left open"] * (depth != 0)
    for one in _dictionaries(pdf):
        names = [key for key in one.keys() if len(key) - 1 > LONGEST_NAME]  # noqa: SIM118
        wrong += [f"the name {name[:20]} is too long" for name in names]
    return wrong


def _graphic_states(pdf: Pdf) -> list[str]:
    """No transfer functions, halftones or blending (19005-3, 6.2.5)."""
    states = [s for page in pdf.pages for s in page.Resources.get("/ExtGState", Dictionary()).values()]
    wrong = [f"{key} in a graphics state" for state in states for key in ("/TR", "/TR2", "/HTP") if key in state]
    return wrong + [
        f"blending {s.BM}" for s in states if str(s.get("/BM", "/Normal")) not in {"/Normal", "/Compatible"}
    ]


def _objects_outside(pdf: Pdf) -> list[str]:
    """No PostScript, no references to other files, no other versions of a picture (19005-3, 6.2.8 and 6.2.9)."""
    wrong = []
    for one in (s for s in pdf.objects if isinstance(s, Stream)):
        wrong += [f"{key} in an object" for key in ("/Ref", "/OPI", "/PS", "/Alternates") if key in one]
        wrong += ["PostScript"] * (one.get("/Subtype") == "/PS" or one.get("/Subtype2") == "/PS")
        wrong += ["an interpolated picture"] * bool(one.get("/Interpolate", False))
    return wrong


def _fonts(pdf: Pdf) -> list[str]:
    """Composite fonts with one order of signs, coded from left to right (19005-3, 6.2.11.3)."""
    wrong = []
    for font in fonts(pdf):
        inner = font.DescendantFonts[0]
        wrong += [f"{font.BaseFont} is coded by {font.Encoding}"] * (font.Encoding != "/Identity-H")
        info = (str(inner.CIDSystemInfo.Registry), str(inner.CIDSystemInfo.Ordering))
        wrong += [f"{font.BaseFont} is of {info}"] * (info != ("Adobe", "Identity"))
        wrong += [f"{font.BaseFont} and {inner.BaseFont}"] * (font.BaseFont != inner.BaseFont)
    return wrong


def _attached(pdf: Pdf) -> list[str]:
    wrong = []
    for file in pdf.Root.get("/AF", Array()):
        held = file.EF.F
        wrong += [f"relation {file.AFRelationship}"] * (str(file.AFRelationship) not in RELATIONS)
        wrong += [f"kind {held.Subtype}"] * (not re.fullmatch(r"/\w+/[\w.+-]+", str(held.Subtype)))
        wrong += ["a size that is not its own"] * (int(held.Params.get("/Size", -1)) != len(held.read_bytes()))
        wrong += ["no date"] * ("/CreationDate" in pdf.trailer.Info and "/ModDate" not in held.Params)
    return wrong


def _roles(pdf: Pdf) -> list[str]:
    return [f"{kind} is no type of structure" for kind in {str(e.S) for e in elements(pdf)} if kind[1:] not in STANDARD]


def _not_suspect(pdf: Pdf) -> list[str]:
    return ["the marks are suspect"] * bool(pdf.Root.MarkInfo.get("/Suspects", False))


def _apart(pdf: Pdf) -> list[str]:
    """Artifacts hold no content, and content no artifacts."""
    wrong = []
    for number, page in enumerate(pdf.pages, start=1):
        stack: list[str] = []
        for operands, operator in parse_content_stream(page):
            if str(operator) in {"BDC", "BMC"}:
                kind = "artifact" if operands[0] == "/Artifact" else "content"
                if stack and "artifact" in {kind, stack[-1]}:
                    wrong.append(f"page {number}: {kind} inside {stack[-1]}")
                stack.append(kind)
            elif str(operator) == "EMC":
                stack.pop()
    return wrong


def _languages(pdf: Pdf) -> list[str]:
    """Language tags are of BCP 47, of the file and of each element that has one."""
    said = [str(pdf.Root.get("/Lang", ""))] + [str(e.Lang) for e in elements(pdf) if "/Lang" in e]
    return [f"language {tag}" for tag in said if not re.fullmatch(r"[A-Za-z]{2,3}(-[A-Za-z0-9]{2,8})*", tag)]


def _lists_and_rows(pdf: Pdf) -> list[str]:
    """Parts of tables stand in tables only, and tables hold nothing else."""
    inside = {"/Table": {"/Caption", "/THead", "/TBody", "/TFoot", "/TR"}, "/THead": {"/TR"}, "/TBody": {"/TR"},
              "/TFoot": {"/TR"}, "/TR": {"/TH", "/TD"}}  # fmt: skip
    wrong = [
        f"{kid.S} in {e.S}"
        for e in elements(pdf)
        for kid in kids(e)
        if str(kid.S) not in inside.get(str(e.S), {str(kid.S)})
    ]
    parts = {"/THead", "/TBody", "/TFoot", "/TR", "/TH", "/TD"}
    return wrong + [
        f"{kid.S} in {e.S}" for e in elements(pdf) for kid in kids(e) if str(kid.S) in parts and str(e.S) not in inside
    ]


CHECKS: dict[str, Check] = {
    "19005-3 6.1.13 limits": _limits,
    "19005-3 6.2.5 graphics states": _graphic_states,
    "19005-3 6.2.8, 6.2.9 external objects": _objects_outside,
    "19005-3 6.2.11.3 composite fonts": _fonts,
    "19005-3 6.3, 6.4 annotations and forms": _annotations,
    "19005-3 6.5, 6.9 to 6.11 actions, optional content": _nothing_acts,
    "19005-3 6.8 relation, kind, size, date": _attached,
    "14289-1 7.1 roles": _roles,
    "14289-1 7.1 suspects": _not_suspect,
    "14289-1 7.1 artifacts apart": _apart,
    "14289-1 7.2 language tags": _languages,
    "14289-1 7.5 parts of tables": _lists_and_rows,
    "14289-1 7.18.1, 7.18.4 fields": _fields,
}
