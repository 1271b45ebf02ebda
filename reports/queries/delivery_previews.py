"""A certificate in a client's layout: as bytes to be fetched, and as its first lines to be looked at."""

from labresults.acts import BadInput
from reports.delivery import DeliveryLayout
from reports.document import CertificateDocument
from reports.models import Certificate
from reports.render.delivery import CannotDeliver, render_delivery

MOST_LINES = 12


def delivered(certificate: Certificate, layout: DeliveryLayout) -> bytes:
    """The frozen document in a layout; no query. Raises BadInput where the layout does not fit it."""
    try:
        return render_delivery(CertificateDocument.from_json(certificate.document), layout)
    except CannotDeliver as trouble:
        raise BadInput(f"{certificate} cannot be laid out as “{layout.name}”. {trouble}") from trouble


def first_lines(certificate: Certificate, layout: DeliveryLayout) -> str:
    """The beginning of it, as text; no query. Raises BadInput as `delivered`."""
    lines = delivered(certificate, layout).decode(layout.encoding).splitlines()
    more = [f"… and {len(lines) - MOST_LINES} more"] if len(lines) > MOST_LINES else []
    return "\n".join([*lines[:MOST_LINES], *more])
