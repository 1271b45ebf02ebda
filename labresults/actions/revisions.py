"""The next version of a method, made of the one before: everything is copied but what is said to change."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from django.db.models import Model

from labresults.acts import BadInput, Done, WrongState, act
from labresults.models import MethodLine, MethodVersion, Person

Changes = Mapping[str, Any]

NEVER_COPIED = frozenset({"id", "method", "method_version", "version", "valid_from", "valid_to", "made_by", "made_at"})
"""Columns that a new version has of its own."""


@act("revise_method_version")
def revise_method_version(
    *,
    by: Person,
    at: datetime,
    reason: str,
    version: MethodVersion,
    valid_from: date,
    line_changes: Mapping[str, Changes] | None = None,
    version_changes: Changes | None = None,
) -> Done[MethodVersion]:
    """Enter the next version of a method as a copy of its newest with these changes; the older one stays as it was.

    line_changes: by line ("Cu 324.754") fields of MethodLine; version_changes: fields of MethodVersion.
    Raises BadInput without a reason or a change, for a line or field that the version lacks, limits that are not in
    order, a day that is not after the older version's; WrongState when there is a newer version already.
    """
    lines, fields = dict(line_changes or {}), dict(version_changes or {})
    rows = list(version.lines.select_related("line").order_by("pk"))
    _refuse_what_cannot_be(version, rows, valid_from, reason, lines, fields)
    before = {"version": {name: getattr(version, name) for name in fields}, "lines": _as_they_are(rows, lines)}
    new = _copy(version, method=version.method, version=version.version + 1, valid_from=valid_from, made_by=by,
                made_at=at, **fields)  # fmt: skip
    new.matrices.set(version.matrices.all())
    for row in rows:
        _copy(row, method_version=new, **lines.get(str(row.line), {}))
    for related in ("determinations", "criteria", "standards", "controls"):
        for row in getattr(version, related).order_by("pk"):
            _copy(row, method_version=new)
    return Done(
        new,
        subject=("method", str(new)),
        before={"copied from": str(version), **before},
        after={
            "valid from": valid_from.isoformat(),
            "version": fields,
            "lines": {key: dict(values) for key, values in lines.items()},
        },
    )


def _refuse_what_cannot_be(
    version: MethodVersion,
    rows: Sequence[MethodLine],
    valid_from: date,
    reason: str,
    lines: Mapping[str, Changes],
    fields: Changes,
) -> None:
    newest = version.method.versions.order_by("-version")[0]
    if newest.pk != version.pk:
        raise WrongState(f"{newest} came after {version} already. Change the newest version.")
    if valid_from <= version.valid_from:
        raise BadInput(f"{version} is valid from {version.valid_from}; a new version must begin later.")
    if not reason:
        raise BadInput("Say why the method changes: the reason stands with the new version.")
    if not fields and not any(lines.values()):
        raise BadInput("Nothing changes: choose what the new version has otherwise.")
    _refuse_unknown(MethodVersion, fields, str(version))
    by_key = {str(row.line): row for row in rows}
    for key, values in lines.items():
        if key not in by_key:
            raise BadInput(f"{version} has no line {key}. It has {', '.join(by_key)}.")
        _refuse_unknown(MethodLine, values, key)
        _refuse_limits_out_of_order(by_key[key], values)


def _refuse_unknown(model: type[Model], values: Changes, where: str) -> None:
    known = {field.name for field in model._meta.concrete_fields if not field.is_relation} - NEVER_COPIED
    unknown = sorted(set(values) - known)
    if unknown:
        raise BadInput(f"{where}: {', '.join(unknown)} cannot be changed. What can be: {', '.join(sorted(known))}.")


def _refuse_limits_out_of_order(row: MethodLine, values: Changes) -> None:
    """Detection limit, quantification limit and top of the range stand in this order: said before the database does."""
    names = ("detection_limit", "quantification_limit", "range_top")
    detection, quantification, top = (values.get(name, getattr(row, name)) for name in names)
    if not 0 < detection <= quantification < top:
        raise BadInput(
            f"{row.line}: a detection limit of {detection:.4g}, a quantification limit of {quantification:.4g} and a"
            f" range to {top:.4g} are not in order. Take up both limits together, or set the range higher."
        )


def _as_they_are(rows: Sequence[MethodLine], changes: Mapping[str, Changes]) -> dict[str, dict[str, Any]]:
    return {
        str(row.line): {name: getattr(row, name) for name in changes[str(row.line)]}
        for row in rows
        if str(row.line) in changes
    }


def _copy(row: Any, **changes: Any) -> Any:
    """A new row with the columns of this one, but for those that change."""
    kept = {
        field.attname: getattr(row, field.attname)
        for field in row._meta.concrete_fields
        if field.name not in NEVER_COPIED and field.name not in changes
    }
    return type(row).objects.create(**kept, **changes)
