"""Every item that ISO/IEC 17025:2017, 7.8.2.1 asks for stands on the printed certificate.

The letters and what they ask for: ISO/IEC 17025:2017, 7.8.2.1 a to p, in our words.
"""

from io import BytesIO

import pytest
from pypdf import PdfReader

from labresults.actions.evaluation import evaluate_run
from labresults.actions.runs import plan_run
from labresults.models import Submission
from reports.queries.files import content_of
from tests.builders import (
    Laboratory,
    a_certificate,
    a_method,
    a_reading_file,
    a_submission,
    an_evaluated_run,
    an_imported_file,
    approved,
)

ITEMS = [
    ("a, title", "Certificate of analysis"),
    ("b, laboratory", "Kestrel Flat Laboratory"),
    ("b, address", "Gravel Road"),
    ("c, place of the work", "Place of work"),
    ("d, identification", "C26-0001"),
    ("d, end", "End of certificate C26-0001, issue 1"),
    ("e, client", "Ninefold Ridge prospect"),
    ("e, contact", "Camp Office"),
    ("f, method", "AR-8 v1"),
    ("g, description", "3 samples of soil"),
    ("g, identification of the item", "NRD014 112.0 m"),
    ("g, condition", "one bag torn"),
    ("h, received", "16 November 2026"),
    ("i, measured", "Measured"),
    ("j, issued", "Issued"),
    ("k, sampling", "grid of 50 m, by the client"),
    ("l, items tested", "relate only to the items tested"),
    ("m, unit", "mg/kg"),
    ("m, result", "120"),
    ("n, departures", "Measured again: Cu over range"),
    ("o, who approved", "Reviewer Person"),
    ("o, who issued", "Issuer Person"),
    ("p, from outside", "another laboratory"),
    ("7.8.2.2, as received", "as they were received"),
]


@pytest.fixture
def words(lab: Laboratory) -> str:
    """The text of a certificate in which nothing is left out."""
    lab.client.address = "Camp Office\nNinefold Ridge"
    lab.client.save()
    lab.version = a_method(lab.people["quality manager"], "AR-8", is_external=True)
    lab.method = lab.version.method
    submission = a_submission(lab)
    Submission.objects.update(condition="one bag torn, none lost", sampling="grid of 50 m, by the client")
    submission.refresh_from_db()
    first = an_evaluated_run(lab, submission, contents={"KF26-00001": {"Cu": 2600.0, "Pb": 35.0}})
    portion = first.run.positions.get(label="KF26-00001").portion
    again = plan_run(
        by=lab.people["analyst"], at=lab.later(), reason="Cu over range", method_version=lab.version,
        portions=[portion], instrument=lab.spectrometer, dilutions={portion.pk: 5.0},
    )  # fmt: skip
    an_imported_file(lab, again, a_reading_file(again, contents={"KF26-00001": {"Cu": 2600.0, "Pb": 35.0}}))
    evaluate_run(by=lab.people["analyst"], at=lab.later(), run=again)
    certificate = a_certificate(lab, approved(lab, submission))
    pages = PdfReader(BytesIO(content_of(certificate.files.get(kind="pdf")))).pages
    assert all("C26-0001" in page.extract_text() for page in pages), "d: on every page"
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def test_every_item_is_printed(words: str) -> None:
    assert [item for item, text in ITEMS if text not in words] == []
