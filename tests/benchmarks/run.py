"""An unattended night: file of readings to stored evaluation, as a ratio to parsing and inserting the same.

    .venv/bin/python -m pytest tests/benchmarks/run.py -s
    RUN_POSITIONS=1000,10000 RUN_ROUNDS=5 RUN_MEMORY=0 .venv/bin/python -m pytest tests/benchmarks/run.py -s

About 1,000 positions at 40 lines in 3 replicates, 120,000 readings, as a long and as a wide file. The floor is pandas'
parse of the same bytes, and bare inserts of prebuilt tuples of the very rows that the two acts stored, into the same
tables with keys, indexes and guards, in one transaction: COPY on PostgreSQL, statements of 1,000 rows on SQLite, where
`executemany` takes more than twice as long. Both run in turn; the best of each counts. Processor time on SQLite, which
works in this process; the clock on PostgreSQL. Not part of the suite.
"""

import gc
import os
import tracemalloc
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from io import BytesIO
from json import dumps
from time import perf_counter, process_time
from typing import Any

import numpy as np
import pandas as pd
import pytest
from django.db import connection, transaction
from django.db.models import Model, QuerySet

from labresults import bulk
from labresults.actions import evaluation as evaluating
from labresults.actions import readings as importing
from labresults.actions.evaluation import evaluate_run
from labresults.actions.methods import save_layout
from labresults.actions.readings import import_readings
from labresults.calculation import evaluation as pure
from labresults.models import (
    AuditEvent,
    Calibration,
    ControlOutcome,
    Evaluation,
    Layout,
    Reading,
    ReadingFile,
    Result,
    Run,
    Selection,
)
from labresults.queries import run_imports as understanding
from labresults.readers.layout import Layout as LayoutSpecification
from labresults.readers.layout import Shape
from tests.benchmarks.floor import bare_insert
from tests.benchmarks.night import LEVELS, LINES, a_night
from tests.builders import Laboratory

SIZES = [int(text) for text in os.environ.get("RUN_POSITIONS", "1000").split(",")]
ROUNDS = int(os.environ.get("RUN_ROUNDS", "3"))
MEMORY = os.environ.get("RUN_MEMORY", "1") == "1"
REPLICATES, AT_ONCE = 3, 1_000

ABOVE = 100_000_000
"""Added to keys, so that the floor's rows are new ones."""

LONG = LayoutSpecification(
    name="night, long", version=1, shape=Shape.LONG, unit="counts/s", position="position", label="label", line="line",
    replicates=("reading {n}",),
)  # fmt: skip
WIDE = LayoutSpecification(
    name="night, wide", version=1, shape=Shape.WIDE, unit="counts/s", position="position", label="label",
    repeated_rows=True,
)  # fmt: skip

Table = tuple[type[Model], list[str], list[tuple[Any, ...]]]


class _Undo(Exception):
    """Takes the rows of a round away again."""


@dataclass
class Round:
    """One round: seconds of the whole, by part; of the floor's two halves."""

    imported: float = 0.0
    evaluated: float = 0.0
    parse: float = 0.0
    insert: float = 0.0
    parts: dict[str, float] = field(default_factory=dict)
    rows: int = 0

    @property
    def ours(self) -> float:
        return self.imported + self.evaluated

    @property
    def floor(self) -> float:
        return self.parse + self.insert


@pytest.mark.parametrize("shape", ["long", "wide"])
@pytest.mark.parametrize("size", SIZES)
def test_a_night_beside_its_floor(lab: Laboratory, size: int, shape: str) -> None:
    version = a_night(lab, size)
    layout = save_layout(
        by=lab.people["quality manager"], at=lab.later(), specification=LONG if shape == "long" else WIDE
    )
    run = version.runs.get()
    content = long_file(run) if shape == "long" else wide_file(run)
    rounds = [one_round(lab, run, content, layout) for _ in range(ROUNDS)]
    peak = peak_memory(lab, run, content, layout) if MEMORY else None
    say(f"{connection.vendor}, {shape}", run, content, rounds, peak)


