"""Technical records cannot be altered: the database itself refuses, whoever asks and by whatever statement."""

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.apps import apps
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction
from django.db.migrations.recorder import MigrationRecorder
from django.db.models import Model, ProtectedError, Q

from labresults import guards
from labresults.checks import guards_stand
from tests.builders import Laboratory
from tests.house.history import a_lived_in_laboratory, more_is_set_up

Attack = Callable[[type[Model], Any], None]


def _table(model: type[Model]) -> str:
    return model._meta.db_table


def _key(model: type[Model]) -> str:
    return str(model._meta.pk.column)


def _columns(model: type[Model]) -> list[str]:
    return [str(field.column) for field in model._meta.local_concrete_fields]


def _run(statement: str, *values: object) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)


def raw_update(model: type[Model], row: Any) -> None:
    """Every column but the key, in turn to itself: a change of nothing is a change."""
    others = ", ".join(f'"{column}" = "{column}"' for column in _columns(model) if column != _key(model))
    _run(f'update "{_table(model)}" set {others} where "{_key(model)}" = %s', row.pk)


def raw_update_of_all(model: type[Model], row: Any) -> None:
    _run(f'update "{_table(model)}" set "{_key(model)}" = "{_key(model)}"')


def raw_delete(model: type[Model], row: Any) -> None:
    _run(f'delete from "{_table(model)}" where "{_key(model)}" = %s', row.pk)


def raw_delete_of_all(model: type[Model], row: Any) -> None:
    _run(f'delete from "{_table(model)}"')


def queryset_update(model: type[Model], row: Any) -> None:
    field = next(field for field in model._meta.local_concrete_fields if not field.primary_key)
    model._default_manager.filter(pk=row.pk).update(**{field.attname: getattr(row, field.attname)})


def queryset_delete(model: type[Model], row: Any) -> None:
    model._default_manager.filter(pk=row.pk).delete()


def instance_save(model: type[Model], row: Any) -> None:
    row.save()


def instance_delete(model: type[Model], row: Any) -> None:
    row.delete()


def upsert_on_the_key(model: type[Model], row: Any) -> None:
    table, key, columns = _table(model), _key(model), ", ".join(f'"{c}"' for c in _columns(model))
    _run(
        f'insert into "{table}" ({columns}) select {columns} from "{table}" where "{key}" = %s'
        f' on conflict ("{key}") do update set "{key}" = excluded."{key}"',
        row.pk,
    )


def replace_on_the_key(model: type[Model], row: Any) -> None:
    _insert_copy(model, row, {}, "insert or replace")


def update_or_replace(model: type[Model], row: Any) -> None:
    _run(
        f'update or replace "{_table(model)}" set "{_key(model)}" = "{_key(model)}" where "{_key(model)}" = %s', row.pk
    )


def replace_on_the_row_number(model: type[Model], row: Any) -> None:
    """SQLite numbers rows itself where the key is not an integer to it, and replaces by that number too."""
    _insert_copy(model, row, {"rowid": "rowid"} | _fresh(model, ()), "insert or replace")


def truncate(model: type[Model], row: Any) -> None:
    _run("set constraints all immediate")  # else what the test itself left to check later stands in the way
    _run(f'truncate "{_table(model)}" cascade')


def merge(model: type[Model], row: Any) -> None:
    table, key = _table(model), _key(model)
    same = f'select "{key}" as k from "{table}" where "{key}" = %s'
    _run(f'merge into "{table}" as t using ({same}) as s on t."{key}" = s.k when matched then delete', row.pk)


def update_through_a_query(model: type[Model], row: Any) -> None:
    _run(
        f'with one as (delete from "{_table(model)}" where "{_key(model)}" = %s returning *) select * from one', row.pk
    )


def update_as_a_replica(model: type[Model], row: Any) -> None:
    """In a session that calls itself a replica ordinary triggers rest."""
    _run("set local session_replication_role = replica")
    raw_update(model, row)


