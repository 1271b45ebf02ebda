"""A laboratory before a night: a method of 40 lines, some hundred samples weighed, and one run of all of them."""

from datetime import date

from labresults.actions.batches import begin_batch
from labresults.actions.delivery import receive_samples
from labresults.actions.materials import register_lot, register_material
from labresults.actions.methods import add_method_version
from labresults.actions.runs import plan_run
from labresults.actions.weighings import Weighed, record_weighings
from labresults.models import MethodVersion, Sample, TestPortion
from labresults.readers.delivery import DeliveredSample
from labresults.terms import BlankRule, Curve, MaterialKind, Measure, Reach, Role, SolutionKind, Weighting
from tests.builders import CRITERIA, NOW, Laboratory

ELEMENTS = (
    "Ag", "Al", "As", "Au", "B", "Ba", "Be", "Bi", "Ca", "Cd", "Ce", "Co", "Cr", "Cu", "Fe", "Ga", "K", "La", "Li",
    "Mg", "Mn", "Mo", "Na", "Ni", "P",
)  # fmt: skip
"""Fifteen of them at two lines."""

LINES = tuple(f"{element} {300 + place}.{1}00" for place, element in enumerate(ELEMENTS)) + tuple(
    f"{element} {400 + place}.{2}00" for place, element in enumerate(ELEMENTS[:15])
)
LEVELS = {"STD-0": 0.0, "STD-1": 0.05, "STD-2": 1.0, "STD-3": 10.0}

BATCH, DELIVERY = 100, 2_000


def a_night(lab: Laboratory, positions: int) -> MethodVersion:
    """The method, with one planned run of nearly so many positions."""
    _lots_of_every_element(lab)
    version = _method(lab)
    # Five standards and checks at the start; a check for ten solutions; three control samples a batch.
    samples = max(10, int((positions - 6) / 1.1 / 1.03))
    for first in range(0, samples, DELIVERY):
        receive_samples(
            by=lab.people["reception"],
            at=lab.later(),
            client=lab.client,
            rows=[
                DeliveredSample(row, f"NRD0{first + row}", "soil", "30")
                for row in range(1, min(DELIVERY, samples - first) + 1)
            ],
            methods=[version.method],
        )
    every = list(Sample.objects.order_by("pk"))
    for first in range(0, len(every), BATCH):
        _weighed(lab, version, every[first : first + BATCH])
    plan_run(
        by=lab.people["analyst"],
        at=lab.later(),
        reason="the whole night",
        method_version=version,
        portions=list(TestPortion.objects.order_by("batch_id", "tube")),
        instrument=lab.spectrometer,
    )
    return version


def _weighed(lab: Laboratory, version: MethodVersion, samples: list[Sample]) -> None:
    batch = begin_batch(
        by=lab.people["preparer"], at=lab.later(), method_version=version, samples=samples, caution_read=True
    )
    record_weighings(
        by=lab.people["preparer"],
        at=lab.later(),
        batch=batch,
        balance=lab.balance,
        rows=[
            Weighed(p.label, mass_g=None if p.role == Role.METHOD_BLANK else 0.5, volume_mL=50.0)
            for p in batch.portions.order_by("tube")
        ],
    )


def _lots_of_every_element(lab: Laboratory) -> None:
    """Solutions and a reference material that hold every element; they are newer than the builders' own lots."""
    quality = lab.people["quality manager"]
    for code, level in {**LEVELS, "CHECK": 5.0}.items():
        material = register_material(
            by=quality, at=NOW, code=f"N-{code}", name=f"{code} of the night", kind=MaterialKind.STANDARD
        )
        register_lot(
            by=quality, at=NOW, number=f"N-{code}", material=material, received_on=date(2026, 1, 5),
            expires_on=date(2027, 1, 5),
            contents=[{"element": element, "value": level, "unit": "mg/L"} for element in ELEMENTS],
        )  # fmt: skip
    material = register_material(
        by=quality, at=NOW, code="N-REF", name="reference of the night", kind=MaterialKind.REFERENCE_MATERIAL
    )
    register_lot(
        by=quality, at=NOW, number="N-REF", material=material, received_on=date(2026, 1, 5),
        expires_on=date(2027, 1, 5),
        contents=[
            {"element": element, "value": 120.0, "unit": "mg/kg", "u": 2.0, "dissolution": "aqua regia"}
            for element in ELEMENTS
        ],
    )  # fmt: skip


def _method(lab: Laboratory) -> MethodVersion:
    version = {
        "what_was_done": "0.5 g in aqua regia, to 50 mL; plasma emission",
        "dissolution": "aqua regia",
        "solution_kind": SolutionKind.MASS_IN_VOLUME,
        "solution_unit": "mg/L",
        "blank_rule": BlankRule.JUDGE,
        "batch_size": BATCH,
        "mass_low_g": 0.45,
        "mass_high_g": 0.55,
        "volume_mL": 50.0,
        "dilution_steps": [2, 5, 10, 20, 50],
        "lines_agree_percent": 20.0,
        "weights_edition": "CIAAW 2024",
        "uncertainty_basis": "from control samples and certified values",
    }
    spread = {
        "role": Role.SAMPLE, "measure": Measure.SPREAD, "low": None, "high": 5.0, "reach": Reach.SAMPLE,
        "least_times": 10.0, "remedy": "Read it again.", "source": "common practice, no source",
    }  # fmt: skip
    return add_method_version(
        by=lab.people["quality manager"],
        at=NOW,
        code="NIGHT",
        title="Forty lines",
        area="geochemistry",
        valid_from=date(2026, 1, 1),
        version=version,
        matrices=["rock", "soil"],
        lines=[_line(key) for key in LINES],
        determinations=[{"element": element, "unit": "mg/kg"} for element in ELEMENTS],
        criteria=[*CRITERIA, spread],
        standards=[f"N-{code}" for code in LEVELS],
        controls=[
            {"role": Role.INITIAL_VERIFICATION, "material": "N-CHECK", "at_start": True},
            {"role": Role.CONTINUING_VERIFICATION, "material": "N-CHECK", "every": 10, "at_end": True},
            {"role": Role.METHOD_BLANK, "in_batch": True},
            {"role": Role.REFERENCE_MATERIAL, "material": "N-REF", "in_batch": True},
            {"role": Role.DUPLICATE, "in_batch": True},
        ],
    )


def _line(key: str) -> dict[str, object]:
    element, label = key.split(" ")
    return {
        "element": element,
        "label": label,
        "rank": 1 if label < "400" else 2,
        "curve": Curve.LINE,
        "weighting": Weighting.INVERSE_X2,
        "range_top": 10.0,
        "detection_limit": 0.01,
        "quantification_limit": 0.05,
        "u_floor": 0.003,
        "u_relative": 0.02,
    }
