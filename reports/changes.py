"""What an amendment changed of the issue before it: every printed string, from what, to what, and why. Pure.

Source: ISO/IEC 17025:2017, 7.8.8: any change of information is identified, with its reason where appropriate.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from reports.document import Cell, CertificateDocument, Change, ControlRow, DerivedNote, Row

NOTHING = "nothing"
"""Stands for what was not printed at all."""

Place = tuple[str, str]  # sample, and what of it: as `Change` has them

_OF_DOCUMENT = {
    "title": "Title",
    "laboratory": "Laboratory",
    "place_of_work": "Place of work",
    "client": "Client",
    "reference": "Reference",
    "submission": "Submission",
    "sampling": "Sampling",
    "received": "Received",
    "sampled": "Sampled",
    "description": "Description",
    "reported_on": "Reported on",
    "rule_name": "Reporting rules",
    "accreditation": "Accreditation",
}
_OF_CONTROL = ("expected", "found", "limits", "verdict", "accepted_because")
_SENTENCE = re.compile(r"(?<=[.!?]) (?=[A-Z“])")
_COUNTED = "Of "
"""How the sentence begins that counts statements: it follows from the samples, and is no information of its own."""

_OF_ROW = {"client_identification": "Your own", "matrix": "Matrix", "condition": "Condition", "conformity": "Statement"}


def against(document: CertificateDocument, previous: CertificateDocument) -> CertificateDocument:
    """Return the document with what changed from the issue before listed, and changed values marked.

    Dates of measurement and of issue are of their own issue and no change. A supplement only adds to what was printed.
    """
    changes = tuple(_changes(document, previous))
    changed = {(change.sample, change.column) for change in changes}
    rows = tuple(
        replace(row, cells=tuple(replace(cell, changed=_is_in(changed, row, cell)) for cell in row.cells))
        for row in document.rows
    )
    added = bool(changes) and all(change.old == NOTHING for change in changes)
    return replace(document, rows=rows, changes=changes, is_supplement=added and not previous.preliminary)


def explained(
    document: CertificateDocument, given: Mapping[Place, str], known: Mapping[Place, str], otherwise: str = ""
) -> CertificateDocument:
    """Return the document with a reason beside each change.

    given: by a person, for one change or, without a sample, for a whole column; known: from the record; otherwise: the
    one for all.
    """

    def reason(change: Change) -> str:
        place = (change.sample, change.column)
        return given.get(place) or given.get(("", change.column)) or known.get(place) or otherwise

    return replace(document, changes=tuple(replace(change, reason=reason(change)) for change in document.changes))


def _changes(document: CertificateDocument, previous: CertificateDocument) -> Iterator[Change]:
    for name, words in _OF_DOCUMENT.items():
        yield from _change("", words, getattr(previous, name), getattr(document, name))
    yield from _change("", "Address of the client", *(", ".join(of.client_address) for of in (previous, document)))
    if previous.preliminary == document.preliminary:
        yield from _change("", "Departures", *(" ".join(of.departures) for of in (previous, document)))
    for name, words in (("opinions", "Opinion"), ("sampling_notes", "Sampling record")):
        yield from _change("", words, _notes(previous, name), _notes(document, name))
    yield from _of_items("Limits and decision rule", *(_sentences(of.conformity_text) for of in (previous, document)))
    yield from _of_items("Uncertainty of measurement", *(_of_each_method(of) for of in (previous, document)))
    yield from _of_items("Statements", previous.statements, document.statements)
    yield from _of_methods(document, previous)
    yield from _of_controls(document, previous)
    yield from _of_columns(document, previous)
    old, new = ({row.number: row for row in of.rows} for of in (previous, document))
    for number in dict.fromkeys([*old, *new]):
        yield from _of_row(number, old.get(number), new.get(number), _remarks(previous), _remarks(document))
    old_means, new_means = ({grade.name: grade.cells for grade in of.grades} for of in (previous, document))
    for name in dict.fromkeys([*old_means, *new_means]):
        yield from _of_cells(name, old_means.get(name, ()), new_means.get(name, ()))
        yield from _of_statements(name, old_means.get(name, ()), new_means.get(name, ()))


def _of_columns(document: CertificateDocument, previous: CertificateDocument) -> Iterator[Change]:
    """Limits and units of columns that both issues have; those of a new column come with it."""
    old = {column.key: column for column in previous.columns}
    for column in document.columns:
        before = old.get(column.key)
        if before is not None:
            for name in ("unit", "basis", "detection_limit", "quantification_limit"):
                words = f"{column.key}, {name.replace('_', ' ')}"
                yield from _change("", words, getattr(before, name), getattr(column, name))


def _of_methods(document: CertificateDocument, previous: CertificateDocument) -> Iterator[Change]:
    """Version, procedure and lines of methods, and definitions of what is computed, that both issues have."""
    old = {note.code: note for note in previous.methods}
    for note in document.methods:
        if (before := old.get(note.code)) is not None:
            words = f"Method {note.code}"
            yield from _change("", words, *(f"v{of.version}: {of.what_was_done}" for of in (before, note)))
            yield from _of_items(f"{words}, lines", before.lines.split(", "), note.lines.split(", "))
    defined = {note.column: note for note in previous.derived_notes}
    for derived in document.derived_notes:
        if (was := defined.get(derived.column)) is not None:
            yield from _change("", f"{derived.heading}, definition", _definition(was), _definition(derived))


def _definition(note: DerivedNote) -> str:
    return f"{note.name}: {note.formula}. {note.below} {note.source.rstrip('.')}. {note.remark}".strip()


def _of_controls(document: CertificateDocument, previous: CertificateDocument) -> Iterator[Change]:
    """Control samples that both issues have: those of other runs come and go with the results beside them.

    One material stands in a run several times: the first is compared with the first, and so on.
    """
    old: dict[tuple[str, ...], list[ControlRow]] = {}
    for of in previous.controls:
        old.setdefault((of.run, of.kind, of.label, of.analyte), []).append(of)
    for control in document.controls:
        alike = old.get((control.run, control.kind, control.label, control.analyte))
        if alike:
            before = alike.pop(0)
            for name in _OF_CONTROL:
                words = f"{control.label}, {control.analyte}: {name.replace('_', ' ')}"
                yield from _change("", words, getattr(before, name), getattr(control, name))


def _of_items(what: str, old: Sequence[str], new: Sequence[str]) -> Iterator[Change]:
    """What of a list, or of the sentences of a text, went and came; what stayed is not repeated."""
    went, came = ([item for item in one if item not in other] for one, other in ((old, new), (new, old)))
    yield from _change("", what, " ".join(went), " ".join(came))


def _sentences(text: str) -> list[str]:
    return [sentence for sentence in _SENTENCE.split(text) if sentence and not sentence.startswith(_COUNTED)]


def _of_each_method(document: CertificateDocument) -> list[str]:
    """What is said of uncertainty: of all, then of each method."""
    codes = "|".join(re.escape(note.code) for note in document.methods)
    return re.split(rf" (?=(?:{codes}): )", document.uncertainty_text) if codes else [document.uncertainty_text]


def _of_row(
    number: str, old: Row | None, new: Row | None, old_remarks: Mapping[str, str], new_remarks: Mapping[str, str]
) -> Iterator[Change]:
    for name, words in _OF_ROW.items():
        yield from _change(number, words, getattr(old, name, ""), getattr(new, name, ""))
    before, now = (row.cells if row else () for row in (old, new))
    yield from _of_cells(number, before, now)
    if old is None or new is None:
        return
    marks = {cell.column: _said(cell, old_remarks) for cell in before}
    for cell in now:
        if cell.column in marks:
            yield from _change(number, f"{cell.column}, remark", marks[cell.column], _said(cell, new_remarks))


def _of_cells(name: str, old: tuple[Cell, ...], new: tuple[Cell, ...]) -> Iterator[Change]:
    before, now = ({cell.column: cell for cell in cells} for cells in (old, new))
    for column in dict.fromkeys([*before, *now]):
        was, is_now = before.get(column), now.get(column)
        yield from _change(name, column, was.printed if was else "", is_now.printed if is_now else "")
        if was and is_now and was.printed and is_now.printed:
            yield from _change(name, f"{column}, U", was.u, is_now.u)
            for limit in ("detection_limit", "quantification_limit"):
                words = f"{column}, {limit.replace('_', ' ')} of this sample"
                yield from _change(name, words, getattr(was, limit), getattr(is_now, limit))


def _of_statements(name: str, old: tuple[Cell, ...], new: tuple[Cell, ...]) -> Iterator[Change]:
    """Statements of means; those of a sample are summed up in its row."""
    before = {cell.column: cell.statement for cell in old}
    for cell in new:
        if cell.column in before:
            yield from _change(name, f"{cell.column}, statement", before[cell.column], cell.statement)


def _change(sample: str, what: str, old: str, new: str) -> Iterator[Change]:
    if old != new:
        yield Change(sample, what, old or NOTHING, new or NOTHING)


def _is_in(changed: set[Place], row: Row, cell: Cell) -> bool:
    return any((row.number, what) in changed for what in (cell.column, f"{cell.column}, U", f"{cell.column}, remark"))


def _remarks(document: CertificateDocument) -> dict[str, str]:
    return {remark.mark: remark.text for remark in document.remarks}


def _said(cell: Cell, remarks: Mapping[str, str]) -> str:
    """The remarks beside a value, in words: their letters are given anew in each issue."""
    texts = (remarks.get(mark.strip(), "") for mark in cell.mark.split(","))
    return " ".join(text for text in texts if text)


def _notes(document: CertificateDocument, name: str) -> str:
    return " ".join(note.text if name == "opinions" else note.plan for note in getattr(document, name))
