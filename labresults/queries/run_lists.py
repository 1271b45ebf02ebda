"""The run list, as the analyst takes it to the instrument."""

import csv
from io import StringIO

from labresults.models import Run


def run_list(run: Run) -> str:
    """The run list as CSV (UTF-8, comma, CRLF as RFC 4180 has it): position, label, role, dilution; one query."""
    text = StringIO()
    writer = csv.writer(text)
    writer.writerow(["position", "label", "role", "dilution at the instrument"])
    for position in run.positions.order_by("number"):
        writer.writerow([position.number, position.label, position.role, f"{position.dilution:g}"])
    return text.getvalue()
