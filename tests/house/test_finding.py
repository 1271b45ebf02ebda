"""The index behind the box at the top: the same asks find the same on both databases, and nothing slips past it."""

import unicodedata
from typing import Any

import pytest
from django.apps import apps
from django.db import connection
from django.db.models.signals import post_migrate, pre_migrate

from labresults import bulk, finding
from labresults.checks import guards_stand, things_are_found
from labresults.finding import SOURCES, fold
from labresults.models import Client, Equipment, Matrix, Sample
from labresults.queries import hits
from labresults.queries.find import like
from tests.builders import Laboratory, a_submission
from tests.house.history import a_lived_in_laboratory

SAMPLES = SOURCES[0]

NAMES = (
    "NRD014 112.0 m",
    "NRD014/112",
    "100 % / final",
    "100 mm",
    "a_b",
    "axb",
    "c\\d",
    "Étang 3",
    "E\u0301tang 4",  # written with a mark of its own
    "ПРОБА 7",
    "ΆΝΔΡΟΣ 2",
    "Ørsted 5",
    "5\" core, Smith's",
    "bin OR core",
    "core* NEAR(bin)",
    "alcove",
    "試料 8",
)

CASES = [
    # asked, what is found of the names above
    ("112", {"NRD014 112.0 m", "NRD014/112"}),
    ("014 1", {"NRD014 112.0 m"}),
    ("014/1", {"NRD014/112"}),
    ("12.0 M", {"NRD014 112.0 m"}),
    ("100 %", {"100 % / final"}),
    ("0 % /", {"100 % / final"}),
    ("a_b", {"a_b"}),
    ("a%b", set()),
    ("c\\d", {"c\\d"}),
    ("étang", {"Étang 3", "E\u0301tang 4"}),
    ("ETANG", {"Étang 3", "E\u0301tang 4"}),
    ("e\u0301tang", {"Étang 3", "E\u0301tang 4"}),
    ("проба", {"ПРОБА 7"}),
    ("άνδρος", {"ΆΝΔΡΟΣ 2"}),
    ("ανδροσ", {"ΆΝΔΡΟΣ 2"}),
    ("ØRSTED", {"Ørsted 5"}),
    ("orsted", set()),  # ø is a letter of its own, not an o with a mark
    ('5" c', {"5\" core, Smith's"}),
    ("h's", {"5\" core, Smith's"}),
    ("bin OR core", {"bin OR core"}),
    ("core*", {"core* NEAR(bin)"}),
    ("near(", {"core* NEAR(bin)"}),
    ("cor", {"5\" core, Smith's", "bin OR core", "core* NEAR(bin)"}),
    ("co", {"5\" core, Smith's", "bin OR core", "core* NEAR(bin)"}),  # two letters: only where a word begins
    ("lco", {"alcove"}),
    ("試料 8", {"試料 8"}),
    ("試料", {"試料 8"}),
    ("\x00112\n", {"NRD014 112.0 m", "NRD014/112"}),
    ("   ", set()),
]