EVERYWHERE: list[Attack] = [
    raw_update, raw_update_of_all, raw_delete, raw_delete_of_all, queryset_update, queryset_delete, instance_save,
    instance_delete, upsert_on_the_key,
]  # fmt: skip
ONLY_ON: dict[str, list[Attack]] = {
    "sqlite": [replace_on_the_key, update_or_replace, replace_on_the_row_number],
    "postgresql": [truncate, merge, update_through_a_query, update_as_a_replica],
}


def _insert_copy(model: type[Model], row: Any, changed: dict[str, str], verb: str) -> None:
    """Insert a row's copy, with some columns given by an expression."""
    values = {column: f'"{column}"' for column in _columns(model)} | changed
    names = ", ".join(name if name == "rowid" else f'"{name}"' for name in values)
    table = _table(model)
    copy = f'select {", ".join(values.values())} from "{table}" where "{_key(model)}" = %s'
    _run(f'{verb} into "{table}" ({names}) {copy}', row.pk)


def _unique_keys(model: type[Model]) -> list[tuple[str, ...]]:
    """The unique keys of the table as the database has them."""
    with connection.cursor() as cursor:
        found = connection.introspection.get_constraints(cursor, _table(model)).values()
    return sorted({tuple(key["columns"]) for key in found if key["unique"] or key["primary_key"]})


def _fresh(model: type[Model], kept: tuple[str, ...]) -> dict[str, str]:
    """A new value for one column of each unique key that holds none of the kept columns; then only `kept` collides."""
    fields = {str(field.column): field for field in model._meta.local_concrete_fields}
    changed: dict[str, str] = {}
    for key in _unique_keys(model):
        if set(key) <= set(kept) or set(key) & set(changed):
            continue
        free = [column for column in key if column not in kept]
        whole = [column for column in free if not _is_text(fields[column])]
        # A text gets another first letter, so that it stays as long; a number is made one that no row has.
        if whole:
            changed[whole[-1]] = f'"{whole[-1]}" + 30000'
        else:
            changed[free[-1]] = f"'~' || substr(\"{free[-1]}\", 2)"
    return changed


def _is_text(field: Any) -> bool:
    while field.is_relation:
        field = field.target_field
    return field.get_internal_type() in {"CharField", "TextField", "SlugField"}


def _records(lab: Laboratory) -> Iterator[tuple[type[Model], Any]]:
    """One row of each guarded table."""
    a_lived_in_laboratory(lab)
    for label in guards.GUARDED:
        model = apps.get_model(label)
        row = _fullest(model)
        assert row is not None, f"the history left no row of {label}"
        yield model, row


def _fullest(model: type[Model]) -> Any:
    """The newest row in which every key has something: a certificate that replaces another, made by a form."""
    keys = [field.attname for field in model._meta.local_concrete_fields if field.unique]
    rows = model._default_manager.order_by("-pk")
    return rows.exclude(Q(*((key, None) for key in keys), _connector=Q.OR)).first() or rows.first()


def _refused(act: Callable[[], None]) -> bool:
    """Whether the statement was refused for being a change of a technical record; anything else is raised."""
    try:
        with transaction.atomic():
            act()
    except ProtectedError:
        return True  # Django asked before the database was; the raw statements ask the database
    except IntegrityError as error:
        if "technical records" not in str(error):
            raise
        return True
    return False


@pytest.mark.parametrize("attack", EVERYWHERE, ids=lambda attack: attack.__name__)
def test_no_statement_changes_a_technical_record(lab: Laboratory, attack: Attack) -> None:
    changed = [model.__name__ for model, row in _records(lab) if not _refused(lambda: attack(model, row))]  # noqa: B023
    assert changed == []


def test_no_statement_of_this_database_alone_changes_a_technical_record(lab: Laboratory) -> None:
    changed = [
        (attack.__name__, model.__name__)
        for model, row in list(_records(lab))
        for attack in ONLY_ON[connection.vendor]
        if not _refused(lambda: attack(model, row))  # noqa: B023
    ]
    assert changed == []


