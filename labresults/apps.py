"""Names the app, and puts the guards, the index that finds, roles and permissions in place after every migration."""

from typing import Any

from django.apps import AppConfig, apps
from django.db import connections
from django.db.models.signals import post_migrate, pre_migrate


class LabresultsConfig(AppConfig):
    name = "labresults"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from labresults import checks  # noqa: F401, PLC0415  (registers itself; models must be there first)
        from labresults.web import sessions  # noqa: F401, PLC0415  (listens for who signs in; the same)

        pre_migrate.connect(_before_migration, dispatch_uid="labresults.before_migration")
        post_migrate.connect(_after_migration, dispatch_uid="labresults.after_migration")


def _before_migration(sender: AppConfig, using: str, plan: Any = (), **_: Any) -> None:
    """SQLite remakes a table to change it, which a trigger that names another table would break."""
    from labresults import finding  # noqa: PLC0415  (models must be there first)

    if plan and sender.name == "labresults" and connections[using].vendor == "sqlite":
        finding.remove(connections[using])


def _after_migration(sender: AppConfig, using: str, **_: Any) -> None:
    """Once, after the last app of ours: every table is there then."""
    if sender.name != "reports":
        return
    from labresults import finding, guards  # noqa: PLC0415  (models must be there first)

    guards.install(connections[using])
    finding.install(connections[using])
    _make_roles(using)


def _make_roles(using: str) -> None:
    """Permissions named after the acts, and groups named after the roles that hold them."""
    from labresults.roles import ROLES  # noqa: PLC0415

    content_type = apps.get_model("contenttypes.ContentType")
    permission = apps.get_model("auth.Permission")
    group = apps.get_model("auth.Group")
    kind, _ = content_type.objects.using(using).get_or_create(app_label="labresults", model="auditevent")
    made = {}
    for name in sorted(frozenset().union(*ROLES.values())):
        made[name], _ = permission.objects.using(using).get_or_create(
            codename=name, content_type=kind, defaults={"name": f"May {name.replace('_', ' ')}"}
        )
    for role, acts in ROLES.items():
        row, _ = group.objects.using(using).get_or_create(name=role)
        row.permissions.set([made[name] for name in sorted(acts)])
