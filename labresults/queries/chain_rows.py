"""Every row that a certificate stands on, as digests: what it looked like, in eight bytes.

`gather` makes one or two queries a table (about 70), whatever the number of samples; more only where there are more
keys to look up than one query takes.
"""

import hashlib
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from json import JSONEncoder
from typing import Any

from django.apps import apps
from django.db.models import ForeignKey, Model, Q, QuerySet

from labresults.models import SampleCorrection, Submission
from labresults.queries.chain_tables import CHAIN, MAY_CHANGE, ROOTS_ONLY, Table
from labresults.queries.reportable import Reportable
from labresults.queries.shared_rows import in_parts
from labresults.terms import Correction

DIGEST_BYTES = 8
"""Of each row's SHA-256: enough that nobody finds another row with the same by trying (2^64 trials for one)."""

_FEW = 1_000
"""So few keys share their query with others."""


@dataclass(frozen=True)
class Digested:
    """Rows of one table: their columns, their keys, and a digest of each in the same order."""

    label: str
    columns: tuple[str, ...]
    keys: tuple[Any, ...]
    digests: bytes


def gather(found: Reportable, signers: Collection[int], also: Iterable[int] = ()) -> list[Digested]:
    """Digest every row that the certificate of these results stands on, table by table.

    signers: keys of the people who sign it, beside the reviewers; also: results that only derived ones stand on.
    """
    known = _roots(found, signers, also)
    digested = []
    for table in CHAIN:
        model = apps.get_model(table.label)
        rows = _rows_of(table, model, known)
        digested.append(digest_rows_of(model, rows))
    return [rows for rows in digested if rows.keys]


def digest_rows_of(model: type[Model], rows: Sequence[tuple[Any, ...]]) -> Digested:
    """Digest rows given as the values of `columns_of(model)`."""
    columns = columns_of(model)
    place = columns.index(str(model._meta.pk.attname))
    return Digested(
        model._meta.label,
        columns,
        tuple(row[place] for row in rows),
        b"".join(map(digest_of_row, rows)),
    )


def columns_of(model: type[Model]) -> tuple[str, ...]:
    """Columns that are compared: every one that work may not rightly change."""
    left_out = MAY_CHANGE.get(model._meta.object_name or "", {})
    return tuple(f.attname for f in model._meta.concrete_fields if f.attname not in left_out)


def digest_of_row(row: Sequence[Any]) -> bytes:
    """The first bytes of the SHA-256 of a row's canonical text: JSON, times in UTC, bytes by their SHA-256."""
    return hashlib.sha256(_encode(row).encode()).digest()[:DIGEST_BYTES]


def rows_by_key(model: type[Model], columns: Sequence[str], keys: Sequence[Any]) -> dict[Any, tuple[Any, ...]]:
    """The rows with these keys as they are now, by key; one query for as many as `shared_rows.AT_ONCE`."""
    key = str(model._meta.pk.attname)
    found: dict[Any, tuple[Any, ...]] = {}
    for some in in_parts(keys):
        rows = model._default_manager.order_by().filter(pk__in=some).values_list(key, *columns)
        found.update((row[0], row[1:]) for row in rows.iterator(chunk_size=5_000))
    return found


def corrected_since(samples: Sequence[int], moment: datetime) -> dict[int, dict[str, Any]]:
    """What stood in samples that were corrected after a moment, by key and column; two queries at most.

    The place in its submission from which a sample was moved is not on record: None stands for it.
    """
    stood: dict[int, dict[str, Any]] = {}
    for some in in_parts(samples):
        for row in SampleCorrection.objects.filter(sample__in=some, made_at__gt=moment).order_by("pk"):
            before = stood.setdefault(row.sample_id, {})
            if row.what == Correction.IDENTIFICATION:
                before.setdefault("client_identification", row.before)
            elif row.what == Correction.STRUCK:
                before.setdefault("struck_at", None)
            elif row.what == Correction.MOVED and "submission_id" not in before:
                before |= {"submission_id": row.before, "ordinal": None}
    numbers = {before["submission_id"] for before in stood.values() if "submission_id" in before}
    keys = dict(Submission.objects.filter(number__in=numbers).values_list("number", "pk")) if numbers else {}
    for before in stood.values():
        if "submission_id" in before:
            before["submission_id"] = keys.get(before["submission_id"])
    return stood