def test_a_row_is_not_replaced_through_any_of_its_unique_keys(lab: Laboratory) -> None:
    on_conflict = 'on conflict ({key}) do update set "{pk}" = excluded."{pk}"'
    update = on_conflict if connection.vendor == "postgresql" else ""
    replaced = []
    for model, newest in list(_records(lab)):
        for key in _unique_keys(model):
            row = next((row for row in (newest, *model._default_manager.all()) if _stands(row, key)), None)
            assert row is not None, f"nothing stands under {key}"
            names = ", ".join(f'"{column}"' for column in key)

            def attack(
                model: type[Model] = model, row: Any = row, key: tuple[str, ...] = key, names: str = names
            ) -> None:
                if update:
                    _upsert_copy(model, row, _fresh(model, key), update.format(key=names, pk=_key(model)))
                else:
                    _insert_copy(model, row, _fresh(model, key), "insert or replace")

            if not _refused(attack):
                replaced.append((model.__name__, key))
    assert replaced == []


def _stands(row: Any, key: tuple[str, ...]) -> bool:
    """Whether a row has something under every column of a key: a limit is on an element, or on a derived result."""
    return all(_value(row, column) is not None for column in key)


def _value(row: Any, column: str) -> Any:
    return next(getattr(row, field.attname) for field in row._meta.local_concrete_fields if field.column == column)


def _upsert_copy(model: type[Model], row: Any, changed: dict[str, str], ending: str) -> None:
    values = {column: f'"{column}"' for column in _columns(model)} | changed
    names, table = ", ".join(f'"{name}"' for name in values), _table(model)
    _run(
        f'insert into "{table}" ({names}) select {", ".join(values.values())} from "{table}"'
        f' where "{_key(model)}" = %s {ending}',
        row.pk,
    )


def test_rows_beside_a_technical_record_can_still_be_added(lab: Laboratory) -> None:
    a_lived_in_laboratory(lab)
    before = {label: apps.get_model(label)._default_manager.count() for label in guards.GUARDED}
    a_lived_in_laboratory(lab)
    more_is_set_up(lab)
    unchanged = [label for label, n in before.items() if apps.get_model(label)._default_manager.count() <= n]
    once = ["labresults.StoredFile", "reports.RuleSetVersion"]  # the same bytes are kept once, and so is a rule set
    assert unchanged == once, "the history makes a new row everywhere else"


def expected_guards() -> list[tuple[str, str]]:
    """Name and table of every guard that must stand, in order."""
    kinds = ["rows", "all"] if connection.vendor == "postgresql" else ["update", "delete", "insert"]
    return sorted((f"guard_{table}_{kind}", table) for table in guards.tables() for kind in kinds)


@pytest.mark.django_db
def test_the_guards_stand_after_all_migrations() -> None:
    assert sorted(guards.installed(connection)) == expected_guards()


@pytest.mark.django_db
def test_guards_that_were_lost_come_back_with_the_next_migration() -> None:
    guards.remove(connection)
    assert guards.installed(connection) == []
    call_command("migrate", verbosity=0)
    assert sorted(guards.installed(connection)) == expected_guards()


@pytest.mark.django_db
def test_a_missing_guard_is_an_error_but_where_migrations_bring_it() -> None:
    guards.remove(connection)
    found = guards_stand(databases=["default"])
    assert {error.id for error in found} == {"labresults.E001"}
    assert len(found) == len(guards.GUARDED)
    # given a database of the version before, in which a table was not guarded yet: `migrate` must not stop there
    recorder = MigrationRecorder(connection)
    newest = max(name for app, name in recorder.applied_migrations() if app == "labresults")
    recorder.record_unapplied("labresults", newest)
    assert guards_stand(databases=["default"]) == []


@pytest.mark.django_db
def test_a_table_is_guarded_once_and_exists() -> None:
    assert len(set(guards.tables())) == len(guards.GUARDED)
    assert set(guards.tables()) <= set(connection.introspection.table_names())
