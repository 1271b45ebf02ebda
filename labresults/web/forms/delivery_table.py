"""A table that was pasted or loaded, between its reading and the grid: what the person says of it, field by field."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.http import QueryDict

from labresults.acts import BadInput
from labresults.queries.delivery_table import DAY_ORDERS, SEPARATORS, Asked, choices, understood
from labresults.web import uploads

MOST_BYTES = 10 * 1024 * 1024
PASTED = "the pasted rows"
SIGNS = ((".", "point, as in 1,234.5"), (",", "comma, as in 1.234,5"))


class TableForm:
    """One table, kept in the file store until its rows are in the grid."""

    def __init__(self, content: bytes, name: str, sha256: str, asked: Asked) -> None:
        self.name, self.sha256, self.asked = name, sha256, asked
        self.understood = understood(content, name, asked)
        self.choices = choices()
        self.signs, self.day_orders = SIGNS, DAY_ORDERS
        self.separators = tuple(SEPARATORS) if self.understood.table.separator else ()

    @property
    def form_of(self) -> str:
        """Sheet, separator and heading row that the choices below were made for."""
        table = self.understood.table
        return f"{table.sheet}|{table.separator}|{self.understood.heading_row}"

    @property
    def lets_choose(self) -> bool:
        """Whether there are columns to choose for."""
        return bool(self.understood.columns)

    @property
    def has_problems(self) -> bool:
        """Whether something is left to say or to correct."""
        return bool(self.understood.problems)

    @property
    def listed(self) -> tuple[Any, ...]:
        """The first problems, in words."""
        return self.understood.problems[:20]


def table_brought(posted: QueryDict, files: Mapping[str, Any], now: datetime) -> TableForm | None:
    """The table that was pasted or loaded just now, or that the page had already; None where there is none.

    Raises BadInput where a file is too large, or what was kept of it is gone.
    """
    file, text = files.get("file"), posted.get("paste", "")
    if file and text.strip():
        raise BadInput("A file was chosen and rows were pasted. Bring them one after the other.")
    if file:
        if file.size > MOST_BYTES:
            raise BadInput(f"{file.name} has {file.size / 1e6:.1f} MB. Load at most {MOST_BYTES / 1e6:.0f} MB at once.")
        return _new(file.read(), file.name, now)
    if text.strip():
        return _new(text.encode(), PASTED, now)
    return _again(posted) if posted.get("table") else None


def _new(content: bytes, name: str, now: datetime) -> TableForm:
    return TableForm(content, name, uploads.keep(content, now), Asked())


def _again(posted: QueryDict) -> TableForm:
    sha256, name = posted.get("table", ""), posted.get("table_name", "")
    content = uploads.take(sha256)
    if content is None:
        raise BadInput(f"What was read of {name} is gone after a day. Paste or load it once more.")
    sheet, separator, row = (posted.get(field, "") for field in ("sheet", "separator", "heading_row"))
    heading_row = int(row) if row.isdecimal() else None
    if f"{sheet}|{separator}|{row}" != posted.get("table_form", ""):
        was_row = posted.get("table_form", "").rpartition("|")[2]
        # Another sheet or separator has other headings: they are looked for anew, unless the row itself was changed.
        return TableForm(content, name, sha256, Asked(sheet, separator, heading_row if row != was_row else None))
    columns = {
        int(field.removeprefix("column-")): value
        for field, value in posted.items()
        if field.startswith("column-") and field.removeprefix("column-").isdecimal() and isinstance(value, str)
    }
    asked = Asked(sheet, separator, heading_row, columns, posted.get("decimal_sign", ""), posted.get("day_order", ""))
    return TableForm(content, name, sha256, asked)
