"""A PDF made fit to be kept: PDF/A-3u and PDF/UA-1 in one file, results attached, the same bytes every time.

ISO 19005-3 (PDF/A-3) and ISO 14289-1 (PDF/UA-1), clauses from memory. What is checked of them, and what is not, stands
in tests/render/test_archive.py.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from io import BytesIO
from xml.sax.saxutils import escape

from pikepdf import Array, Dictionary, Name, ObjectStreamMode, Pdf, Stream, String

PRODUCER = "labresults with WeasyPrint"


@dataclass(frozen=True)
class Attachment:
    """A file inside the PDF. relationship: "Data", "Source", "Alternative", "Supplement" (ISO 19005-3, 6.8)."""

    name: str
    mime: str
    description: str
    relationship: str
    content: bytes


@dataclass(frozen=True)
class About:
    """What the file says of itself; `moment`: when it was issued, None where that is not known."""

    title: str
    author: str
    subject: str
    keywords: str
    moment: datetime | None = None


def archive(pdf: Pdf, about: About, attachments: Sequence[Attachment] = ()) -> bytes:
    """Return the bytes of `pdf` (tagged, all fonts embedded, with an output intent) with all that both standards ask.

    Everything in it follows from the arguments: the second part of the file's identifier is made of its content.
    """
    _describe(pdf, about)
    if attachments:
        _attach(pdf, attachments, about.moment)
    pdf.Root.Lang = String("en")
    pdf.Root.MarkInfo = Dictionary(Marked=True)  # ISO 14289-1, 7.1
    pdf.Root.ViewerPreferences = Dictionary(DisplayDocTitle=True)  # ISO 14289-1, 7.1
    out = BytesIO()
    pdf.save(out, object_stream_mode=ObjectStreamMode.generate, compress_streams=True, deterministic_id=True)
    return out.getvalue()


def _describe(pdf: Pdf, about: About) -> None:
    """Write the document information and the one XMP packet that repeats it (ISO 19005-3, 6.6.2 and 6.1.5)."""
    info = {
        "/Title": about.title,
        "/Author": about.author,
        "/Subject": about.subject,
        "/Keywords": about.keywords,
        "/Creator": "labresults",
        "/Producer": PRODUCER,
    }
    if about.moment:
        info["/CreationDate"] = info["/ModDate"] = _pdf_date(about.moment)
    pdf.trailer.Info = pdf.make_indirect(Dictionary({key: String(value) for key, value in info.items()}))
    packet = Stream(pdf, _packet(about).encode())
    packet.Type, packet.Subtype = Name.Metadata, Name.XML
    pdf.Root.Metadata = pdf.make_indirect(packet)


def _pdf_date(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("D:%Y%m%d%H%M%SZ")


def _packet(about: About) -> str:
    """Return the XMP packet. PDF/A knows nothing of pdfuaid, so that its schema is described in place (6.6.2.3)."""
    dates = ""
    if about.moment:
        when = about.moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        dates = f"<xmp:CreateDate>{when}</xmp:CreateDate><xmp:ModifyDate>{when}</xmp:ModifyDate>"
    return _XMP.format(
        title=_xml(about.title),
        author=_xml(about.author),
        subject=_xml(about.subject),
        keywords=_xml(about.keywords),
        producer=PRODUCER,
        dates=dates,
    )


def _xml(text: str) -> str:
    return escape(re.sub(r"[\x00-\x08\x0b\x0c\x0e-\x1f]", " ", text))


def _attach(pdf: Pdf, attachments: Sequence[Attachment], moment: datetime | None) -> None:
    """Put files into the PDF, each named, typed and related to the document (ISO 19005-3, 6.8)."""
    files = []
    for attachment in sorted(attachments, key=lambda one: one.name):
        held = Stream(pdf, attachment.content)
        held.Type, held.Subtype = Name.EmbeddedFile, Name("/" + attachment.mime)
        held.Params = Dictionary(Size=len(attachment.content))
        if moment:
            held.Params.ModDate = String(_pdf_date(moment))
        stored = pdf.make_indirect(held)
        files.append(
            pdf.make_indirect(
                Dictionary(
                    Type=Name.Filespec,
                    F=String(attachment.name),
                    UF=String(attachment.name),
                    Desc=String(attachment.description),
                    AFRelationship=Name("/" + attachment.relationship),
                    EF=Dictionary(F=stored, UF=stored),
                )
            )
        )
    pdf.Root.AF = Array(files)
    names = Array([part for file in files for part in (file.UF, file)])
    pdf.Root.Names = Dictionary(EmbeddedFiles=pdf.make_indirect(Dictionary(Names=names)))


_XMP = """<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/">
<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about=""
 xmlns:dc="http://purl.org/dc/elements/1.1/"
 xmlns:pdf="http://ns.adobe.com/pdf/1.3/"
 xmlns:xmp="http://ns.adobe.com/xap/1.0/"
 xmlns:pdfaid="http://www.aiim.org/pdfa/ns/id/"
 xmlns:pdfuaid="http://www.aiim.org/pdfua/ns/id/"
 xmlns:pdfaExtension="http://www.aiim.org/pdfa/ns/extension/"
 xmlns:pdfaSchema="http://www.aiim.org/pdfa/ns/schema#"
 xmlns:pdfaProperty="http://www.aiim.org/pdfa/ns/property#">
<pdfaid:part>3</pdfaid:part><pdfaid:conformance>U</pdfaid:conformance>
<pdfuaid:part>1</pdfuaid:part>
<dc:format>application/pdf</dc:format>
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">{title}</rdf:li></rdf:Alt></dc:title>
<dc:creator><rdf:Seq><rdf:li>{author}</rdf:li></rdf:Seq></dc:creator>
<dc:description><rdf:Alt><rdf:li xml:lang="x-default">{subject}</rdf:li></rdf:Alt></dc:description>
<dc:language><rdf:Bag><rdf:li>en</rdf:li></rdf:Bag></dc:language>
<pdf:Keywords>{keywords}</pdf:Keywords>
<pdf:Producer>{producer}</pdf:Producer>
<xmp:CreatorTool>labresults</xmp:CreatorTool>{dates}
<pdfaExtension:schemas><rdf:Bag><rdf:li rdf:parseType="Resource">
<pdfaSchema:schema>PDF/UA identification schema</pdfaSchema:schema>
<pdfaSchema:namespaceURI>http://www.aiim.org/pdfua/ns/id/</pdfaSchema:namespaceURI>
<pdfaSchema:prefix>pdfuaid</pdfaSchema:prefix>
<pdfaSchema:property><rdf:Seq><rdf:li rdf:parseType="Resource">
<pdfaProperty:name>part</pdfaProperty:name>
<pdfaProperty:valueType>Integer</pdfaProperty:valueType>
<pdfaProperty:category>internal</pdfaProperty:category>
<pdfaProperty:description>Part of ISO 14289 to which the file conforms</pdfaProperty:description>
</rdf:li></rdf:Seq></pdfaSchema:property>
</rdf:li></rdf:Bag></pdfaExtension:schemas>
</rdf:Description>
</rdf:RDF>
</x:xmpmeta>
<?xpacket end="r"?>
"""
