"""A method that looks at everything, for the nights in which something goes wrong. Invented, but for the criteria: they
are those of the sets that ship (fixtures/criteria), each with its source."""

from collections.abc import Collection, Mapping
from datetime import date, timedelta
from typing import Any

from labresults.actions.materials import register_lot, register_material
from labresults.actions.methods import add_method_version, save_layout
from labresults.models import Layout, Lot, Material, MethodVersion
from labresults.readers.layout import Layout as LayoutSpecification
from labresults.readers.layout import Shape
from labresults.terms import MaterialKind, Role
from reports.demo.data import criteria_of
from tests.builders import AQUA_REGIA, NOW, Laboratory, a_line

CU, CU_2, PB, FE, Y = "Cu 324.754", "Cu 327.396", "Pb 220.353", "Fe 259.940", "Y 371.029"

IRON_AT_LEAD = 0.002
"""mg/L of lead that 1 mg/L of iron pretends (invented)."""

STANDARDS = {
    "N-STD-0": {"Cu": 0.0, "Pb": 0.0, "Fe": 0.0},
    "N-STD-1": {"Cu": 0.05, "Pb": 0.05},
    "N-STD-2": {"Cu": 1.0, "Pb": 1.0},
    "N-STD-3": {"Cu": 5.0, "Pb": 5.0},
    "N-STD-4": {"Cu": 10.0, "Pb": 10.0},
    "N-STD-5": {"Fe": 0.5},
    "N-STD-6": {"Fe": 10.0},
    "N-STD-7": {"Fe": 100.0},
}
"""The calibration blank and the working standards, mg/L; iron apart from lead, which it pretends."""

SOLUTIONS = STANDARDS | {
    "N-ICV": {"Cu": 4.0, "Pb": 3.0, "Fe": 40.0},  # from a second source
    "N-CCV": {"Cu": 5.0, "Pb": 5.0, "Fe": 50.0},
    "N-LOW": {"Cu": 0.05, "Pb": 0.05, "Fe": 0.5},
    "N-IRON": {"Fe": 95.0},
    "N-SPIKE": {"Cu": 50.0, "Pb": 50.0},
}
"""Every solution that stands at the instrument or the bench, by material, mg/L."""

REFERENCE = {"Cu": 150.0, "Pb": 60.0, "Fe": 3000.0}
"""Certified under aqua regia, mg/kg."""

LAYOUT = LayoutSpecification(
    name="night",
    version=1,
    shape=Shape.LONG,
    unit="counts/s",
    position="position",
    label="label",
    time="time",
    line="line",
    replicates=("reading 1", "reading 2", "reading 3"),
    missing=("", "none"),
    over_range=("saturated",),
)

CRITERIA = {
    "epa-6010d": [
        "curve, correlation", "curve, standard error", "curve, mid-level read-back", "initial verification",
        "low-level check", "continuing verification", "blank check", "interference check, one element", "method blank",
        "reference material", "duplicate", "spike", "serial dilution", "post-digestion spike", "internal standard",
        "internal standard, batch", "internal standard, checks", "replicate spread",
    ]
}  # fmt: skip

CONTROLS: tuple[dict[str, Any], ...] = (
    {"role": Role.INITIAL_VERIFICATION, "material": "N-ICV", "at_start": True},
    {"role": Role.LOW_LEVEL_CHECK, "material": "N-LOW", "at_start": True},
    {"role": Role.INTERFERENCE_CHECK, "material": "N-IRON", "at_start": True},
    {"role": Role.SERIAL_DILUTION, "dilution": 5.0, "at_end": True},
    {"role": Role.POST_DIGESTION_SPIKE, "material": "N-SPIKE", "spike_mL": 0.2, "made_up_mL": 10.0, "at_end": True},
    {"role": Role.CONTINUING_VERIFICATION, "material": "N-CCV", "every": 5, "at_end": True},
    {"role": Role.BLANK_CHECK, "material": "N-STD-0", "at_start": True, "every": 5, "at_end": True},
    {"role": Role.METHOD_BLANK, "in_batch": True},
    {"role": Role.REFERENCE_MATERIAL, "material": "N-RM", "in_batch": True},
    {"role": Role.DUPLICATE, "in_batch": True},
    {"role": Role.SPIKE, "material": "N-SPIKE", "spike_mL": 1.0, "in_batch": True},
)


