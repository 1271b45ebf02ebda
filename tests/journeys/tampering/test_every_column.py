"""Whatever stored value a certificate stands on is altered, a proof names it: every table, every column."""

from collections.abc import Iterator

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, transaction

from labresults import guards
from labresults.models import AuditEvent, Material
from labresults.queries.chain_tables import CHAIN, MAY_CHANGE, NOT_IN_CHAIN
from reports.models import Certificate
from reports.queries.evidence import OWN_TABLES, differences, unpacked
from tests.builders import Laboratory
from tests.journeys.tampering.altering import alter, named_by_a_proof
from tests.journeys.tampering.rich import a_rich_certificate

BESIDE = ("reports.RuleSetVersion", "reports.CertificateFile", "reports.CertificateEvidence", "labresults.AuditEvent")
"""Tables that are proved beside the chain, or by the audit trail."""

TABLES = (*(table.label for table in CHAIN), *(model._meta.label for model in OWN_TABLES), *BESIDE)
PARTS = 8

NOT_NAMED = {
    ("CertificateFile", "id"): "nothing refers to it: a file is found by its certificate and kind",
    ("CertificateEvidence", "id"): "nothing refers to it: evidence is found by its certificate and table",
}
"""Columns whose change no proof names, each with the reason; beside those that may rightly change (`MAY_CHANGE`)."""

OTHERS_OF_REPORTS = {
    "DeliveryLayout": "how a client's file is laid out",
    "Recipient": "who is told",
    "Notice": "that a client was told, after the issue",
    "CertificateFetch": "that a client fetched it, after the issue",
    "RuleSetChoice": "proposes a rule set; the certificate names the one that it used",
    "SigningCertificate": "the signature in the file is verified against it: verify_certificate",
    "SigningCertificateEnd": "as the key",
    "Withdrawal": "compared with its audit event: see test_other_ways",
}


def key_in_chain(label: str, certificate: Certificate) -> object:
    """The key of one row of a table that the certificate stands on: the last, which is a sample's and not a blank's."""
    model = apps.get_model(label)
    if label == "labresults.AuditEvent":
        return AuditEvent.objects.filter(act="evaluate_run").earliest("pk").pk
    if label in ("reports.CertificateFile", "reports.CertificateEvidence"):
        return model._default_manager.filter(certificate=certificate).latest("pk").pk
    kept = unpacked(certificate.evidence.get(table=label))
    assert kept is not None
    return kept.keys[-1]


def is_named(certificate: Certificate, label: str, key: object) -> bool:
    """Whether the evidence of that table names the row, which is what verify_certificates asks, or else any proof."""
    kept = certificate.evidence.filter(table=label)
    return any(row.key == key for row in differences(certificate, kept)) or bool(named_by_a_proof())


def unnamed_columns(certificate: Certificate, label: str) -> list[str]:
    """Columns of one row of a table that can be altered without any proof naming it."""
    model, key = apps.get_model(label), key_in_chain(label, certificate)
    left_out = MAY_CHANGE.get(model._meta.object_name or "", {})
    silent = []
    for field in model._meta.concrete_fields:
        if field.name in left_out or (model._meta.object_name, field.name) in NOT_NAMED:
            continue
        point = transaction.savepoint()
        other = alter(model, field, key)
        if not is_named(certificate, label, key):
            silent.append(f"{model._meta.label}.{field.name} → {other!r}")
        transaction.savepoint_rollback(point)
    return silent


@pytest.fixture
def unguarded(lab: Laboratory) -> Iterator[Certificate]:
    """A certificate in a database whose guards and checks somebody has taken away; afterwards they are there again."""
    certificate = a_rich_certificate(lab)
    assert named_by_a_proof() == []
    guards.remove(connection)
    try:
        without_checks()
        yield certificate
    finally:
        with_checks()


def with_checks() -> None:
    """What `without_checks` did to a connection outlives the test's transaction; all else goes back with that."""
    if connection.vendor == "sqlite":  # straight to the driver: the transaction may be broken
        connection.connection.execute("pragma ignore_check_constraints = off")


def without_checks() -> None:
    """Whoever owns the database can take its CHECK constraints away too."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("pragma ignore_check_constraints = on")
            return
        cursor.execute("set constraints all immediate")
        for label in TABLES:
            table = apps.get_model(label)._meta.db_table
            found = connection.introspection.get_constraints(cursor, table)
            for name in [name for name, one in found.items() if one["check"]]:
                cursor.execute(f'alter table "{table}" drop constraint "{name}"')
        cursor.execute("set constraints all deferred")


@pytest.mark.parametrize("part", range(PARTS))
def test_an_altered_value_is_named(part: int, unguarded: Certificate) -> None:
    silent = []
    for label in TABLES[part::PARTS]:
        silent += unnamed_columns(unguarded, label)
    assert silent == []


def test_the_command_says_which_row(unguarded: Certificate) -> None:
    """The words of a person: what it is, its table and its key."""
    words = {
        "labresults.Sample": "sample KF26-00006",
        "labresults.Weighing": "weighing 1 of KF26-0000",
        "labresults.Content": "content of Cu in lot L-2150",
        "labresults.Reading": "reading of R26-000",
        "labresults.MethodLine": "Pb 220.353 in AR-7 v1",
    }
    for label, said in words.items():
        model, key = apps.get_model(label), key_in_chain(label, unguarded)
        field = next(field for field in model._meta.concrete_fields if field.get_internal_type() == "FloatField")
        point = transaction.savepoint()
        alter(model, field, key)
        found = named_by_a_proof()
        transaction.savepoint_rollback(point)
        assert len(found) == 1, found
        assert said in found[0]
        assert f"({model._meta.object_name} {key}) is not what it was" in found[0]


def test_checks_that_were_taken_away_are_there_again_for_what_comes_after(db: None) -> None:
    if connection.vendor != "sqlite":
        pytest.skip("elsewhere they go back with the transaction")
    without_checks()
    Material.objects.create(code="X-1", name="no such kind", kind="no kind")
    with_checks()
    with pytest.raises(IntegrityError, match="CHECK constraint failed"), transaction.atomic():
        Material.objects.create(code="X-2", name="no such kind", kind="no kind")


def test_every_table_is_in_the_chain_or_says_why_not() -> None:
    """A new table cannot be forgotten."""
    known = {label.partition(".")[2] for label in TABLES} | NOT_IN_CHAIN.keys() | OTHERS_OF_REPORTS.keys()
    models = [
        model
        for name in ("labresults", "reports")
        for model in apps.get_app_config(name).get_models(include_auto_created=True)
    ]
    assert {model._meta.object_name for model in models} - known == set()


def test_every_column_that_is_left_out_is_there() -> None:
    for name, columns in MAY_CHANGE.items():
        fields = {field.name for field in apps.get_model("labresults", name)._meta.concrete_fields}
        assert columns.keys() <= fields
