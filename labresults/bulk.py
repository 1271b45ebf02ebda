"""The one door for rows in bulk: the fastest that each database has, inside the transaction of the act.

SQLite: statements of many rows on the raw connection, since its full-text table (`finding`) writes itself down at each
statement. PostgreSQL: COPY. Nothing else that writes knows which database it is.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import UTC, datetime
from itertools import chain
from json import dumps
from typing import Any

from django.db import connection
from django.db.models import DateTimeField, JSONField, Model

_ROWS_AT_ONCE = 1_000
"""Of at most 32 columns: a statement of SQLite may have 32,766 values."""


def insert(model: type[Model], fields: Sequence[str], rows: Iterable[Sequence[Any]]) -> int:
    """Insert rows of values in the order of `fields` (foreign keys by key); return how many.

    Values are plain Python: float, int, str, bytes, bool, None, datetime with a time zone; lists in JSON columns.
    Raises django.db.IntegrityError as any insert does; nothing of the batch stays then.
    """
    columns = [model._meta.get_field(name) for name in fields]
    written = _written(columns)
    prepared = [_prepare(row, written) for row in rows]
    if not prepared:
        return 0
    table = connection.ops.quote_name(model._meta.db_table)
    names = ", ".join(connection.ops.quote_name(str(column.column)) for column in columns)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with connection.wrap_database_errors, cursor.cursor.copy(f"copy {table} ({names}) from stdin") as copy:
                for row in prepared:
                    copy.write_row(row)
        else:
            marks = f"({', '.join(['?'] * len(columns))})"
            raw = connection.connection
            with connection.wrap_database_errors:
                for some in _in_parts(prepared, _ROWS_AT_ONCE):
                    statement = f"insert into {table} ({names}) values {', '.join([marks] * len(some))}"
                    raw.execute(statement, list(chain.from_iterable(some)))
    return len(prepared)


def _in_parts(rows: Sequence[tuple[Any, ...]], size: int) -> Iterator[Sequence[tuple[Any, ...]]]:
    for first in range(0, len(rows), size):
        yield rows[first : first + size]


def _written(columns: Sequence[Any]) -> list[tuple[int, Callable[[Any], Any]]]:
    """The columns whose values are stored otherwise than they are, by their places, and how."""
    found: list[tuple[int, Callable[[Any], Any]]] = []
    for place, column in enumerate(columns):
        if isinstance(column, JSONField):
            found.append((place, _as_json))
        elif isinstance(column, DateTimeField) and connection.vendor == "sqlite":
            found.append((place, _as_utc))
    return found


def _prepare(row: Sequence[Any], written: Sequence[tuple[int, Callable[[Any], Any]]]) -> tuple[Any, ...]:
    values = list(row)
    for place, write in written:
        values[place] = write(values[place])
    return tuple(values)


def _as_json(value: Any) -> str:
    return dumps(value, ensure_ascii=False)


def _as_utc(value: datetime | None) -> str | None:
    """A time as Django reads it back from SQLite: UTC, without a zone. PostgreSQL keeps the zone by itself."""
    return value.astimezone(UTC).replace(tzinfo=None).isoformat(" ") if value is not None else None
