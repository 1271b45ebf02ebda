"""A laboratory before a night: a method of 40 lines, some hundred samples weighed, and one run of all of them."""

from datetime import date

from labresults.actions.delivery import receive_samples
from labresults.actions.methods import add_method_version
from labresults.actions.runs import plan_run
from labresults.models import MethodVersion, Sample, TestPortion
from labresults.readers.delivery import DeliveredSample
from labresults.terms import MaterialKind, Measure, Reach, Role
from tests.builders import AQUA_REGIA, CRITERIA, NOW, Laboratory, a_batch, a_line, a_lot_of

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
        a_batch(lab, version, every[first : first + BATCH])
    plan_run(
        by=lab.people["analyst"],
        at=lab.later(),
        reason="the whole night",
        method_version=version,
        portions=list(TestPortion.objects.order_by("batch_id", "tube")),
        instrument=lab.spectrometer,
    )
    return version


def _lots_of_every_element(lab: Laboratory) -> None:
    """Solutions and a reference material that hold every element; they are newer than the builders' own lots."""
    quality = lab.people["quality manager"]
    for code, level in {**LEVELS, "CHECK": 5.0}.items():
        held = [{"element": element, "value": level, "unit": "mg/L"} for element in ELEMENTS]
        a_lot_of(quality, f"N-{code}", f"N-{code}", MaterialKind.STANDARD, held)
    certified = [
        {"element": element, "value": 120.0, "unit": "mg/kg", "u": 2.0, "dissolution": "aqua regia"}
        for element in ELEMENTS
    ]
    a_lot_of(quality, "N-REF", "N-REF", MaterialKind.REFERENCE_MATERIAL, certified)


def _method(lab: Laboratory) -> MethodVersion:
    version = AQUA_REGIA | {"batch_size": BATCH, "lines_agree_percent": 20.0}
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
    return a_line(element, label) | {"rank": 1 if label < "400" else 2}