@pytest.fixture(params=["as it is", "rows by the index only"])
def _both_ways(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """PostgreSQL reads the newest rows first: here also as if all rows were old."""
    if request.param != "as it is":
        monkeypatch.setattr(hits, "_NEWEST", 0)


def names(asked: str) -> set[str]:
    return {name for thing in like(asked) if thing.kind == "sample" for name in thing.names}


@pytest.mark.usefixtures("_both_ways")
def test_the_same_is_found_on_both_databases(lab: Laboratory) -> None:
    a_submission(lab, names=NAMES)
    assert {asked: names(asked) for asked, _ in CASES} == dict(CASES)


def test_the_database_folds_letters_as_we_do(lab: Laboratory) -> None:
    """Every letter of the alphabets that we fold, and some that we leave alone, forty at a time."""
    codes = [*range(0x21, 0x7F), *range(0xA1, 0x250), *range(0x300, 0x530), *range(0x1E00, 0x2000), 0x65E5, 0xD55C]
    letters = [chr(code) for code in codes if unicodedata.category(chr(code)) not in {"Cn", "Cc", "Cf"}]
    texts = [f"n{first} " + " ".join(letters[first : first + 40]) for first in range(0, len(letters), 40)]
    samples = a_submission(lab, names=texts).samples.order_by("ordinal")
    with connection.cursor() as cursor:
        text = finding.text_of(SAMPLES, connection.vendor)
        cursor.execute(f'select {text} from "{SAMPLES.table}" order by "ordinal"')
        folded = [row[0] for row in cursor.fetchall()]
    assert folded == [f"\n {fold(row.number)}\n {fold(row.client_identification)}\n" for row in samples]


def test_every_way_to_write_a_row_is_seen(lab: Laboratory) -> None:
    submission = a_submission(lab, 1, names=["first"])
    sample = submission.samples.get()
    matrix = Matrix.objects.get(name="soil").pk
    columns = ["number", "submission", "ordinal", "client_identification", "matrix", "note", "hazards", "preservation"]
    rows = [(f"KF26-9{n:04d}", submission.pk, 10 + n, f"many {n}", matrix, "", [], "") for n in range(600)]
    bulk.insert(Sample, columns, rows)
    assert names("many 599") == {"many 599"}
    Sample.objects.filter(pk=sample.pk).update(client_identification="second")
    assert (names("first"), names("second")) == (set(), {"second"})
    with connection.cursor() as cursor:
        cursor.execute(f'update "{SAMPLES.table}" set "client_identification" = \'other \' || "ordinal"')
    assert (names("many"), names("ther 609")) == (set(), {"other 609"})
    sample.refresh_from_db()
    sample.number = "KF26-80000"
    sample.save()
    assert names("26-80") == {"other 1"}
    Sample.objects.filter(number__startswith="KF26-9").delete()
    assert names("26-9") == set()
    Equipment.objects.filter(code="B2").update(name="Balance by the window")
    assert [thing.number for thing in like("the wind")] == ["B2"]
    Client.objects.filter(pk=lab.client.pk).update(code="crest")
    assert [thing.number for thing in like("crest") + like("ridge")] == ["crest", "crest"]  # its name has the ridge


def test_a_row_of_every_table_is_found(lab: Laboratory) -> None:
    """No searched column of a lived-in laboratory is left out."""
    a_lived_in_laboratory(lab)
    left_out = []
    for source in SOURCES:
        only = dict([source.only]) if source.only else {}
        rows = source.model._default_manager.filter(**only).order_by("-pk")
        for column in filter(None, [source.number, *(names[0] for names in source.names)]):
            text = next((text for text in rows.values_list(column, flat=True) if text), None)
            if text and source.kind not in {kind for kind, _ in [*hits.numbered(text), *hits.holding(text)]}:
                left_out.append((source.kind, column, text))
    assert left_out == []


def test_installing_again_changes_nothing_and_is_quick(db: None, django_assert_max_num_queries: object) -> None:
    assert finding.missing(connection) == []
    with django_assert_max_num_queries(1):  # type: ignore[operator]
        finding.install(connection)


def test_what_was_taken_away_is_made_and_filled_anew(lab: Laboratory) -> None:
    a_submission(lab, names=["before"])
    finding.remove(connection)
    assert [warning.id for warning in things_are_found(databases=["default"])] == ["labresults.W002"]
    assert guards_stand(databases=["default"]) == []
    a_submission(lab, names=["meanwhile"])
    connection.check_constraints()  # PostgreSQL makes no index while something is left to check
    finding.install(connection)
    assert things_are_found(databases=["default"]) == []
    assert (names("before"), names("meanwhile")) == ({"before"}, {"meanwhile"})


def test_an_older_definition_is_replaced(lab: Laboratory, monkeypatch: pytest.MonkeyPatch) -> None:
    a_submission(lab, names=["a+bc"])
    connection.check_constraints()
    with monkeypatch.context() as older:
        older.setattr(finding, "SEPARATORS", " -")
        older.setattr(finding, "_definitions", finding._definitions.__wrapped__)  # not as it is kept
        finding.install(connection)
        assert finding.missing(connection) == []
    assert finding.missing(connection) != []
    finding.install(connection)
    assert finding.missing(connection) == []
    assert names("+bc") == {"a+bc"}


def test_a_migration_finds_no_trigger_in_its_way(lab: Laboratory) -> None:
    ours = apps.get_app_config("labresults")
    a_submission(lab, names=["before"])
    pre_migrate.send(sender=ours, app_config=ours, using="default", plan=[])
    assert finding.missing(connection) == []  # nothing to migrate: nothing to take away
    pre_migrate.send(sender=ours, app_config=ours, using="default", plan=["a migration"])
    assert bool(finding.missing(connection)) == (connection.vendor == "sqlite")
    connection.check_constraints()  # as after a migration: nothing is left to check
    last = apps.get_app_config("reports")
    post_migrate.send(sender=last, app_config=last, using="default")
    assert finding.missing(connection) == []
    assert names("before") == {"before"}


def test_every_ask_goes_by_an_index(lab: Laboratory) -> None:
    """The database's own plan for the samples reads an index and never the whole table."""
    a_submission(lab, 3)
    on_postgresql = connection.vendor == "postgresql"
    beginning = hits._beginning_on_postgresql if on_postgresql else hits._beginning
    holding = hits._by_trigrams if on_postgresql else hits._full_text
    asks = [ask for make in (hits._numbered, beginning) for ask in make("KF26-0") if SAMPLES.table in ask[0]]
    for statement, values in [*asks, *(holding(SAMPLES, way) for way in hits._ways("nrd014 112"))]:
        plan = _plan(statement, values)
        assert "INDEX" in plan, plan
        assert f"SCAN {SAMPLES.table}".upper() not in plan, plan
        assert f"SEQ SCAN ON {SAMPLES.table}".upper() not in plan, plan


def _plan(statement: str, values: Any) -> str:
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("set local enable_seqscan = off")  # three rows would be read faster without an index
            cursor.execute(f"explain {statement}", values)
        else:
            cursor.execute(f"explain query plan {statement}", values)
        return "\n".join(str(row[-1]) for row in cursor.fetchall()).upper()
