"""Part of the acts that issue: one row for each printed number, with the way back to what it stands on."""

from collections.abc import Iterator

from labresults.queries.derived import DerivedOf
from labresults.queries.reportable import Reportable
from reports.document import Cell, CertificateDocument
from reports.models import Certificate, CertificateInput, CertificateLine


def enter_lines(certificate: Certificate, document: CertificateDocument, found: Reportable) -> None:
    """Enter every printed number; of a derived one unrounded value and uncertainty, and its inputs; two inserts."""
    derived = {(one.of, one.row.code): one for one in found.derived}
    lines = CertificateLine.objects.bulk_create(_lines(certificate, document, found, derived))
    keys = {(line.sample_id, line.sample_set_id, line.column): line for line in lines if line.derived_id}
    CertificateInput.objects.bulk_create(
        CertificateInput(line=line, result_id=result)
        for one in derived.values()
        if (line := keys.get((_pk(one.sample), _pk(one.sample_set), one.row.code)))
        for result in one.derived.keys
    )


def _lines(
    certificate: Certificate,
    document: CertificateDocument,
    found: Reportable,
    derived: dict[tuple[str, str], DerivedOf],
) -> Iterator[CertificateLine]:
    samples = {sample.number: sample.pk for sample in found.samples}
    sets = {one.of: one.sample_set for one in found.derived if one.sample_set}
    units = {column.key: column.unit for column in (*document.columns, *document.grade_columns)}
    for name, cell in _cells(document):
        one = derived.get((name, cell.column))
        in_set = bool(one and one.sample_set)
        yield CertificateLine(
            certificate=certificate,
            result_id=cell.result,
            sample_id=None if in_set else samples[name],
            sample_set=sets[name] if in_set else None,
            derived=one.row if one else None,
            value=one.derived.value if one else None,
            u=one.derived.u if one else None,
            column=cell.column,
            printed=cell.printed,
            unit=units[cell.column],
        )


def _cells(document: CertificateDocument) -> Iterator[tuple[str, Cell]]:
    """Every cell with something in it, by its sample's number or its set's name."""
    for row in document.rows:
        yield from ((row.number, cell) for cell in row.cells if cell.printed)
    for grade in document.grades:
        yield from ((grade.name, cell) for cell in grade.cells if cell.printed)


def _pk(row: object) -> int | None:
    return getattr(row, "pk", None)
