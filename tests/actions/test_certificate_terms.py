"""What single samples ask for, and what was accepted of a request, on the certificate: never mixed up."""

from io import BytesIO

import openpyxl
import pytest

from labresults.actions.asking import AcceptedConcern
from labresults.actions.batches import begin_batch
from labresults.actions.delivery import receive_samples
from labresults.actions.evaluation import evaluate_run
from labresults.actions.holding import register_holding_time
from labresults.actions.limits import register_limits
from labresults.actions.weighings import Weighed, record_weighings
from labresults.models import LimitSet, Matrix, Submission
from labresults.readers.delivery import DeliveredSample
from labresults.terms import Role
from reports.document import CertificateDocument, Row
from reports.queries.files import content_of
from tests.builders import NOW, Laboratory, a_certificate, a_run, an_evaluated_run, an_imported_file, approved


def limits_of(lab: Laboratory, name: str, lead: float) -> LimitSet:
    return register_limits(
        by=lab.people["quality manager"], at=lab.later(), name=name, edition="2026", source="the client",
        limits=[("Pb", lead, "mg/kg")],
    )  # fmt: skip


def received(lab: Laboratory, *rows: DeliveredSample, **differing: object) -> Submission:
    return receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, rows=rows, methods=[lab.method], **differing
    )


def certified(lab: Laboratory, submission: Submission, *, draw: bool = False) -> CertificateDocument:
    """All of them hold 120 mg/kg copper and 35 mg/kg lead; no moisture was measured."""
    an_evaluated_run(lab, submission)
    return CertificateDocument.from_json(a_certificate(lab, approved(lab, submission), draw=draw).document)


def row_of(document: CertificateDocument, name: str) -> Row:
    return next(row for row in document.rows if row.client_identification == name)


def remarks_beside(document: CertificateDocument, name: str, column: str) -> list[str]:
    """What the letters beside a number say."""
    words = {remark.mark: remark.text for remark in document.remarks}
    marks = next(cell.mark for cell in row_of(document, name).cells if cell.column == column)
    return [words[letter] for letter in marks.split(", ") if letter]


def test_each_sample_is_compared_with_its_own_limits(lab: Laboratory) -> None:
    waste, garden = limits_of(lab, "Waste rock", 250.0), limits_of(lab, "Garden soil", 20.0)
    document = certified(
        lab,
        received(
            lab,
            DeliveredSample(1, "as all", "soil"),
            DeliveredSample(2, "garden", "soil", limits=str(garden)),
            DeliveredSample(3, "no limits", "soil", limits="none"),
            limit_set=waste,
        ),
    )
    # 35 mg/kg lead: under 250 mg/kg, over 20 mg/kg
    assert [(row.client_identification, row.conformity, row.conforms) for row in document.rows] == [
        ("as all", "conforms (limits 1)", True),
        ("garden", "does not conform (limits 2)", False),
        ("no limits", "", None),
    ]
    assert "Limits 1: Pb at most 250 mg/kg (Waste rock, 2026: the client)." in document.conformity_text
    assert "Limits 2: Pb at most 20 mg/kg (Garden soil, 2026: the client)." in document.conformity_text
    assert "Of 2 samples: 1 “conforms (limits 1)”, 1 “does not conform (limits 2)”." in document.conformity_text
    assert document.conformity_head == "Against the limits"


def test_limits_of_single_samples_only_are_compared_with_these_only(lab: Laboratory) -> None:
    garden = limits_of(lab, "Garden soil", 20.0)
    rows = [DeliveredSample(1, "a", "soil"), DeliveredSample(2, "b", "soil", limits=str(garden))]
    document = certified(lab, received(lab, *rows))
    assert [row.conformity for row in document.rows] == ["", "does not conform"]


