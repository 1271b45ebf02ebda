"""Methods: a version is entered whole, as validated, and never edited."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from labresults.acts import BadInput, Done, act
from labresults.models import (
    Criterion,
    Determination,
    Element,
    Layout,
    Line,
    Material,
    Matrix,
    Method,
    MethodLine,
    MethodVersion,
    Person,
    PlannedControl,
    PlannedStandard,
)
from labresults.readers.layout import Layout as LayoutSpecification
from labresults.readers.weighing_layout import WeighingLayout


@act("add_method_version")
def add_method_version(
    *,
    by: Person,
    at: datetime,
    reason: str,
    code: str,
    title: str,
    area: str,
    valid_from: date,
    version: dict[str, Any],
    matrices: Sequence[str],
    lines: Sequence[dict[str, Any]],
    determinations: Sequence[dict[str, Any]],
    criteria: Sequence[dict[str, Any]],
    standards: Sequence[str],
    controls: Sequence[dict[str, Any]],
    ore_grade_of: str | None = None,
) -> Done[MethodVersion]:
    """Enter a new version of a method, and the method itself when it is new. The newest valid version is the current.

    version: fields of MethodVersion; lines: element, label, medium and fields of MethodLine; determinations: element
    and fields of Determination; criteria: fields of Criterion, element by symbol; standards: codes of materials, the
    calibration blank first; controls: fields of PlannedControl, material by code.
    Raises BadInput when something named is not there, an element is determined of which the dissolution can say
    nothing, or the standards do not reach below the quantification limit.
    """
    _refuse_what_is_lost(version, determinations)
    method = _method(code, title, area, ore_grade_of)
    before = method.versions.order_by("-version").first()
    row = _enter_version(method, before, version, valid_from, by, at)
    row.matrices.set(_named(Matrix, "name", matrices))
    _enter_lines(row, lines)
    _enter_determinations(row, determinations)
    _enter_criteria(row, criteria)
    _enter_plan(row, standards, controls)
    return Done(
        row,
        subject=("method", str(row)),
        before={"version": before.version} if before else None,
        after={
            "valid from": valid_from.isoformat(), "version": dict(version), "lines": _copied(lines),
            "determinations": _copied(determinations), "criteria": _copied(criteria), "standards": list(standards),
            "controls": _copied(controls),
        },
    )  # fmt: skip


@act("save_layout")
def save_layout(
    *, by: Person, at: datetime, reason: str, specification: LayoutSpecification | WeighingLayout
) -> Done[Layout]:
    """Save a layout of files of readings or of weighings under its name, as a new version beside older ones.

    Raises BadInput when the name is that of a layout of the other kind.
    """
    reads = "weighings" if isinstance(specification, WeighingLayout) else "readings"
    last = Layout.objects.filter(name=specification.name).order_by("-version").first()
    if last and last.reads != reads:
        raise BadInput(f"“{specification.name}” is a layout of {last.reads}. Give the one of {reads} another name.")
    row = Layout.objects.create(
        name=specification.name,
        reads=reads,
        version=last.version + 1 if last else 1,
        specification=specification.to_json(),
        made_by=by,
        made_at=at,
    )
    return Done(
        row,
        subject=("layout", str(row)),
        before={"specification": last.specification} if last else None,
        after={"specification": row.specification},
    )


def _refuse_what_is_lost(version: dict[str, Any], determinations: Sequence[dict[str, Any]]) -> None:
    """No silicon from an open hydrofluoric digestion, no lithium or boron from a borate fusion (common practice)."""
    why = version.get("cannot_tell", {})
    lost = [f"{values['element']}: {why[values['element']]}" for values in determinations if values["element"] in why]
    if lost:
        raise BadInput(f"What this dissolution cannot tell is not determined by it. {'; '.join(lost)}")


def _method(code: str, title: str, area: str, ore_grade_of: str | None) -> Method:
    """The method of this code, entered when it is new."""
    found = Method.objects.filter(code=code).first()
    if found is None:
        parent = _named(Method, "code", [ore_grade_of])[0] if ore_grade_of else None
        found = Method.objects.create(code=code, title=title, area=area, ore_grade_of=parent)
    return found


def _enter_version(
    method: Method, before: MethodVersion | None, version: dict[str, Any], valid_from: date, by: Person, at: datetime
) -> MethodVersion:
    """The row of the version itself. Raises BadInput where it does not begin after the one before."""
    if before and before.valid_from >= valid_from:
        raise BadInput(f"{before} is valid from {before.valid_from}; a new version must begin later.")
    fields = dict(version)
    internal = fields.pop("internal_standard", None)
    return MethodVersion.objects.create(
        method=method,
        version=before.version + 1 if before else 1,
        valid_from=valid_from,
        internal_standard=_line(*internal) if internal else None,
        made_by=by,
        made_at=at,
        **fields,
    )


def _copied(rows: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Rows as they were given, in the event."""
    return [dict(values) for values in rows]


def _enter_lines(version: MethodVersion, lines: Sequence[dict[str, Any]]) -> None:
    for values in lines:
        fields = dict(values)
        line = _line(fields.pop("element"), fields.pop("label"), fields.pop("medium", "air"))
        MethodLine.objects.create(method_version=version, line=line, **fields)


def _enter_determinations(version: MethodVersion, determinations: Sequence[dict[str, Any]]) -> None:
    for ordinal, values in enumerate(determinations, start=1):
        fields = {"reported_as": values["element"]} | values
        Determination.objects.create(
            method_version=version, ordinal=ordinal, element_id=fields.pop("element"), **fields
        )


def _enter_criteria(version: MethodVersion, criteria: Sequence[dict[str, Any]]) -> None:
    for values in criteria:
        fields = dict(values)
        Criterion.objects.create(method_version=version, element_id=fields.pop("element", None), **fields)


def _enter_plan(version: MethodVersion, standards: Sequence[str], controls: Sequence[dict[str, Any]]) -> None:
    """The standards of the curve and the control samples, in their order."""
    for ordinal, material in enumerate(_named(Material, "code", standards), start=1):
        PlannedStandard.objects.create(method_version=version, ordinal=ordinal, material=material)
    for ordinal, values in enumerate(controls, start=1):
        fields = dict(values)
        code = fields.pop("material", None)
        PlannedControl.objects.create(
            method_version=version,
            ordinal=ordinal,
            material=_named(Material, "code", [code])[0] if code else None,
            **fields,
        )


def _line(element: str, label: str, medium: str = "air") -> Line:
    if not Element.objects.filter(pk=element).exists():
        raise BadInput(f"{element} is not an element that this database knows.")
    row, _ = Line.objects.get_or_create(
        element_id=element, label=label, medium=medium, defaults={"wavelength_nm": _wavelength(label)}
    )
    return row


def _wavelength(label: str) -> float | None:
    """The label as a number, where it is one; other work names its quantity instead."""
    try:
        return float(label)
    except ValueError:
        return None


def _named(model: Any, field: str, names: Sequence[str]) -> list[Any]:
    """The rows of these names, in this order. Raises BadInput naming those that are not there."""
    found = {getattr(row, field): row for row in model.objects.filter(**{f"{field}__in": names})}
    missing = [name for name in names if name not in found]
    if missing:
        raise BadInput(f"Not there yet: {model._meta.verbose_name} {', '.join(missing)}. Enter it first.")
    return [found[name] for name in names]