def _roots(found: Reportable, signers: Collection[int], also: Iterable[int]) -> dict[str, set[Any]]:
    results = list(found.results.values())
    accepted = [outcome for standing in found.failures.values() for outcome in standing["accepted"]]
    return {
        "results": {result.pk for result in results} | set(also),
        "evaluations": {result.evaluation_id for result in results},
        "runs": {result.evaluation.run_id for result in results},
        "outcomes": {outcome.pk for outcome in accepted},
        "samples": {sample.pk for sample in found.samples},
        "submissions": {submission.pk for submission in found.submissions},
        "versions": {version.pk for version in found.method_versions},
        "signers": set(signers) | {item.review.made_by_id for item in found.decisions.values()},
        "laboratory": {found.laboratory.pk},
    }


def _rows_of(table: Table, model: type[Model], known: dict[str, set[Any]]) -> list[tuple[Any, ...]]:
    """Rows of one table that hang on what is known or that it refers to; what they refer to is known from now on."""
    name = table.label.partition(".")[2]
    seen = known.setdefault(name, set())
    hangs_on = table.hangs_on if name in ROOTS_ONLY else (*table.hangs_on, ("pk", name))
    rows = _load(model, [(f"{field}__in", keys) for field, of in hangs_on for keys in in_parts(known.get(of, ()))])
    _refer(model, rows, known)
    while table.own_kind:
        more = seen - rows.keys()
        if not more:
            break
        rows |= (newer := _load(model, [("pk__in", keys) for keys in in_parts(more)]))
        _refer(model, newer, known)
        seen &= rows.keys()  # what is not there any more is not looked for again
    seen |= rows.keys()
    return [rows[key] for key in sorted(rows)]


def _load(model: type[Model], conditions: Sequence[tuple[str, Sequence[Any]]]) -> dict[Any, tuple[Any, ...]]:
    columns = columns_of(model)
    place = columns.index(str(model._meta.pk.attname))
    found: dict[Any, tuple[Any, ...]] = {}
    for together in _joined(conditions):
        rows: QuerySet[Any] = model._default_manager.order_by().filter(together)
        found.update((row[place], row) for row in rows.values_list(*columns).iterator(chunk_size=5_000))
    return found


def _joined(conditions: Sequence[tuple[str, Sequence[Any]]]) -> Iterator[Q]:
    """Short lists of keys in one query, long ones each in its own."""
    short = Q()
    for field, keys in conditions:
        if len(keys) < _FEW:
            short |= Q(**{field: keys})
        else:
            yield Q(**{field: keys})
    if short:
        yield short


def _refer(model: type[Model], rows: dict[Any, tuple[Any, ...]], known: dict[str, set[Any]]) -> None:
    """What rows refer to is known from now on."""
    columns = columns_of(model)
    for field in model._meta.concrete_fields:
        if not isinstance(field, ForeignKey) or field.attname not in columns:
            continue
        place = columns.index(field.attname)
        name = str(field.related_model._meta.object_name)
        known.setdefault(name, set()).update({row[place] for row in rows.values()} - {None})


def _plain(value: Any) -> str:
    """Text of what JSON has no word for."""
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, bytes | bytearray | memoryview):
        return hashlib.sha256(value).hexdigest()
    raise TypeError(f"A column of {type(value).__name__} has no canonical text yet: say here what it is.")


_encode = JSONEncoder(ensure_ascii=False, sort_keys=True, separators=(",", ":"), default=_plain).encode
