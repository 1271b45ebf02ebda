"""Technical records cannot be altered: the database itself refuses, whoever asks, raw SQL included.

Installed after every migration, and again when nothing changed, because SQLite's remake of a table in a migration drops
its triggers without a word. Promise: any UPDATE, DELETE, TRUNCATE, and any INSERT that would replace a row, is refused.
What the owner of the database does to its structure is not.
"""

from collections.abc import Iterator

from django.apps import apps
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import Model, UniqueConstraint

GUARDED = (
    "labresults.AuditEvent",
    "labresults.MethodVersion",
    "labresults.MethodLine",
    "labresults.Determination",
    "labresults.PlannedStandard",
    "labresults.PlannedControl",
    "labresults.Layout",
    "labresults.Content",
    "labresults.EquipmentCheck",
    "labresults.LimitSet",
    "labresults.Limit",
    "labresults.Request",
    "labresults.Run",
    "labresults.Position",
    "labresults.Weighing",
    "labresults.ReadingFile",
    "labresults.Reading",
    "labresults.Evaluation",
    "labresults.Calibration",
    "labresults.ControlOutcome",
    "labresults.Acceptance",
    "labresults.Result",
    "labresults.Selection",
    "labresults.NotMeasuredResult",
    "labresults.Review",
    "labresults.ReviewedResult",
    "labresults.CustodyEntry",
    "labresults.CalendarDay",
    "labresults.SampleCorrection",
    "labresults.RequestedTerms",
    "labresults.RequestConcern",
    "labresults.HoldingTime",
    "labresults.StoredFile",
    "labresults.Attachment",
    "labresults.MassLoss",
    "labresults.DiscardedPortion",
    "labresults.FireCharge",
    "labresults.Override",
    "labresults.LimitEstimate",
    "labresults.InterferenceEstimate",
    "labresults.LetStand",
    "labresults.AccessToken",
    "labresults.AccessTokenEnd",
    "labresults.ResultComment",
    "labresults.PlausibilityRule",
    "labresults.SecondFactor",
    "labresults.SecondFactorEnd",
    "labresults.UsedCode",
    "labresults.RecoveryCode",
    "labresults.UsedRecoveryCode",
    "labresults.SamplingRecord",
    "labresults.Opinion",
    "labresults.DerivedDefinition",
    "labresults.RequestedDerived",
    "labresults.SampleSet",
    "labresults.SampleSetMember",
    "labresults.NonconformingWork",
    "labresults.NonconformingResult",
    "labresults.NonconformingStep",
    "reports.RuleSetVersion",
    "reports.Certificate",
    "reports.CertificateLine",
    "reports.CertificateFile",
    "reports.Withdrawal",
    "reports.CertificateInput",
    "reports.CertificateSubmission",
    "reports.CertificateEvidence",
    "reports.RuleSetChoice",
    "reports.SigningCertificate",
    "reports.SigningCertificateEnd",
    "reports.DeliveryLayout",
    "reports.Recipient",
    "reports.Notice",
    "reports.CertificateFetch",
)

_FUNCTION = """
create or replace function labresults_refuse() returns trigger language plpgsql as $$
begin
    raise exception 'rows of % are technical records and cannot be changed or removed', tg_table_name
        using errcode = 'integrity_constraint_violation';
end $$
"""


def tables() -> list[str]:
    """Names of the guarded tables."""
    return [apps.get_model(label)._meta.db_table for label in GUARDED]


def install(connection: BaseDatabaseWrapper) -> None:
    """Put the guards in place; those that stand already are made anew."""
    with connection.cursor() as cursor:
        existing = set(connection.introspection.table_names(cursor))
        remove(connection)
        if connection.vendor == "postgresql":
            cursor.execute(_FUNCTION)
        for label in GUARDED:
            model = apps.get_model(label)
            if model._meta.db_table in existing:
                for statement in _statements(model, connection.vendor):
                    cursor.execute(statement)


def remove(connection: BaseDatabaseWrapper) -> None:
    """Take the guards away: for tests that empty tables, never in service."""
    with connection.cursor() as cursor:
        for name, table in installed(connection):
            on_table = f' on "{table}"' if connection.vendor == "postgresql" else ""
            cursor.execute(f'drop trigger "{name}"{on_table}')


def installed(connection: BaseDatabaseWrapper) -> list[tuple[str, str]]:
    """Name and table of each guard that stands, in order."""
    query = (
        "select t.tgname, c.relname from pg_trigger t join pg_class c on c.oid = t.tgrelid"
        " join pg_namespace n on n.oid = c.relnamespace"
        " where t.tgname like 'guard\\_%' and n.nspname = current_schema() order by 1, 2"
        if connection.vendor == "postgresql"
        else "select name, tbl_name from sqlite_master where type = 'trigger' and name glob 'guard_*' order by 1"
    )
    with connection.cursor() as cursor:
        cursor.execute(query)
        return list(cursor.fetchall())


def _statements(model: type[Model], vendor: str) -> Iterator[str]:
    table = model._meta.db_table
    if vendor == "postgresql":
        yield (
            f'create trigger "guard_{table}_rows" before update or delete on "{table}"'
            " for each row execute function labresults_refuse()"
        )
        yield (
            f'create trigger "guard_{table}_all" before truncate on "{table}"'
            " for each statement execute function labresults_refuse()"
        )
        # "Always": also for a session that calls itself a replica, in which ordinary triggers rest.
        yield f'alter table "{table}" enable always trigger "guard_{table}_rows"'
        yield f'alter table "{table}" enable always trigger "guard_{table}_all"'
        return
    refusal = f"select raise(abort, 'rows of {table} are technical records and cannot be changed or removed')"
    yield f'create trigger "guard_{table}_update" before update on "{table}" begin {refusal}; end'
    yield f'create trigger "guard_{table}_delete" before delete on "{table}" begin {refusal}; end'
    # "insert or replace" deletes without asking the trigger above: refuse the insert itself.
    taken = " or ".join(
        f'exists (select 1 from "{table}" where ' + " and ".join(f'"{c}" = new."{c}"' for c in columns) + ")"
        for columns in [("rowid",), *_unique_keys(model)]
    )
    yield f'create trigger "guard_{table}_insert" before insert on "{table}" when {taken} begin {refusal}; end'


def _unique_keys(model: type[Model]) -> Iterator[tuple[str, ...]]:
    for field in model._meta.local_concrete_fields:
        if field.unique:
            yield (str(field.column),)
    for constraint in model._meta.constraints:
        if isinstance(constraint, UniqueConstraint) and constraint.fields:
            yield tuple(str(model._meta.get_field(name).column) for name in constraint.fields)
