"""A certificate composed again from the stored results, and compared with what was printed, string by string.

It is composed as things stood when it was issued: by the selections, reviews and requests of then, and the rule set
that it names. What was corrected of a sample since, by name, is taken as it was before.
"""

import json
from collections.abc import Iterator
from dataclasses import fields
from typing import TYPE_CHECKING, Any

from django.core.exceptions import ObjectDoesNotExist

from labresults.queries.chain_rows import corrected_since
from labresults.queries.reportable import Reportable, reportable
from reports.document import Cell, CertificateDocument
from reports.models import Certificate
from reports.queries.pages import further_of
from reports.queries.previews import composed
from reports.queries.rule_sets import rules_of_document

if TYPE_CHECKING:
    from labresults.models import Sample

_OF_COLUMNS = ("formula", "unit", "basis", "detection_limit", "quantification_limit")
_OF_ROWS = ("client_identification", "matrix", "conformity", "conforms")
_NOT_COMPARED = frozenset({"changed", "mark"})
"""Of cells: what the issue before said, and the letter, which depends on every other remark of the certificate."""


def printed_differences(certificate: Certificate) -> Iterator[str]:
    """What is printed otherwise than the stored results and rules give it, sample by sample; about 36 queries."""
    document = CertificateDocument.from_json(certificate.document)
    yield from (f"{certificate}: {said}" for said in _of_lines(certificate, document))
    try:
        found, left_out = _as_it_was(certificate, document.derivation)
        _, others = rules_of_document(document)
        again = composed(
            found, rule_set=certificate.rule_set, rule_sets=others, by=certificate.made_by, at=certificate.made_at,
            reason=certificate.reason, preliminary=certificate.preliminary, replaces=certificate.replaces,
        )  # fmt: skip
    except (ObjectDoesNotExist, ValueError, LookupError, TypeError, AttributeError, ArithmeticError) as error:
        yield f"{certificate} cannot be composed again: {error}"
        return
    known = _fields_of_cells(certificate.document)
    yield from (f"{certificate}: {said}" for said in _of_documents(document, again, left_out, known))


def _fields_of_cells(frozen: str) -> list[str]:
    """What a cell of a frozen document says, and is compared: a field that came later was not printed."""
    cells = [cell for row in json.loads(frozen)["rows"][:1] for cell in row["cells"][:1]]
    had = cells[0].keys() if cells else set()
    return [field.name for field in fields(Cell) if field.name in had and field.name not in _NOT_COMPARED]


def _as_it_was(certificate: Certificate, derivation: int) -> tuple[Reportable, set[str]]:
    """What it was composed from, and the samples that were moved to another submission since."""
    found = reportable(certificate.submission, further_of(certificate), certificate.made_at, derivation)
    own: dict[int, Sample] = {sample.pk: sample for sample in found.samples}
    printed = certificate.lines.exclude(sample=None).order_by().values_list("sample_id", "sample__number").distinct()
    numbers = dict(printed)
    stood = corrected_since([*(own.keys() | numbers.keys())], certificate.made_at)
    for key, before in stood.items():
        for name, value in before.items():
            if key in own and name == "client_identification":
                setattr(own[key], name, value)
    return found, {numbers[key] for key, before in stood.items() if "submission_id" in before and key in numbers}


def _of_lines(certificate: Certificate, document: CertificateDocument) -> Iterator[str]:
    """The rows of printed numbers against the frozen document."""
    units = {column.key: column.unit for column in (*document.columns, *document.grade_columns)}
    frozen = {
        (name, cell.column): (cell.printed, units[cell.column], cell.result)
        for name, cells in _cells(document).items()
        for cell in cells
        if cell.printed
    }
    of_set = ("sample_set__name", "sample_set__submission__number")
    rows = certificate.lines.values_list("sample__number", *of_set, "column", "printed", "unit", "result_id")
    stored = {}
    for number, name, submission, column, *said in rows:
        place = (number or name, column)
        stored[place if number or place in frozen else (f"{submission}: {name}", column)] = said
    for place in sorted(frozen.keys() | stored.keys(), key=str):
        if list(frozen.get(place, ())) != stored.get(place, []):
            old, new = frozen.get(place, ("nothing",))[0], stored.get(place, ["nothing"])[0]
            yield f"{place[0]}, {place[1]}: “{old}” is frozen, “{new}” stands in the row that leads back"


def _of_documents(
    document: CertificateDocument, again: CertificateDocument, left_out: set[str], known: list[str]
) -> Iterator[str]:
    new_columns = {column.key: column for column in (*again.columns, *again.grade_columns)}
    for column in (*document.columns, *document.grade_columns):
        yield from _of_parts(column.key, _OF_COLUMNS, column, new_columns.pop(column.key, None))
    yield from (f"{key} is composed again, and was not printed" for key in new_columns)
    order = [row.number for row in document.rows if row.number not in left_out]
    if order != [row.number for row in again.rows]:
        yield "its samples are not those that it is composed of again, or stand in another order"
    new_rows = {row.number: row for row in again.rows}
    for row in document.rows:
        if row.number in new_rows:
            yield from _of_parts(row.number, _OF_ROWS, row, new_rows[row.number])
    cells = {(name, cell.column): cell for name, own in _cells(again).items() for cell in own}
    for name, own in _cells(document).items():
        if name not in left_out:
            for cell in own:
                yield from _of_cells(name, cell, cells.get((name, cell.column)), known)


def _of_cells(name: str, old: Cell, new: Cell | None, known: list[str]) -> Iterator[str]:
    if new is not None and old.printed != new.printed:
        yield f"{name}, {old.column}: “{old.printed}” was printed, “{new.printed}” is composed again"
        return
    yield from _of_parts(f"{name}, {old.column}", known, old, new)


def _of_parts(what: str, names: Any, old: Any, new: Any) -> Iterator[str]:
    if new is None:
        yield f"{what} was printed, and is not composed again"
        return
    for name in names:
        before, after = getattr(old, name), getattr(new, name)
        if before != after:
            yield f"{what}: {name.replace('_', ' ')} “{before}” was printed, “{after}” is composed again"


def _cells(document: CertificateDocument) -> dict[str, tuple[Cell, ...]]:
    """Cells by the number of their sample, or by the name of their set."""
    return {row.number: row.cells for row in document.rows} | {grade.name: grade.cells for grade in document.grades}