def equipped(
    lab: Laboratory,
    method: Mapping[str, Any],
    lines: Mapping[str, Mapping[str, Any] | None],
    expired: Collection[str] = (),
) -> None:
    """Give the laboratory the solutions, the layout and the method of the night, as `lab.version`.

    method: what differs of its version; lines: what differs of a line, by name; None leaves the line out.
    expired: materials of which the only lot was good until yesterday.
    """
    for code, contents in SOLUTIONS.items():
        a_material(lab, code, MaterialKind.STANDARD)
        a_lot(lab, code, contents, good_for_days=-1 if code in expired else 365)
    a_material(lab, "N-RM", MaterialKind.REFERENCE_MATERIAL)
    a_lot(lab, "N-RM", REFERENCE, unit="mg/kg", dissolution="aqua regia")
    lab.layout = a_layout(lab)
    lab.version = a_version(lab, method, lines)
    lab.method = lab.version.method


def a_layout(lab: Laboratory, specification: LayoutSpecification = LAYOUT) -> Layout:
    """A layout, saved."""
    return save_layout(by=lab.people["quality manager"], at=NOW, specification=specification)


def a_material(lab: Laboratory, code: str, kind: MaterialKind) -> Material:
    """A material by its code."""
    return register_material(
        by=lab.people["quality manager"], at=NOW, code=code, name=f"{code}, invented", kind=kind
    )  # fmt: skip


def a_lot(
    lab: Laboratory,
    code: str,
    contents: Mapping[str, float],
    *,
    unit: str = "mg/L",
    dissolution: str = "",
    good_for_days: int = 365,
    made_from: Lot | None = None,
) -> Lot:
    """The next lot of a material."""
    material = Material.objects.get(code=code)
    number = f"L-{code}-{material.lots.count() + 1}"
    stated = [
        {"element": element, "value": value, "unit": unit, "dissolution": dissolution, "u": 0.01 * value}
        for element, value in contents.items()
    ]
    received_on = NOW.date() - timedelta(days=30)
    return register_lot(
        by=lab.people["quality manager"], at=NOW, number=number, material=material, received_on=received_on,
        expires_on=NOW.date() + timedelta(days=good_for_days), contents=stated, made_from=made_from,
    )  # fmt: skip


def a_version(
    lab: Laboratory, method: Mapping[str, Any], lines: Mapping[str, Mapping[str, Any] | None]
) -> MethodVersion:
    """The method of the night: copper at two lines, lead under iron, iron; yttrium runs along."""
    stated = dict(method)
    version = AQUA_REGIA | {"internal_standard": ["Y", "371.029"], "lines_agree_percent": 10.0}
    controls = stated.pop("controls", CONTROLS)
    return add_method_version(
        by=lab.people["quality manager"],
        at=NOW,
        code="NT-1",
        title="Copper, lead and iron in soil",
        area="geochemistry",
        valid_from=date(2026, 1, 1),
        version=version | stated,
        matrices=["rock", "soil"],
        lines=_lines(lines),
        determinations=[{"element": element, "unit": "mg/kg"} for element in ("Cu", "Pb", "Fe")],
        criteria=criteria_of(CRITERIA),
        standards=list(STANDARDS),
        controls=[dict(control) for control in controls],
    )


def _lines(changes: Mapping[str, Mapping[str, Any] | None]) -> list[dict[str, Any]]:
    usual: dict[str, dict[str, Any]] = {
        CU: {"rank": 1, "carry_over": 0.02},
        CU_2: {"rank": 2},
        PB: {"rank": 1, "interferences": {"Fe": IRON_AT_LEAD}},
        FE: {"rank": 1, "range_top": 100.0, "detection_limit": 0.1, "quantification_limit": 0.5, "u_floor": 0.03},
        Y: {"rank": 1},
    }
    lines = []
    for name, own in usual.items():
        changed = changes.get(name, {})
        if changed is None:
            continue
        element, label = name.split()
        lines.append(a_line(element, label) | own | changed)
    return lines
