"""Time of the door for rows in bulk, as a ratio to bare inserts of the same rows on the same database.

    .venv/bin/python -m pytest tests/benchmarks/bulk_door.py -s

The floor is `executemany` (SQLite) or COPY (PostgreSQL) of prebuilt tuples into the same table, with the same keys,
indexes and guards, in one transaction. Both run five times in turn; the best of each counts. Not part of the suite.
"""

from json import dumps
from time import perf_counter

from django.db import connection, transaction

from labresults import bulk
from labresults.actions.readings import READING_COLUMNS
from labresults.models import Position, Reading
from tests.builders import Laboratory, a_run, a_submission, a_weighed_batch, an_imported_file

COPIES = 2_000


class _Undo(Exception):
    """Takes the rows of a round away again."""


def test_the_door_beside_bare_inserts(lab: Laboratory) -> None:
    run = a_run(lab, a_weighed_batch(lab, a_submission(lab, 20)))
    file = an_imported_file(lab, run)
    line = file.readings.first().line_id
    # More positions than a run has, so that the time is the rows' and not the statement's.

    Position.objects.bulk_create(
        Position(run=run, number=10_000 + n, role="rinse", label=f"RINSE {10_000 + n}") for n in range(COPIES)
    )
    places = Position.objects.filter(run=run, number__gte=10_000).values_list("pk", flat=True)
    rows = [(run.pk, place, line, file.pk, 1, ["1801.2", "1803.4"], 1802.3, 1.5, 2, False, False) for place in places]
    prepared = [(*row[:5], dumps(row[5]), *row[6:]) for row in rows]
    door, floor = [], []
    for _ in range(5):
        floor.append(_timed(lambda: _bare(prepared)))
        door.append(_timed(lambda: bulk.insert(Reading, READING_COLUMNS, rows)))
    print(f"\n{connection.vendor}: {COPIES} readings, the door takes {min(door) / min(floor):.2f} times bare inserts")


def _timed(act: object) -> float:
    try:
        with transaction.atomic():
            begun = perf_counter()
            act()  # type: ignore[operator]
            took = perf_counter() - begun
            raise _Undo
    except _Undo:
        return took


def _bare(rows: list[tuple[object, ...]]) -> None:
    table = connection.ops.quote_name(Reading._meta.db_table)
    names = ", ".join(connection.ops.quote_name(str(Reading._meta.get_field(name).column)) for name in READING_COLUMNS)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with cursor.cursor.copy(f"copy {table} ({names}) from stdin") as copy:
                for row in rows:
                    copy.write_row(row)
        else:
            marks = ", ".join("?" * len(READING_COLUMNS))
            connection.connection.executemany(f"insert into {table} ({names}) values ({marks})", rows)
