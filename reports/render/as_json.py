"""A certificate as JSON, for programs: what is printed, string by string, as `certificate-1.schema.json` describes it.

Numbers are decimal strings, so that no figure is gained or lost on the way (4.10 stays 4.10). The schema is published
with the site; a later format gets a schema of its own.
"""

import json
from dataclasses import asdict
from typing import Any

from reports.document import Cell, CertificateDocument, Column
from reports.render.numbers import plain
from reports.render.tables import written

FORMAT = "labresults certificate 1"
SCHEMA = "urn:labresults:certificate:1"
SCHEMA_FILE = "reports/certificate-1.schema.json"
"""Where it lies among the static files."""


def render_json(document: CertificateDocument) -> bytes:
    """Return the certificate as JSON (RFC 8259), UTF-8, in a fixed order: the same document gives the same bytes."""
    return json.dumps(as_data(document), ensure_ascii=False, indent=1).encode() + b"\n"


def as_data(document: CertificateDocument) -> dict[str, Any]:
    """Return what the JSON holds, as lists, dictionaries and strings."""
    columns = {column.key: column for column in document.columns}
    grade_columns = {column.key: column for column in document.grade_columns}
    return {
        "schema": SCHEMA,
        "format": FORMAT,
        "certificate": _head(document),
        "analytes": [_column(column) for column in document.columns],
        "samples": [
            {
                "number": row.number,
                "client_identification": row.client_identification,
                "submission": row.submission or document.submission,
                "matrix": row.matrix,
                "condition": row.condition,
                "conformity": row.conformity,
                "results": [_result(cell, columns[cell.column]) for cell in row.cells if cell.printed],
            }
            for row in document.rows
        ],
        "grades": [
            {
                "name": grade.name,
                "samples": grade.samples,
                "mass": grade.mass,
                "results": [_result(cell, grade_columns[cell.column]) for cell in grade.cells if cell.printed],
            }
            for grade in document.grades
        ],
        "remarks": [asdict(remark) for remark in document.remarks],
        "methods": [asdict(method) | {"runs": list(method.runs)} for method in document.methods],
        "derived": [asdict(note) for note in document.derived_notes],
        "control_samples": [asdict(control) for control in document.controls],
        "sampling": [asdict(note) for note in document.sampling_notes],
        "opinions": [asdict(note) for note in document.opinions],
        "changes": [asdict(change) for change in document.changes],
        "signatures": [asdict(signature) for signature in document.signatures],
        "words": _words(document),
    }


def _head(document: CertificateDocument) -> dict[str, Any]:
    return {
        "title": document.title,
        "number": document.number,
        "issue": document.issue,
        "preliminary": document.preliminary,
        "replaces": document.replaces,
        "replaces_why": document.replaces_why,
        "supplement": document.is_supplement,
        "laboratory": document.laboratory,
        "address": list(document.address),
        "place_of_work": document.place_of_work,
        "client": document.client,
        "client_address": list(document.client_address),
        "reference": document.reference,
        "submissions": list(document.submissions) or [document.submission],
        "sampling": document.sampling,
        "sampled": document.sampled,
        "received": document.received,
        "measured": document.measured,
        "issued": document.issued,
        "description": document.description,
        "check_code": document.check_code,
        "verify_address": document.verify_address,
        "audit_chain_head": document.chain_head,
    }


def _column(column: Column) -> dict[str, Any]:
    return {
        "key": column.key,
        "reported_as": column.formula,
        "unit": column.unit,
        "basis": column.basis,
        "method": column.method,
        "derived": column.derived,
        "detection_limit": plain(column.detection_limit),
        "quantification_limit": plain(column.quantification_limit),
    }


def _result(cell: Cell, column: Column) -> dict[str, Any]:
    as_text = written(cell, column)
    is_switched = as_text.unit != column.unit  # limits are in the unit of the column, and stand in its head
    return {
        "analyte": column.key,
        "printed": cell.printed,
        "sign": as_text.sign,
        "number": as_text.number or None,
        "limit": as_text.limit or None,
        "unit": as_text.unit,
        "expanded_uncertainty": plain(cell.u) or None,
        "detection_limit": plain(cell.detection_limit or column.detection_limit) or None if not is_switched else None,
        "quantification_limit": plain(cell.quantification_limit or column.quantification_limit) or None
        if not is_switched
        else None,
        "marks": cell.mark.split(", ") if cell.mark else [],
        "statement": cell.statement,
        "changed": cell.changed,
    }


def _words(document: CertificateDocument) -> dict[str, Any]:
    return {
        "reported_on": document.reported_on,
        "rules": f"{document.rule_name}: {document.rule_text}",
        "uncertainty": document.uncertainty_text,
        "conformity": document.conformity_text,
        "accreditation": document.accreditation,
        "departures": list(document.departures),
        "statements": list(document.statements),
    }
