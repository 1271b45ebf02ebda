"""Certificate to PDF: the document's strings, set in type. Nothing is rounded, decided or looked up here."""

from hashlib import sha256
from itertools import zip_longest

from reports.document import CertificateDocument
from reports.render.control_tables import accepted, control_tables
from reports.render.line_rule import line_rule
from reports.render.printing import fill, pdf_of
from reports.render.qr import qr_path
from reports.render.sheets import LANDSCAPE_MM, UPRIGHT_MM, lay_out


def render_certificate(document: CertificateDocument) -> bytes:
    """Return the certificate as PDF (A4, fonts embedded, tagged); the same document gives the same bytes.

    Raises PangoMissing where type cannot be set, CannotPrint where a sign of the document has no glyph.
    """
    return pdf_of(certificate_html(document), sha256(document.to_json().encode()).digest()[:16])


def certificate_html(document: CertificateDocument) -> str:
    """Return the page that is set: every string of the document, escaped."""
    layout = lay_out(document)
    width = LANDSCAPE_MM if layout.landscape else UPRIGHT_MM
    context = {
        "document": document,
        "layout": layout,
        "name": f"{document.number}, issue {document.issue}",
        "rule": line_rule(document.line_rule_nm, width),
        "facts": facts(document),
        "controls": control_tables(document.controls, width),
        "accepted": accepted(document.controls),
        "methods_first": len(layout.sheets) > 1,
        "code": qr_path(f"{document.number}/{document.issue} {document.check_code}"),
        "change_pairs": _side_by_side(document),
    }
    return fill("reports/certificate.html", context)


def facts(document: CertificateDocument) -> list[tuple[str, str, str, str]]:
    """Return the facts above the results, two to a line: label, value, label, value; empty ones are left out."""
    conditions = {row.condition for row in document.rows}
    left = [
        ("Client", ", ".join((document.client, *document.client_address))),
        ("Submission", document.submission),
        ("Items", document.description),
        ("Condition", conditions.pop() if len(conditions) == 1 else ""),
        ("Sampling", document.sampling),
        ("Reported on", document.reported_on),
        ("Place of work", document.place_of_work),
    ]
    right = [
        ("Your reference", document.reference),
        ("Sampled", document.sampled),
        ("Received", document.received),
        ("Measured", document.measured),
        ("Issued", document.issued),
    ]
    pairs = zip_longest(*([fact for fact in side if fact[1]] for side in (left, right)), fillvalue=("", ""))
    return [(*one, *other) for one, other in pairs]


def _side_by_side(document: CertificateDocument) -> list[tuple[object, object]]:
    """Pair the changes of an amendment down two halves of a table, first half on the left."""
    half = (len(document.changes) + 1) // 2
    return list(zip_longest(document.changes[:half], document.changes[half:]))
