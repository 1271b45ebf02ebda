"""What a workbook says in words: the sentences of the certificate, and a sheet that explains the file."""

from hashlib import sha256

from openpyxl.worksheet.worksheet import Worksheet

from reports.document import CertificateDocument
from reports.render.workbook_pen import Pen

_WIDTH = 100


def words(document: CertificateDocument) -> list[list[str]]:
    """Return the sentences of the certificate, each with what it is about."""
    named = [
        [document.rule_name, document.rule_text],
        ["Uncertainty", document.uncertainty_text],
        ["Conformity", document.conformity_text],
        ["Accreditation", document.accreditation],
        *(
            [f"{note.heading}: {note.name}", f"{note.formula}. {note.below} {note.source}. {note.remark}".strip()]
            for note in document.derived_notes
        ),
        *(
            [
                f"Sampling of {note.samples}",
                "; ".join(
                    filter(None, (note.sampled_by, note.when, note.place, note.plan, note.conditions, note.uncertainty))
                ),
            ]
            for note in document.sampling_notes
        ),
        *(
            [
                f"Opinion on {note.samples}, not a result",
                f"{note.text} It stands on: {note.basis}. {note.name}, {note.when}",
            ]
            for note in document.opinions
        ),
        *(["Departure", text] for text in document.departures),
        *(["Statement", text] for text in document.statements),
        *([s.meaning, s.name, s.when] for s in document.signatures),
        ["Check code", document.check_code],
        ["Where anybody may ask about it", document.verify_address],
        ["Head of the audit chain before this issue", document.chain_head],
    ]
    return [line for line in named if line[1]]


def read_me(sheet: Worksheet, document: CertificateDocument) -> None:
    """Fill the sheet that explains the file to whoever opens it first."""
    pen = Pen(sheet, "Read me", [34, _WIDTH])
    pen.write([f"{document.title} {document.number}, issue {document.issue}"], bold=True)
    digest = sha256(document.to_json().encode()).hexdigest()
    pen.write(
        [
            "What this file is",
            f"The results of the certificate as a workbook, issued by {document.laboratory}. The signed"
            " PDF is the certificate; this file repeats it, figure by figure.",
        ],
        [
            "Results",
            "One row a sample. A number is a number, and its format shows the printed figures: 4.10 is 4.1 inside.",
        ],
        [
            "< and >",
            "A result below or above a limit is text, so that nobody adds it up; the limit stands as a"
            " number in the column beside it, named “limit”.",
        ],
        ["Units", "Over each analyte. A number that was printed in another unit shows that unit itself."],
        [
            "Limits",
            "Over each analyte stand the detection and quantification limits of most samples; a sample with others"
            " has its own beside its result.",
        ],
        ["Remarks", "Letters beside a result are explained below the last sample."],
        ["Text", "Whatever the client wrote is text to the letter, and never a formula."],
        ["Is it genuine?", f"Check code {document.check_code}. {document.verify_address}".strip()],
        ["SHA-256 of the frozen document", digest],
        *(
            [["Preliminary", "These results may still change; a final certificate follows."]]
            if document.preliminary
            else []
        ),
        *([["Replaces", f"{document.replaces}. {document.replaces_why}"]] if document.replaces else []),
    )
    pen.wrap(2, _WIDTH)
    pen.for_print(f"{document.number}, issue {document.issue}")
