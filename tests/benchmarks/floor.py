"""The floor that benchmarks compare with: rows inserted bare, by the fastest that each database has."""

from collections.abc import Sequence
from itertools import chain
from typing import Any

from django.db import connection
from django.db.models import Model


def bare_insert(model: type[Model], columns: Sequence[str], rows: Sequence[tuple[Any, ...]], at_once: int) -> None:
    """Insert rows by COPY on PostgreSQL, by statements of `at_once` rows on SQLite; keys, indexes and guards hold."""
    table = connection.ops.quote_name(model._meta.db_table)
    names = ", ".join(map(connection.ops.quote_name, columns))
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with cursor.cursor.copy(f"copy {table} ({names}) from stdin") as copy:
                for row in rows:
                    copy.write_row(row)
        else:
            marks = f"({', '.join('?' * len(columns))})"
            for first in range(0, len(rows), at_once):
                some = rows[first : first + at_once]
                statement = f"insert into {table} ({names}) values {', '.join([marks] * len(some))}"
                connection.connection.execute(statement, list(chain.from_iterable(some)))
