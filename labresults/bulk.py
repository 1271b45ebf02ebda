"""The one door for rows in bulk: the fastest that each database has, inside the transaction of the act.

SQLite: statements of many rows on the raw connection, since its full-text table (`finding`) writes itself down at each
statement. PostgreSQL: COPY in binary. Nothing else that writes knows which database it is.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from functools import lru_cache
from itertools import chain
from json import JSONEncoder
from typing import Any

from django.db import connection
from django.db.models import DateTimeField, JSONField, Model

_ROWS_AT_ONCE = 1_000
"""Of at most 32 columns: a statement of SQLite may have 32,766 values."""

_COPIED = {
    "bigint": "int8",
    "integer": "int4",
    "smallint": "int2",
    "double precision": "float8",
    "boolean": "bool",
    "varchar": "text",
    "text": "text",
    "date": "date",
    "timestamp with time zone": "timestamptz",
    "bytea": "bytea",
    "jsonb": "bytea",
}
"""Column of PostgreSQL to how its values are written down for a binary COPY."""

_encode = JSONEncoder(ensure_ascii=False).encode


class Json(str):
    """A text that is JSON already, for a JSON column: written once where many rows hold the same."""


def insert(model: type[Model], fields: Sequence[str], rows: Iterable[Sequence[Any]]) -> int:
    """Insert rows of values in the order of `fields` (foreign keys by key); return how many.

    Values are plain Python: float, int, str, bytes, bool, None, datetime with a time zone; lists or `Json` in JSON
    columns. Raises django.db.IntegrityError as any insert does; nothing of the batch stays then.
    """
    columns = [model._meta.get_field(name) for name in fields]
    written = _written(columns)
    return _insert(model, columns, [_prepare(row, written) for row in rows] if written else [*map(tuple, rows)])


def insert_columns(model: type[Model], columns: Mapping[str, Sequence[Any]]) -> int:
    """Insert rows given column by column, all of one length: the same as `insert`, for values that come that way."""
    fields = [model._meta.get_field(name) for name in columns]
    values = list(columns.values())
    for place, write in _written(fields):
        values[place] = [*map(write, values[place])]
    return _insert(model, fields, [*zip(*values, strict=True)])


def _insert(model: type[Model], columns: Sequence[Any], prepared: Sequence[tuple[Any, ...]]) -> int:
    if not prepared:
        return 0
    table = connection.ops.quote_name(model._meta.db_table)
    names = ", ".join(connection.ops.quote_name(str(column.column)) for column in columns)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            types = [_COPIED[str(column.db_type(connection)).partition("(")[0]] for column in columns]
            statement = f"copy {table} ({names}) from stdin with (format binary)"
            with connection.wrap_database_errors, cursor.cursor.copy(statement) as copy:
                copy.set_types(types)
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
            found.append((place, _as_json if connection.vendor == "sqlite" else _as_jsonb))
        elif isinstance(column, DateTimeField) and connection.vendor == "sqlite":
            found.append((place, _as_utc))
    return found


def _prepare(row: Sequence[Any], written: Sequence[tuple[int, Callable[[Any], Any]]]) -> tuple[Any, ...]:
    values = list(row)
    for place, write in written:
        values[place] = write(values[place])
    return tuple(values)


def _as_json(value: Any) -> str:
    return value if isinstance(value, Json) else _encode(value)


def _as_jsonb(value: Any) -> bytes:
    """A JSON value as PostgreSQL takes it in binary: the number of its format, then its text."""
    return b"\x01" + _as_json(value).encode()


@lru_cache(maxsize=64)
def _as_utc(value: datetime | None) -> str | None:
    """A time as Django reads it back from SQLite: UTC, without a zone. PostgreSQL keeps the zone by itself."""
    return value.astimezone(UTC).replace(tzinfo=None).isoformat(" ") if value is not None else None