def say(title: str, run: Run, content: bytes, rounds: Sequence[Round], peak: tuple[float, float] | None) -> None:
    best = min(rounds, key=lambda each: each.ours)
    floor = min(each.parse for each in rounds) + min(each.insert for each in rounds)
    positions = run.positions.count()
    print(f"\n{title}: {positions} positions x {len(LINES)} lines x {REPLICATES}, {len(content) / 1e6:.1f} MB")
    print(
        f"  {best.ours / floor:.2f} times the floor: import {best.imported:.2f} s, evaluate {best.evaluated:.2f} s;"
        f" floor: parse {min(each.parse for each in rounds):.2f} s, {best.rows} rows {floor - best.parse:.2f} s"
    )
    print(f"  {1e6 * best.ours / positions / len(LINES):.1f} µs a position and line")
    print("  parts: " + ", ".join(f"{name} {seconds * 1000:.0f} ms" for name, seconds in best.parts.items()))
    if peak is not None:
        print(f"  peak memory: import {peak[0]:.0f} MB, evaluate {peak[1]:.0f} MB")


def one_round(lab: Laboratory, run: Run, content: bytes, layout: Layout) -> Round:
    """Import and evaluate once, measured; then the floor of the same rows; then all is undone."""
    done = Round()
    with undone(), timed_parts(done.parts):
        gc.collect()
        begun = _clock()
        take(lab, run, content, layout)
        done.imported = _clock() - begun
        begun = _clock()
        evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
        done.evaluated = _clock() - begun
        tables = stored_rows(run)
        done.rows = sum(len(rows) for _, _, rows in tables)
        gc.collect()
        begun = _clock()
        pd.read_csv(BytesIO(content))
        done.parse = _clock() - begun
        begun = _clock()
        for table in tables:
            bare_insert(*table, AT_ONCE)
        done.insert = _clock() - begun
    return done


def take(lab: Laboratory, run: Run, content: bytes, layout: Layout) -> ReadingFile:
    return import_readings(
        by=lab.people["analyst"], at=lab.later(), run=run, content=content, filename="night.csv", layout=layout
    )


def peak_memory(lab: Laboratory, run: Run, content: bytes, layout: Layout) -> tuple[float, float]:
    """Peak of what Python and numpy held above the start, MB: of the import and of the evaluation."""
    peaks = []
    with undone():
        for do in (
            lambda: take(lab, run, content, layout),
            lambda: evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run),
        ):
            gc.collect()
            tracemalloc.start()
            do()
            peaks.append(tracemalloc.get_traced_memory()[1] / 1e6)
            tracemalloc.stop()
    return peaks[0], peaks[1]


@contextmanager
def undone() -> Iterator[None]:
    """Everything inside is taken back. Acts want the outermost transaction: a test's own counts as none."""
    try:
        with transaction.atomic():
            connection.atomic_blocks[-1]._from_testcase = True
            yield
            raise _Undo
    except _Undo:
        pass


@contextmanager
def timed_parts(parts: dict[str, float]) -> Iterator[None]:
    """The time of each part, by wrapping the functions that do it."""
    places: list[tuple[Any, str, Callable[..., str]]] = [
        (importing, "understood", lambda *_: "(understand, whole)"),
        (understanding, "read", lambda *_: "parse"),
        (understanding, "check_against_run", lambda *_: "check"),
        (importing, "_reading_rows", lambda *_: "rows of readings"),
        (importing, "digest_rows", lambda *_: "digest of readings"),
        (bulk, "insert", lambda model, *_: f"insert {model.__name__}"),
        (bulk, "insert_columns", lambda model, *_: f"insert {model.__name__}"),
        (evaluating, "load", lambda *_: "load"),
        (pure, "find_solutions", lambda *_: "solutions"),
        (pure, "judge_control_samples", lambda *_: "judge"),
        (pure, "add_touched", lambda *_: "touched"),
        (pure, "report_results", lambda *_: "results"),
        (pure, "propose_repeats", lambda *_: "repeats"),
        (evaluating, "evaluate", lambda *_: "(evaluate, whole)"),
        (evaluating, "inputs_digest", lambda *_: "digest of inputs"),
        (evaluating, "outputs_digest", lambda *_: "digest of outputs"),
        (evaluating, "store", lambda *_: "(store curves, outcomes and results, whole)"),
        (evaluating, "newest_keys", lambda *_: "newest keys"),
        (evaluating, "_select", lambda *_: "(select, whole)"),
    ]
    with pytest.MonkeyPatch.context() as patch:
        for module, name, title in places:
            if hasattr(module, name):
                patch.setattr(module, name, _timed(getattr(module, name), title, parts))
        yield


