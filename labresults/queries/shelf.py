"""What stands beside the path: a method, a lot, a piece of equipment, an audit event, each whole.

Each function says how many database queries it makes.
"""

import json
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Count, Exists, OuterRef

from labresults.chain import Link, digest
from labresults.models import (
    AuditEvent,
    Equipment,
    Lot,
    Method,
    MethodVersion,
    PreparationBatch,
    Run,
    Weighing,
)


@dataclass(frozen=True)
class Opened:
    """An audit event with its content read, and whether its own hash holds."""

    event: AuditEvent
    content: dict[str, Any]
    changes: list[tuple[str, Any, Any]]  # field, before, after
    holds: bool


def method_versions(code: str) -> list[MethodVersion]:
    """All versions of a method, oldest first, with the number of runs of each; one query."""
    return list(
        MethodVersion.objects.filter(method__code=code)
        .select_related("method", "made_by", "internal_standard__element")
        .annotate(run_count=Count("runs"))
        .order_by("version")
    )


def newest_version(code: str) -> MethodVersion:
    """The newest version of a method, valid already or not; one query. Raises MethodVersion.DoesNotExist."""
    return MethodVersion.objects.filter(method__code=code).select_related("method").latest("version")


def method(code: str) -> Method:
    """A method; one query. Raises Method.DoesNotExist."""
    return Method.objects.select_related("ore_grade_of").get(code=code)


def in_force(versions: list[MethodVersion], on: date) -> MethodVersion | None:
    """The version that is valid on a day, else the newest; no query."""
    valid = [v for v in versions if v.valid_from <= on and (v.valid_to is None or v.valid_to >= on)]
    return valid[-1] if valid else versions[-1] if versions else None


def lines_of(version: MethodVersion) -> list[Any]:
    """Lines of a method version, by element and rank; one query."""
    return list(version.lines.select_related("line__element").order_by("line__element__symbol", "rank"))


def determinations_of(version: MethodVersion) -> list[Any]:
    """What a method version reports; one query."""
    return list(version.determinations.select_related("element").order_by("ordinal"))


def criteria_of(version: MethodVersion) -> list[Any]:
    """Criteria of a method version in their order; one query."""
    return list(version.criteria.select_related("element").order_by("pk"))


def planned_of(version: MethodVersion) -> tuple[list[Any], list[Any]]:
    """Standards and control samples that a method version asks for; two queries."""
    standards = list(version.standards.select_related("material").order_by("ordinal"))
    return standards, list(version.controls.select_related("material").order_by("ordinal"))


def lot(number: str) -> Lot:
    """A lot with what it holds; three queries. Raises Lot.DoesNotExist."""
    return (
        Lot.objects.select_related("material", "made_from__material", "made_by")
        .prefetch_related("contents__element")
        .get(number=number)
    )


def equipment(code: str) -> Equipment:
    """A piece of equipment; one query. Raises Equipment.DoesNotExist."""
    return Equipment.objects.get(code=code)


def checks_of(item: Equipment) -> list[Any]:
    """Its calibrations and checks, newest first; one query."""
    return list(item.checks.select_related("made_by").order_by("-done_on", "-pk"))


def used_in(item: Equipment) -> tuple[list[Run], list[PreparationBatch]]:
    """The newest runs on an instrument and the newest batches weighed on a balance, 50 of each; two queries."""
    runs = Run.objects.filter(instrument=item).select_related("method_version__method").order_by("-pk")[:50]
    weighed = Weighing.objects.filter(portion__batch=OuterRef("pk"), balance=item)
    batches = PreparationBatch.objects.filter(Exists(weighed)).select_related("method_version__method")
    return list(runs), list(batches.order_by("-pk")[:50])


def event(seq: int) -> Opened:
    """One audit event, read; one query. Raises AuditEvent.DoesNotExist."""
    row = AuditEvent.objects.select_related("person").get(seq=seq)
    content = json.loads(row.content)
    link = Link(row.seq, row.content, row.previous, row.sha256)
    return Opened(row, content, _changes(content), digest(link.seq, link.content, link.previous) == link.sha256)


def _changes(content: dict[str, Any]) -> list[tuple[str, Any, Any]]:
    """Each field that the event names, before and after, in words that a page can show."""
    before, after = content.get("before") or {}, content.get("after") or {}
    names = [*after, *(name for name in before if name not in after)]
    return [(name, _said(before.get(name)), _said(after.get(name))) for name in names]


def _said(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dict):
        return "\n".join(f"{name}: {_inline(inner)}" for name, inner in value.items())
    if isinstance(value, list):
        return "\n".join(map(_inline, value))
    return str(value)


def _inline(value: Any) -> str:
    """A value on one line: the parts of a list after one another, those of a mapping with their names."""
    if isinstance(value, dict):
        return "; ".join(f"{name} {_inline(inner)}" for name, inner in value.items())
    if isinstance(value, list):
        return ", ".join(map(_inline, value))
    return _said(value)
