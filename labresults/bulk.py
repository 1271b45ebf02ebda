"""The one door for rows in bulk: the fastest that each database has, inside the transaction of the act.

SQLite: `executemany` on the raw connection. PostgreSQL: COPY. Nothing else in the code knows which database it is.
"""

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from json import dumps
from typing import Any

from django.db import connection
from django.db.models import JSONField, Model


def insert(model: type[Model], fields: Sequence[str], rows: Iterable[Sequence[Any]]) -> int:
    """Insert rows of values in the order of `fields` (foreign keys by key); return how many.

    Values are plain Python: float, int, str, bytes, bool, None, datetime with a time zone; lists in JSON columns.
    Raises django.db.IntegrityError as any insert does; nothing of the batch stays then.
    """
    columns = [model._meta.get_field(name) for name in fields]
    as_json = [isinstance(column, JSONField) for column in columns]
    prepared = [_prepare(row, as_json) for row in rows]
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
            marks = ", ".join(["?"] * len(columns))
            raw = connection.connection
            with connection.wrap_database_errors:
                raw.executemany(f"insert into {table} ({names}) values ({marks})", prepared)
    return len(prepared)


def _prepare(row: Sequence[Any], as_json: Sequence[bool]) -> tuple[Any, ...]:
    return tuple(
        dumps(value, ensure_ascii=False) if json else _plain(value) for value, json in zip(row, as_json, strict=True)
    )


def _plain(value: Any) -> Any:
    """A time as both databases store it: PostgreSQL with its zone, SQLite as UTC without one, as Django reads it."""
    if isinstance(value, datetime) and connection.vendor == "sqlite":
        return value.astimezone(UTC).replace(tzinfo=None).isoformat(" ")
    return value
