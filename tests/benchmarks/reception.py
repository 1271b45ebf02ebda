"""Time of logging 2,000 samples with three methods each, as a ratio to bare inserts of the same rows.

    .venv/bin/python -m pytest tests/benchmarks/reception.py -s

The floor is statements of 250 rows (SQLite) or COPY (PostgreSQL) of prebuilt tuples into the same tables, with keys,
indexes, guards and search index, in one transaction that is undone. Page, act and floor run five times in turn; the
best of each counts. Page: the whole POST through the reception page. Act: with check and review, also timed alone.
Two kinds of delivery: methods asked for all samples, and by each sample (6,000 rows more). Not part of the suite.
"""

from collections.abc import Callable, Sequence
from datetime import date, datetime
from json import dumps
from time import perf_counter, process_time
from typing import Any

import pytest
from django.db import connection, transaction
from django.db.models import Model, QuerySet
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from labresults.actions.delivery import receive_samples
from labresults.models import (
    AuditEvent,
    CustodyEntry,
    Method,
    Request,
    RequestedMethod,
    Submission,
    Subsample,
)
from labresults.queries.delivery import problems_of
from labresults.queries.request_review import review
from labresults.readers.delivery import DeliveredSample
from tests.benchmarks.floor import bare_insert
from tests.builders import NOW, Laboratory, a_method

COUNT, ROUNDS, AT_ONCE = 2_000, 5, 250
METHODS = ("AR-7", "AR-8", "AR-9")

ABOVE = 1_000_000
"""Added to keys, so that the floor's rows are new ones."""

Table = tuple[type[Model], list[str], list[tuple[Any, ...]]]


class _Undo(Exception):
    """Takes the rows of a round away again."""


@pytest.mark.parametrize("own", [False, True], ids=["for all samples", "by each sample"])
def test_logging_beside_bare_inserts(lab: Laboratory, own: bool) -> None:
    for code in METHODS[1:]:
        a_method(lab.people["quality manager"], code)
    common = list(Method.objects.filter(code__in=METHODS))
    rows = [_row(number, METHODS if own else ()) for number in range(1, COUNT + 1)]
    browser = Client()
    browser.force_login(lab.people["reception"])
    act, floor, check, look, page = [], [], [], [], []
    for _ in range(ROUNDS):
        page.append(_timed(lambda: posted(browser, lab, rows, common)))
        check.append(_timed(lambda: problems_of(rows, NOW)))
        look.append(_timed(lambda: review(rows, methods=common, at=NOW)))
        with CaptureQueriesContext(connection) as queries:
            receive(lab, rows[:1], common)
        act.append(_timed(lambda: receive(lab, rows, common)))
        floor.append(_undone(_bare_inserts_of(Submission.objects.latest("pk"))))
    best = {"page": min(page), "act": min(act), "check": min(check), "review": min(look), "floor": min(floor)}
    said = ", ".join(f"{name} {seconds * 1000:.0f} ms" for name, seconds in best.items())
    print(f"\n{connection.vendor}, {COUNT} samples, methods {'by each' if own else 'for all'}: {said};")
    print(f"  the act takes {best['act'] / best['floor']:.2f} times bare inserts, in {len(queries)} queries;")
    print(f"  the whole POST of the page takes {best['page'] / best['floor']:.2f} times")


def receive(lab: Laboratory, rows: Sequence[DeliveredSample], methods: list[Method]) -> Submission:
    return receive_samples(by=lab.people["reception"], at=NOW, client=lab.client, rows=rows, methods=methods)


def posted(browser: Client, lab: Laboratory, rows: Sequence[DeliveredSample], methods: list[Method]) -> None:
    """The delivery sent as the page's script sends it: the grid in one field."""
    columns = ["client_identification", "matrix", "delivered_g", "note", "sampled", "own_methods"]
    cells = [[r.client_identification, r.matrix, r.delivered_g, r.note, r.sampled, ", ".join(r.methods)] for r in rows]
    given = {
        "client": lab.client.pk,
        "methods": [method.pk for method in methods],
        "basis": "as received",
        "rows": dumps({"columns": columns, "rows": cells}),
        "log": "",
    }
    assert browser.post(reverse("reception"), given).status_code == 302


def _row(number: int, methods: tuple[str, ...]) -> DeliveredSample:
    name = f"NRD015 {number:04d}"
    return DeliveredSample(number, name, "soil", "30", note="bag torn", sampled="2026-11-12 08:30", methods=methods)


def _clock() -> float:
    """SQLite works in this process: processor time, which a busy machine does not change. PostgreSQL: time."""
    return process_time() if connection.vendor == "sqlite" else perf_counter()


def _timed(call: Callable[[], object]) -> float:
    begun = _clock()
    call()
    return _clock() - begun


def _undone(insert: Callable[[], None]) -> float:
    try:
        with transaction.atomic():
            begun = _clock()
            insert()
            took = _clock() - begun
            raise _Undo
    except _Undo:
        return took


def _bare_inserts_of(submission: Submission) -> Callable[[], None]:
    """A bare insert of the rows that the act made for a submission, once more under keys far above."""
    samples = submission.samples.values("pk")
    request = submission.requests.get()
    tables = [
        _again(Submission.objects.filter(pk=submission.pk)),
        _again(submission.samples.all()),
        _again(Subsample.objects.filter(sample__in=samples)),
        _again(CustodyEntry.objects.filter(sample__in=samples)),
        _again(Request.objects.filter(pk=request.pk)),
        _again(RequestedMethod.objects.filter(request=request)),
        _again(AuditEvent.objects.order_by("-seq")[:1]),
    ]

    def insert() -> None:
        for model, columns, rows in tables:
            bare_insert(model, columns, rows, AT_ONCE)

    return insert


def _again(found: QuerySet[Any]) -> Table:
    """The stored rows of a table as tuples, with other keys and other words where they must be unique."""
    columns = [field.column for field in found.model._meta.concrete_fields]
    keys = {"submission_id", "sample_id", "request_id", found.model._meta.pk.column}
    prepared = []
    for row in found.values_list(*(field.attname for field in found.model._meta.concrete_fields)):
        values = dict(zip(columns, row, strict=True))
        for name in keys & set(columns):
            values[name] = values[name] + ABOVE if values[name] else None
        for name in {"number", "previous", "sha256"} & set(columns):
            values[name] = f"X{str(values[name])[1:]}"
        prepared.append(tuple(map(_plain, values.values())))
    return found.model, columns, prepared


def _plain(value: Any) -> Any:
    if isinstance(value, list):
        return dumps(value)
    if isinstance(value, date) and connection.vendor == "sqlite":
        return str(value.replace(tzinfo=None) if isinstance(value, datetime) else value)
    return value
