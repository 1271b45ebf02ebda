"""What an amendment changed: each printed string, from what, to what, and why."""

from dataclasses import replace

import pytest

from reports.changes import NOTHING, against, explained
from reports.document import CertificateDocument, Change, Remark
from tests.render.documents import certificate

_DRAWN = certificate(samples=4)
OLD = replace(
    _DRAWN,
    rows=tuple(replace(row, cells=tuple(replace(cell, mark="") for cell in row.cells)) for row in _DRAWN.rows),
)
ROW = OLD.rows[0]
METHOD = OLD.methods[0]
CELL = next(cell for cell in ROW.cells if cell.printed)


def with_cell(**changes: object) -> CertificateDocument:
    """The document with something of one printed number changed."""
    cells = tuple(replace(cell, **changes) if cell is CELL else cell for cell in ROW.cells)  # type: ignore[arg-type]
    return replace(OLD, rows=(replace(ROW, cells=cells), *OLD.rows[1:]))


@pytest.mark.parametrize(
    ("new", "change"),
    [
        (with_cell(printed="<999"), Change(ROW.number, CELL.column, CELL.printed, "<999")),
        (with_cell(printed=""), Change(ROW.number, CELL.column, CELL.printed, NOTHING)),
        (with_cell(u="0.77"), Change(ROW.number, f"{CELL.column}, U", CELL.u or NOTHING, "0.77")),
        (replace(OLD, client="Somebody else"), Change("", "Client", OLD.client, "Somebody else")),
        (replace(OLD, reference="order 2"), Change("", "Reference", OLD.reference, "order 2")),
        (
            replace(OLD, rows=(replace(ROW, client_identification="core 9"), *OLD.rows[1:])),
            Change(ROW.number, "Your own", ROW.client_identification, "core 9"),
        ),
        (
            replace(OLD, columns=(replace(OLD.columns[0], detection_limit="7.7"), *OLD.columns[1:])),
            Change("", f"{OLD.columns[0].key}, detection limit", OLD.columns[0].detection_limit, "7.7"),
        ),
        (replace(OLD, place_of_work="Elsewhere"), Change("", "Place of work", OLD.place_of_work, "Elsewhere")),
        (
            replace(OLD, conformity_text="Limits: Cu at most 300 mg/kg. Of 9 samples: 9 “conforms”."),
            Change("", "Limits and decision rule", OLD.conformity_text or NOTHING, "Limits: Cu at most 300 mg/kg."),
        ),
        (
            replace(OLD, uncertainty_text=f"{OLD.uncertainty_text} {METHOD.code}: by a round."),
            Change("", "Uncertainty of measurement", NOTHING, f"{METHOD.code}: by a round."),
        ),
        (
            replace(OLD, methods=(replace(METHOD, what_was_done="Shaken."), *OLD.methods[1:])),
            Change(
                "", f"Method {METHOD.code}", f"v{METHOD.version}: {METHOD.what_was_done}", f"v{METHOD.version}: Shaken."
            ),
        ),
        (
            replace(OLD, methods=(replace(METHOD, lines=METHOD.lines + ", Q 1.234"), *OLD.methods[1:])),
            Change("", f"Method {METHOD.code}, lines", NOTHING, "Q 1.234"),
        ),
        (
            replace(OLD, statements=OLD.statements[1:]),
            Change("", "Statements", OLD.statements[0], NOTHING),
        ),
        (
            replace(OLD, controls=(replace(OLD.controls[0], found="9.9"), *OLD.controls[1:])),
            Change("", f"{OLD.controls[0].label}, {OLD.controls[0].analyte}: found", OLD.controls[0].found, "9.9"),
        ),
        (
            with_cell(detection_limit="7"),
            Change(ROW.number, f"{CELL.column}, detection limit of this sample", CELL.detection_limit or NOTHING, "7"),
        ),
    ],
)
def test_whatever_is_printed_otherwise_is_listed(new: CertificateDocument, change: Change) -> None:
    assert against(new, OLD).changes == (change,)


def test_nothing_is_listed_where_nothing_changed_but_the_days() -> None:
    later = replace(OLD, issued="1 December 2026", measured="30 November 2026", chain_head="f" * 64)
    assert against(later, OLD).changes == ()


def test_a_remark_is_compared_by_its_words_since_letters_are_given_anew() -> None:
    old = replace(with_cell(mark="a"), remarks=(Remark("a", "Found, not to be relied on."),))
    same = replace(with_cell(mark="b"), remarks=(Remark("a", "Other."), Remark("b", "Found, not to be relied on.")))
    other = replace(with_cell(mark="a"), remarks=(Remark("a", "Held too long."),))
    assert against(same, old).changes == ()
    (change,) = against(other, old).changes
    assert (change.column, change.old, change.new) == (
        f"{CELL.column}, remark", "Found, not to be relied on.", "Held too long.",
    )  # fmt: skip


def test_a_changed_value_is_marked_and_no_other() -> None:
    marked = [(row.number, cell.column) for row in against(with_cell(u="0.77"), OLD).rows for cell in row.cells
              if cell.changed]  # fmt: skip
    assert marked == [(ROW.number, CELL.column)]


def test_a_sample_that_is_gone_and_one_that_came_are_listed_whole() -> None:
    gone = against(replace(OLD, rows=OLD.rows[1:]), OLD).changes
    came = against(OLD, replace(OLD, rows=OLD.rows[1:])).changes
    assert {change.sample for change in (*gone, *came)} == {ROW.number}
    assert {change.new for change in gone} == {change.old for change in came} == {NOTHING}


def test_a_supplement_only_adds() -> None:
    before = replace(OLD, rows=tuple(replace(row, cells=row.cells[:-1]) for row in OLD.rows), columns=OLD.columns[:-1])
    assert against(OLD, before).is_supplement
    assert not against(with_cell(printed="<999"), before).is_supplement
    assert not against(OLD, replace(before, preliminary=True)).is_supplement, "that is the final certificate"
    assert not against(OLD, OLD).is_supplement


def test_the_reason_nearest_to_a_change_stands() -> None:
    """Given for the one change, given for its column, known from the record, given for all."""
    new = against(with_cell(printed="<999"), OLD)
    own, column = {(ROW.number, CELL.column): "own"}, {("", CELL.column): "column"}
    known = {(ROW.number, CELL.column): "record"}
    for given, record, expected in [
        (own | column, known, "own"), (column, known, "column"), ({}, known, "record"), ({}, {}, "all"),
    ]:  # fmt: skip
        (change,) = explained(new, given, record, "all").changes
        assert change.reason == expected
