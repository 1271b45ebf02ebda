"""What must hold before the site may start in service."""

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.checks import Error, Tags, Warning, register
from django.db import connections
from django.db.migrations.executor import MigrationExecutor

from labresults import finding, guards


@register(Tags.database)
def guards_stand(databases: list[str] | None = None, **_: Any) -> list[Error]:
    """Every technical record is guarded (run by `migrate` and by `check --database default`).

    Not asked while migrations are due: what guards are new comes with them, and `migrate` stops at errors.
    """
    if not databases or "default" not in databases:
        return []
    connection = connections["default"]
    plan = MigrationExecutor(connection)
    if plan.migration_plan(plan.loader.graph.leaf_nodes()):
        return []
    guarded = {table for _, table in guards.installed(connection)}
    with connection.cursor() as cursor:
        present = set(connection.introspection.table_names(cursor))
    missing = sorted((set(guards.tables()) & present) - guarded)
    return [
        Error(f"The guard of {table} is missing.", hint="Run: python3 manage.py migrate", id="labresults.E001")
        for table in missing
    ]


@register(Tags.database)
def things_are_found(databases: list[str] | None = None, **_: Any) -> list[Warning]:
    """The index behind the box at the top stands as it is defined (run with the one above).

    A warning, since `migrate` is what mends it and stops at errors.
    """
    if not databases or "default" not in databases:
        return []
    if not finding.is_wanted(connections["default"]) or not finding.missing(connections["default"]):
        return []
    words = "The index that finds things is missing or of an older definition: not everything is found."
    return [Warning(words, hint="Run: python3 manage.py migrate", id="labresults.W002")]


@register(Tags.security, deploy=True)
def secret_is_set(**_: Any) -> list[Error]:
    """The key of the demonstration signs nothing in service."""
    if settings.SECRET_KEY.startswith("not-secret"):
        return [Error("LABRESULTS_SECRET_KEY is not set.", id="labresults.E002")]
    return []


@register(Tags.security)
def clock_has_a_root(**_: Any) -> list[Error]:
    """Where signatures are stamped by an outside clock, the root of its certificates is there to check them."""
    if not settings.TIMESTAMPS or Path(settings.TIMESTAMPS_ROOT or "-").is_file():
        return []
    hint = "Set it to the file (PEM) with the root certificate of the authority in LABRESULTS_TIMESTAMPS."
    return [Error("LABRESULTS_TIMESTAMPS_ROOT names no file that is there.", hint=hint, id="labresults.E003")]


@register(Tags.security, deploy=True)
def https_is_set(**_: Any) -> list[Warning]:
    """Passwords travel in the open without it."""
    return [] if settings.SECURE else [Warning("LABRESULTS_HTTPS is off.", id="labresults.W001")]
