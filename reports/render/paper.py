"""Receipts and labels to PDF, on the certificate's faces and tables."""

from dataclasses import asdict
from hashlib import sha256
from itertools import zip_longest
from json import dumps

from reports.paper import Label, LabelSheet, ReceiptDocument
from reports.render.figures import figure, most_decimals
from reports.render.line_rule import line_rule
from reports.render.printing import fill, pdf_of
from reports.render.qr import QrPath, qr_path
from reports.render.sheets import UPRIGHT_MM

LABELS_ACROSS = 3


def render_receipt(document: ReceiptDocument) -> bytes:
    """Return the receipt as PDF, A4. Raises PangoMissing or CannotPrint, as a certificate does."""
    decimals = most_decimals(line.delivered for line in document.lines)
    context = {
        "document": document,
        "rule": line_rule(document.line_rule_nm, UPRIGHT_MM),
        "lines": [(str(at), line, figure(line.delivered, decimals)) for at, line in enumerate(document.lines, start=1)],
        "code": qr_path(document.number),
    }
    return pdf_of(fill("reports/receipt.html", context), _identifier(document))


def render_labels(sheet: LabelSheet) -> bytes:
    """Return the labels as PDF, 24 to an A4 sheet, each with the QR code of its number alone.

    Raises PangoMissing or CannotPrint, as a certificate does.
    """
    drawn: list[tuple[Label, QrPath]] = [(label, qr_path(label.code)) for label in sheet.labels]
    rows = list(zip_longest(*[iter(drawn)] * LABELS_ACROSS))
    return pdf_of(fill("reports/labels.html", {"sheet": sheet, "rows": rows}), _identifier(sheet))


def _identifier(document: ReceiptDocument | LabelSheet) -> bytes:
    """Return 16 bytes made of the content, so that the same paper is the same file."""
    return sha256(dumps(asdict(document), sort_keys=True).encode()).digest()[:16]
