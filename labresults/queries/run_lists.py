"""The run list, as the analyst takes it to the instrument."""

from collections.abc import Iterable

from labresults.models import Position, Run
from labresults.readers.harmless import as_csv, protected

COLUMNS = (
    "position",
    "label",
    "role",
    "rack",
    "cup",
    "dilution at the instrument",
    "calibration block",
    "belongs to",
    "lot",
    "added lot",
    "added, mL",
    "made up to, mL",
)
"""The laboratory's own layout: any instrument's program that reads delimited text can take the columns that it needs.

position, label, role: number in the run, what stands on the tube, what it is. rack, cup: from 1, empty where the tray's
shape is not known. belongs to: label of the position that it is compared with. lot: of what it is made from. added: to
the test solution at the instrument.
"""


def run_list(run: Run) -> str:
    """The run list as CSV: UTF-8, comma, point, CRLF as RFC 4180 has it, one heading row (`COLUMNS`); one query."""
    positions = run.positions.select_related("lot", "added_lot", "parent").order_by("number")
    return as_csv([COLUMNS, *map(_row, positions)])


def _row(position: Position) -> Iterable[object]:
    """Cells in the order of `COLUMNS`; an empty cell for what is not there."""
    cells = (
        position.number,
        position.label,
        position.role,
        position.rack,
        position.cup,
        f"{position.dilution:g}",
        position.block,
        position.parent.label if position.parent else "",
        position.lot.number if position.lot else "",
        position.added_lot.number if position.added_lot else "",
        _volume(position.added_mL),
        _volume(position.made_up_mL),
    )
    return [protected(cell) if isinstance(cell, str) else cell for cell in cells]


def _volume(volume_mL: float | None) -> str:
    return "" if volume_mL is None else f"{volume_mL:g}"
