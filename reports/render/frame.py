"""What stands around the results of a certificate: head, methods, statements, appendix; set by WeasyPrint."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import zip_longest

from reports.document import PREVIEW, Cell, CertificateDocument, Change, Grade
from reports.render.archive import About
from reports.render.control_tables import accepted, control_tables
from reports.render.figures import Figure, figure, most_decimals
from reports.render.line_rule import line_rule
from reports.render.printing import fill
from reports.render.qr import qr_path
from reports.render.sheets import Layout, rule_numbers

_WHEN = re.compile(r"(\d{1,2} \w+ \d{4}), (\d\d:\d\d) (?:UTC)?([+-]\d\d:?\d\d)")
_HEADS_SHORT = 0.97
"""Heads in words come out up to 3 % wider than the tables of control samples are estimated to be."""


@dataclass(frozen=True)
class Block:
    """Room that is left for results: its name, its height in mm, and whether it stands on a new page."""

    name: str
    height: str
    new_page: bool


def frame_html(
    document: CertificateDocument, layout: Layout, blocks: Sequence[Block], remarks_in_full: bool = False
) -> str:
    """Return the page that WeasyPrint sets: every string of the document but the results, escaped.

    remarks_in_full: the remarks beside results stand here too, where a page cannot hold all that one sample has.
    Without blocks it is only what stands before the results, so that the room there can be known.
    """
    name = name_of(document)
    context = {
        "document": document,
        "layout": layout,
        "blocks": blocks,
        "remarks_in_full": remarks_in_full,
        "name": name,
        "rule": line_rule(document.line_rule_nm, layout.width_mm),
        "rule_in_words": _rule_in_words(document.line_rule_nm),
        "facts": facts(document),
        "rule_sets": _rule_sets(document),
        "controls": control_tables(document.controls, layout.width_mm * _HEADS_SHORT),
        "accepted": accepted(document.controls),
        "methods_first": len(layout.sheets) > 1,
        "code": qr_path(document.verify_address or f"{document.number}/{document.issue} {document.check_code}"),
        "code_in_words": f"Code of {name}: {document.verify_address or 'its number and check code'}",
        "short_address": document.verify_address.partition("://")[2] or document.verify_address,
        "reasons": len({change.reason for change in document.changes}) > 1,
        "change_pairs": _change_pairs(document),
        "grades": _grades(document),
        "grade_heads": document.grade_columns,
        "grade_remarks": [
            remark
            for remark in document.remarks
            if any(remark.mark in cell.mark for grade in document.grades for cell in grade.cells)
        ],
    }
    return fill("reports/certificate.html", context)


def name_of(document: CertificateDocument) -> str:
    """Return number and issue, as they stand on every page."""
    return f"{document.number}, issue {document.issue}"


def word_across(document: CertificateDocument) -> str:
    """Return the word that lies across each page, "" on a certificate that is final."""
    if document.number == PREVIEW:
        return "PREVIEW"
    return "PRELIMINARY" if document.preliminary else ""


def about(document: CertificateDocument) -> About:
    """Return what the file says of itself; its moment is that of the last signature."""
    name = name_of(document)
    title = f"{document.title} {name}" + ", PRELIMINARY" * document.preliminary
    keywords = ", ".join((document.number, document.submission, document.chain_head))
    found = _WHEN.search(document.signatures[-1].when) if document.signatures else None
    moment = datetime.strptime(" ".join(found.groups()), "%d %B %Y %H:%M %z") if found else None
    return About(title, document.laboratory, f"{document.title} {name} for {document.client}", keywords, moment)


def facts(document: CertificateDocument) -> list[tuple[str, str, str, str]]:
    """Return the facts above the results, two to a line: label, value, label, value; empty ones are left out."""
    conditions = {row.condition for row in document.rows}
    left = [
        ("Client", ", ".join((document.client, *document.client_address))),
        ("Submissions", ", ".join(document.submissions))
        if len(document.submissions) > 1
        else ("Submission", document.submission),
        ("Items", document.description),
        ("Condition", conditions.pop() if len(conditions) == 1 else ""),
        ("Sampling", document.sampling),
        ("Reported on", document.reported_on),
        ("Place of work", document.place_of_work),
    ]
    right = [
        ("Your reference", document.reference),
        ("Sampled", document.sampled),
        ("Received", document.received),
        ("Measured", document.measured),
        ("Issued", document.issued),
    ]
    pairs = zip_longest(*([fact for fact in side if fact[1]] for side in (left, right)), fillvalue=("", ""))
    return [(*one, *other) for one, other in pairs]


def _rule_in_words(lines_nm: Sequence[float]) -> str:
    """Say what the drawing under the laboratory's name shows."""
    if not lines_nm:
        return "A scale of wavelength"
    return f"Emission lines measured, nm: {', '.join(f'{line:.3f}' for line in lines_nm)}"


def _rule_sets(document: CertificateDocument) -> list[dict[str, str]]:
    """Say which columns are printed by which rules, where a certificate has several sets; else nothing."""
    said = []
    for name, number in rule_numbers(document).items():
        own = [f"{column.formula} ({column.method})" for column in document.columns if column.rule_set == name]
        said.append({"number": str(number), "name": name or "those named first", "columns": ", ".join(own)})
    return said


def _change_pairs(document: CertificateDocument) -> list[tuple[Change, Change | None]]:
    """Pair the changes of an amendment down two halves of a table; each alone where each has a reason of its own."""
    heads = {column.key: f"{column.formula}, {column.unit}" for column in document.columns}
    named = [Change(c.sample, heads.get(c.column, c.column), c.old, c.new, c.reason) for c in document.changes]
    if len({change.reason for change in named}) > 1:
        return [(change, None) for change in named]
    half = (len(named) + 1) // 2
    return list(zip_longest(named[:half], named[half:]))


def _grades(document: CertificateDocument) -> list[tuple[Grade, list[tuple[Figure, Cell]]]]:
    """Return the rows of the table of means, their points under each other."""
    points = [
        most_decimals(grade.cells[at].printed for grade in document.grades) for at in range(len(document.grade_columns))
    ]
    return [
        (
            grade,
            [(figure(cell.printed, point), cell) for cell, point in zip(grade.cells, points, strict=True)],
        )
        for grade in document.grades
    ]
