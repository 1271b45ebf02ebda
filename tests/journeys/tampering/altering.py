"""One stored value altered by SQL, as somebody would who has the database and no account."""

import json
import math
from collections.abc import Callable
from datetime import date, datetime, timedelta
from io import StringIO
from typing import Any

from django.core.management import CommandError, call_command
from django.db import connection
from django.db.models import Model

PROOFS = ("verify_certificates", "verify_audit", "recompute")


def alter(model: type[Model], field: Any, key: Any) -> Any:
    """Put another value into one column of one row, the smallest change that there is, and return it."""
    table, column, pk = model._meta.db_table, field.column, model._meta.pk.column
    now = model._default_manager.values_list(field.attname, flat=True).get(pk=key)
    other = another(field, now)
    with connection.cursor() as cursor:
        cursor.execute(
            f'update "{table}" set "{column}" = %s where "{pk}" = %s', [field.get_db_prep_save(other, connection), key]
        )
    return other


def another(field: Any, now: Any) -> Any:
    """Another value that the column can hold."""
    while field.is_relation:
        field = field.target_field
    kind = field.get_internal_type()
    if now is None:
        return _FIRST.get(kind, "x")
    for types, change in _CHANGES:
        if isinstance(now, types):
            return change(now)
    raise TypeError(f"How is a {kind} altered? Say it here.")


def named_by_a_proof() -> list[str]:
    """What the proofs say of the database, one after the other, until one says something."""
    for proof in PROOFS:
        options = {"check": True} if proof == "recompute" else {}
        try:
            call_command(proof, stdout=StringIO(), **options)
        except CommandError as error:
            return str(error).splitlines()
    return []


def _other_text(now: str) -> str:
    try:
        return (datetime.fromisoformat(now) + timedelta(seconds=1)).isoformat() if len(now) > 18 else _next_letter(now)
    except ValueError:
        return _next_letter(now)


def _next_letter(now: str) -> str:
    return (now[:-1] + chr(ord(now[-1]) + 1)) if now else "x"


def _flipped(now: Any) -> bytes:
    raw = bytes(now)
    return raw[:-1] + bytes([raw[-1] ^ 1]) if raw else b"x"


_CHANGES: tuple[tuple[Any, Callable[[Any], Any]], ...] = (
    (bool, lambda now: not now),
    (int, lambda now: now + 30_000),
    (float, lambda now: math.nextafter(now, math.inf)),
    (datetime, lambda now: now + timedelta(microseconds=1)),
    (date, lambda now: now + timedelta(days=1)),
    (str, _other_text),
    (dict, lambda now: now | {"x": 1}),
    (list, lambda now: [*now, 1]),
    ((bytes, memoryview), _flipped),
)
_FIRST: dict[str, Any] = {
    "FloatField": 1.0,
    "BigAutoField": 1,
    "BigIntegerField": 1,
    "IntegerField": 1,
    "PositiveIntegerField": 1,
    "PositiveSmallIntegerField": 1,
    "PositiveBigIntegerField": 1,
    "BooleanField": True,
    "DateField": date(2026, 1, 1),
    "DateTimeField": datetime.fromisoformat("2026-01-01T00:00:00+00:00"),
    "JSONField": json.loads("[1]"),
}