def test_a_sample_on_another_basis_than_its_column_says_so(lab: Laboratory) -> None:
    rows = [DeliveredSample(1, "as received", "soil"), DeliveredSample(2, "dry", "soil", basis="dry basis")]
    submission = received(lab, *rows)
    document = certified_with_moisture(lab, submission)
    # 120 mg/kg as received; 20 % of it is water, so 150 mg/kg of what is dry
    cells = {row.client_identification: row.cells[0].printed for row in document.rows}
    assert cells == {"as received": "120", "dry": "150"}
    assert document.columns[0].basis == ""
    assert remarks_beside(document, "as received", "AR-7 Cu") == []
    assert remarks_beside(document, "dry", "AR-7 Cu") == ["On dry basis, unlike its column."]
    assert "or a remark beside the number" in document.reported_on


@pytest.mark.parametrize("tell", [True, False])
def test_an_accepted_concern_stands_beside_the_numbers_where_the_client_is_told(lab: Laboratory, tell: bool) -> None:
    said = AcceptedConcern("too little|row 2|AR-7", "A. Roth wants it measured all the same", tell_client=tell)
    rows = [DeliveredSample(1, "enough", "soil", "30"), DeliveredSample(2, "little", "soil", "0.4")]
    document = certified(lab, received(lab, *rows, concerns=[said]))
    words = (
        "Seen before the work was accepted: 0.4 g is too little for the test portions: at least AR-7 0.45 g. "
        "Accepted: A. Roth wants it measured all the same."
    )
    assert remarks_beside(document, "little", "AR-7 Cu") == ([words] if tell else [])
    assert remarks_beside(document, "little", "AR-7 Pb") == ([words] if tell else [])
    assert remarks_beside(document, "enough", "AR-7 Cu") == []


def test_the_workbook_says_it_too(lab: Laboratory) -> None:
    said = AcceptedConcern("too little|row 1|AR-7", "all there is", tell_client=True)
    submission = received(lab, DeliveredSample(1, "little", "soil", "0.4"), concerns=[said])
    an_evaluated_run(lab, submission)
    certificate = a_certificate(lab, approved(lab, submission))
    book = openpyxl.load_workbook(BytesIO(content_of(certificate.files.get(kind="xlsx"))))
    words = " ".join(str(cell.value) for sheet in book for row in sheet.iter_rows() for cell in row)
    assert "0.4 g is too little for the test portions" in words


def test_a_result_measured_after_its_holding_time_says_so(lab: Laboratory) -> None:
    register_holding_time(
        by=lab.people["quality manager"], at=NOW, matrix=Matrix.objects.get(name="soil"), hours=72,
        source="common practice, no source",
    )  # fmt: skip
    # received in time on Monday 16 November, and measured some hours later, after Monday noon
    rows = [
        DeliveredSample(1, "fresh", "soil", sampled="2026-11-15"),
        DeliveredSample(2, "old", "soil", sampled="2026-11-13 10:00"),
        DeliveredSample(3, "not said", "soil"),
    ]
    document = certified(lab, received(lab, *rows))
    (said,) = remarks_beside(document, "old", "AR-7 Cu")
    assert said == (
        "Cu was measured on 16 November 2026, after its holding time of 3 days (common practice, no source), "
        "which ended on 16 November 2026."
    )
    assert remarks_beside(document, "fresh", "AR-7 Cu") == remarks_beside(document, "not said", "AR-7 Cu") == []


def certified_with_moisture(lab: Laboratory, submission: Submission) -> CertificateDocument:
    """As weighed as received, 20 % of the mass being water."""
    given = {"by": lab.people["preparer"]}
    samples = list(submission.samples.order_by("ordinal"))
    batch = begin_batch(at=lab.later(), method_version=lab.version, samples=samples, caution_read=True, **given)
    rows = [
        Weighed(
            p.label, None if p.role == Role.METHOD_BLANK else 0.5, 50.0, moisture_percent=20.0 if p.subsample else None
        )
        for p in batch.portions.select_related("subsample")
    ]
    record_weighings(at=lab.later(), batch=batch, balance=lab.balance, rows=rows, **given)
    run = a_run(lab, batch)
    an_imported_file(lab, run)
    evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    return CertificateDocument.from_json(a_certificate(lab, approved(lab, submission), draw=False).document)
