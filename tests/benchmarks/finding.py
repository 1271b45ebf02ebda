"""Time of the box that finds things at a million samples, as a ratio to a fetch by primary key on the same database.

    .venv/bin/python -m pytest tests/benchmarks/finding.py -s

The throw-away test database is filled with a million samples of 10,000 submissions and taken back afterwards. Each ask
is made five times, the best counts: `exactly` and then `like`, with all that the page shows. Then the cost of the index
to receiving 2,000 samples: their insert through the door for bulk with it and without. Not part of the suite.
"""

from collections.abc import Callable
from time import perf_counter

from django.db import connection, transaction

from labresults import bulk, finding
from labresults.models import Matrix, Sample, Submission
from labresults.queries.find import exactly, like
from tests.builders import NOW, Laboratory

SAMPLES = 1_000_000
EACH = 100
WORDS = ("core", "drill", "bin", "leaf", "pond", "trench", "face", "tank")

ASKS = (
    ("exact number", "KF24-40000"),
    ("exact submission", "S24-4000"),
    ("a number begins, all of them", "KF"),
    ("a number begins, an old year", "KF20-1"),
    ("a name begins, rare", "OLD-CLAIM 77"),
    ("middle part, rare", "RIDGE-4777"),
    ("middle part, common", "014"),
    ("middle part, common long ago only", "CLAIM"),
    ("a word begins, common", "core"),
    ("whole names, many alike", "112"),
    ("two letters", "co"),
    ("one letter", "K"),
    ("no hit, rare letters", "zzqx"),
    ("no hit, common letters", "NRD014 999.9 m"),
    ("accents and capitals", "GRÜNES ÉTANG"),
    ("signs", "100 %_"),
)


class _Undo(Exception):
    """Takes the rows of a round away again."""


def test_the_box_beside_a_fetch_by_key(lab: Laboratory) -> None:
    key = _fill(lab)
    floor = _best(lambda: Sample.objects.get(pk=key))
    print(f"\n{connection.vendor}: a sample by its key in {floor * 1e3:.2f} ms, {Sample.objects.count():,} samples")
    print(f"{'ask':36} {'asked':16} {'found':>5} {'ms':>8} {'ratio':>7}")
    for words, asked in ASKS:
        took = _best(lambda asked=asked: exactly(asked) or like(asked))
        count = 1 if exactly(asked) else len(like(asked))
        print(f"{words:36} {asked:16} {count:5} {took * 1e3:8.2f} {took / floor:7.1f}")
    _what_the_index_costs(lab)


def _fill(lab: Laboratory) -> int:
    """A million samples without the index, then the index; returns a key in the middle."""
    finding.remove(connection)
    people = lab.people["reception"].pk
    begun = perf_counter()
    bulk.insert(
        Submission,
        ["number", "client", "reference", "received_at", "received_by", "condition", "sampling", "seals"],
        [
            (f"S{20 + n * EACH // 150_000}-{n:04d}", lab.client.pk, f"order {n}", NOW, people, "", "", "")
            for n in range(SAMPLES // EACH)
        ],
    )
    submissions = list(Submission.objects.order_by("pk").values_list("pk", flat=True))
    matrix = Matrix.objects.earliest("pk").pk
    for first in range(0, SAMPLES, 50_000):
        bulk.insert(
            Sample, _COLUMNS, [_sample(n, submissions[n // EACH], matrix) for n in range(first, first + 50_000)]
        )
    filled = perf_counter()
    connection.check_constraints()  # PostgreSQL makes no index while something is left to check
    finding.install(connection)
    with connection.cursor() as cursor:
        cursor.execute("analyze")
    print(f"\nfilled in {filled - begun:.0f} s, index made in {perf_counter() - filled:.0f} s")
    return int(Sample.objects.order_by("pk").values_list("pk", flat=True)[SAMPLES // 2])


_COLUMNS = ["number", "submission", "ordinal", "client_identification", "matrix", "note", "hazards", "preservation"]


def _sample(n: int, submission: int, matrix: int) -> tuple[object, ...]:
    number = f"KF{20 + n // 150_000}-{n % 150_000:05d}"
    return (number, submission, n % EACH + 1, _identification(n), matrix, "", [], "")


def _identification(n: int) -> str:
    """Invented names of several clients, each once in a submission."""
    if n < 150_000:
        return f"OLD-CLAIM {n // 5}/{n % EACH}"
    if n == 500_000:
        return "Grünes Étang, 100 %_ loam"
    kinds = (
        f"NRD{n // EACH % 40:03d} {n % 390}.0 m",
        f"{WORDS[n // 4 % 8]} {n // 64 % 5000}/{n % EACH}",
        f"{n % EACH + 50}",
        f"TH-{WORDS[n // 4 % 8]}-RIDGE-{n:06d}",
    )
    return kinds[n % 4]


def _what_the_index_costs(lab: Laboratory) -> None:
    submission, matrix = Submission.objects.latest("pk").pk, Matrix.objects.earliest("pk").pk
    rows = [(f"XX26-{n:05d}", submission, 1_000 + n, f"NRD077 {n}.5 m", matrix, "", [], "") for n in range(2_000)]
    with_index = min(_undone(lambda: bulk.insert(Sample, _COLUMNS, rows)) for _ in range(5))
    finding.remove(connection)
    without = min(_undone(lambda: bulk.insert(Sample, _COLUMNS, rows)) for _ in range(5))
    print(f"2,000 samples: {without * 1e3:.0f} ms without the index, {with_index * 1e3:.0f} ms with it")


def _undone(act: Callable[[], object]) -> float:
    try:
        with transaction.atomic():
            begun = perf_counter()
            act()
            took = perf_counter() - begun
            raise _Undo
    except _Undo:
        return took


def _best(act: Callable[[], object], times: int = 5) -> float:
    best = float("inf")
    for _ in range(times):
        begun = perf_counter()
        act()
        best = min(best, perf_counter() - begun)
    return best
