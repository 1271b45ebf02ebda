"""Receipts to PDF, on the certificate's faces and tables."""

from dataclasses import asdict
from hashlib import sha256
from itertools import zip_longest
from json import dumps

from reports.paper import ReceiptDocument
from reports.render.figures import figure, most_decimals
from reports.render.kept import kept_pdf
from reports.render.line_rule import line_rule
from reports.render.printing import fill
from reports.render.qr import qr_path
from reports.render.sheets import UPRIGHT_MM


def render_receipt(document: ReceiptDocument) -> bytes:
    """Return the receipt as PDF, A4. Raises PangoMissing or CannotPrint, as a certificate does."""
    decimals = most_decimals(line.delivered for line in document.lines)
    context = {
        "document": document,
        "rule": line_rule(document.line_rule_nm, UPRIGHT_MM),
        "lines": [(str(at), line, figure(line.delivered, decimals)) for at, line in enumerate(document.lines, start=1)],
        "arrival": list(zip_longest(document.arrival[::2], document.arrival[1::2])),
        "code": qr_path(document.number),
    }
    return kept_pdf(fill("reports/receipt.html", context), _identifier(document))


def _identifier(document: ReceiptDocument) -> bytes:
    """Return 16 bytes made of the content, so that the same paper is the same file."""
    return sha256(dumps(asdict(document), sort_keys=True).encode()).digest()[:16]