def _timed(call: Callable[..., Any], title: Callable[..., str], parts: dict[str, float]) -> Callable[..., Any]:
    def timed(*args: Any, **named: Any) -> Any:
        begun = _clock()
        try:
            return call(*args, **named)
        finally:
            name = title(*args)
            parts[name] = parts.get(name, 0.0) + _clock() - begun

    return timed


def _clock() -> float:
    return process_time() if connection.vendor == "sqlite" else perf_counter()


def long_file(run: Run) -> bytes:
    """A row for a position and a line, with its three replicates."""
    heading = ",".join(["position", "label", "line", *(f"reading {n}" for n in range(1, REPLICATES + 1))])
    signals, rows = signals_of(run), [heading]
    for row, (number, label) in enumerate(_places(run)):
        for column, line in enumerate(LINES):
            texts = ",".join(f"{value:.2f}" for value in signals[row, column])
            rows.append(f"{number},{label},{line},{texts}")
    return "\n".join(rows).encode()


def wide_file(run: Run) -> bytes:
    """A row for a position and a replicate, with a column for each line."""
    rows = [",".join(["position", "label", *LINES])]
    signals = signals_of(run)
    for row, (number, label) in enumerate(_places(run)):
        for replicate in range(REPLICATES):
            texts = ",".join(f"{value:.2f}" for value in signals[row, :, replicate])
            rows.append(f"{number},{label},{texts}")
    return "\n".join(rows).encode()


def _places(run: Run) -> list[tuple[int, str]]:
    return list(run.positions.order_by("number").values_list("number", "label"))


def signals_of(run: Run) -> np.ndarray:
    """[position x line x replicate], counts/s: standards and checks as they should be, samples over four decades."""
    chance = np.random.default_rng(26)
    levels = {f"N-{code}": level for code, level in {**LEVELS, "CHECK": 5.0}.items()}
    places = list(run.positions.order_by("number").values_list("role", "lot__material__code"))
    held = 10.0 ** chance.uniform(-3.0, 1.05, (len(places), len(LINES)))
    for row, (role, code) in enumerate(places):
        if code in levels or role == "method blank":
            held[row] = levels.get(code or "", 0.0)
        elif role == "certified reference material":
            held[row] = 1.2
        elif role == "laboratory duplicate":
            held[row] = held[row - 1]
    signal = 10.0 + 1800.0 * held
    return signal[:, :, None] * chance.normal(1.0, 0.004, (*signal.shape, REPLICATES))


def stored_rows(run: Run) -> list[Table]:
    """The rows that import and evaluation stored, as tuples of values under other keys."""
    evaluation = Evaluation.objects.filter(run=run)
    return [
        _again(ReadingFile.objects.filter(run=run)),
        _again(Reading.objects.filter(run=run)),
        _again(evaluation),
        _again(Calibration.objects.filter(evaluation__in=evaluation)),
        _again(ControlOutcome.objects.filter(evaluation__in=evaluation)),
        _again(Result.objects.filter(evaluation__in=evaluation)),
        _again(Selection.objects.filter(result__evaluation__in=evaluation)),
        _again(AuditEvent.objects.order_by("-seq")[:2]),
    ]


_MOVED = {
    Reading: {"id", "file_id", "run_id"},
    ReadingFile: {"id"},
    Evaluation: {"id", "run_id"},
    Calibration: {"id", "evaluation_id"},
    ControlOutcome: {"id", "evaluation_id"},
    Result: {"id", "evaluation_id"},
    Selection: {"id", "result_id"},
    AuditEvent: {"seq"},
}
"""Keys that the floor's rows have anew; what points at rows that are not there is checked at commit, which never is."""


def _again(found: QuerySet[Any]) -> Table:
    model = found.model
    fields = model._meta.concrete_fields
    moved = [place for place, each in enumerate(fields) if each.attname in _MOVED[model]]
    named = [place for place, each in enumerate(fields) if each.attname in {"previous", "sha256"}]
    prepared = []
    for row in found.values_list(*(each.attname for each in fields)):
        values = list(map(_plain, row))
        for place in moved:
            values[place] += ABOVE
        for place in named:
            values[place] = f"X{values[place][1:]}"
        prepared.append(tuple(values))
    return model, [str(each.column) for each in fields], prepared


def _plain(value: Any) -> Any:
    if isinstance(value, list | dict):
        return dumps(value, ensure_ascii=False)
    if isinstance(value, datetime) and connection.vendor == "sqlite":
        return str(value.replace(tzinfo=None))
    return value
