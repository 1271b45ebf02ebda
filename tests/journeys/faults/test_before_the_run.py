"""What goes wrong before the instrument is lit: at the bench, with lots and equipment, in the run list."""

from collections.abc import Callable, Sequence

import pytest

from labresults.actions.materials import record_equipment_check
from labresults.terms import MaterialKind
from tests.builders import NOW, Laboratory
from tests.journeys.faults.laboratory import FE, SOLUTIONS, a_lot, a_material
from tests.journeys.faults.night import Caught, Fault, caught

Order = Callable[[dict[str, str]], Sequence[str]]


def without(*labels: str) -> Order:
    """The run list lacks these places."""
    return lambda keys: [key for label, key in keys.items() if label not in labels]


def with_again(label: str) -> Order:
    """A solution stands a second time at the end of the list."""
    return lambda keys: [*keys.values(), keys[label]]


def from_one_bottle(lab: Laboratory) -> None:
    """The highest standard and the verification were made from the same stock."""
    a_material(lab, "N-STOCK", MaterialKind.STANDARD)
    stock = a_lot(lab, "N-STOCK", {"Cu": 1000.0, "Pb": 1000.0, "Fe": 10_000.0})
    for code in ("N-STD-4", "N-ICV"):
        a_lot(lab, code, SOLUTIONS[code], made_from=stock)


def failed_its_calibration(lab: Laboratory) -> None:
    record_equipment_check(
        by=lab.people["quality manager"], at=NOW, equipment=lab.spectrometer, done_on=NOW.date(), due_on=NOW.date(),
        what="wavelength calibration", passed=False,
    )  # fmt: skip


BENCH = [
    Fault(
        "a mass typed ten times too large",
        Caught.BENCH,
        "row 3, column mass_g: 5.0 g lies outside 0.45 to 0.55 g. Weigh again",
        weighed={"KF26-00001": {"mass_g": 5.0}},
    ),
    Fault(
        "a flask of another volume",
        Caught.BENCH,
        "row 6, column volume_mL: 100 mL is not the 50 mL that the method makes up to. Correct it, or keep it with",
        weighed={"KF26-00004": {"volume_mL": 100.0}},
    ),
    Fault(
        "a dilution written so that it can mean two things",
        Caught.BENCH,
        "1:10",
        weighed={"KF26-00003": {"dilution": "1:10"}},
    ),
    Fault(
        "a mass that nobody wrote down",
        Caught.BENCH,
        "KF26-00002 has none. Give it",
        weighed={"KF26-00002": {"mass_g": None}},
    ),
]

PLAN = [
    Fault("an expired standard", Caught.PLAN, "No lot of N-STD-2 is valid on 2026-11-16", expired=["N-STD-2"]),
    Fault(
        "a verification from the bottle that the standards come from",
        Caught.PLAN,
        r"Position 9: ICV 1 .* and the standards come from one lot, L-N-STOCK-1. .* needs a second source",
        lots=from_one_bottle,
    ),
    Fault(
        "an instrument that failed its calibration",
        Caught.PLAN,
        "P1 is overdue for calibration, or failed it",
        lots=failed_its_calibration,
    ),
    Fault("a standard left out", Caught.PLAN, "calibration block 1 lacks STD 2", order=without("STD 2")),
    Fault(
        "a method blank left on the bench",
        Caught.PLAN,
        "not in the run list: B26-0001 MB1",
        order=without("B26-0001 MB1"),
    ),
    Fault(
        "nothing that checks the last samples",
        Caught.PLAN,
        "no continuing calibration verification .*stands after the last test solution",
        order=without("CCV 2", "CCB 3"),
    ),
    Fault(
        "one cup filled twice",
        Caught.PLAN,
        "Position 29: KF26-00003 stands at position 17 already",
        order=with_again("KF26-00003"),
    ),
    Fault(
        "no line of the element that interferes",
        Caught.PLAN,
        "Pb 220.353 is corrected for Fe, and the method has no line of Fe",
        lines={FE: None},
    ),
]


@pytest.mark.parametrize("fault", [*BENCH, *PLAN], ids=str)
def test_a_fault_before_the_run_is_caught_before_it(lab: Laboratory, fault: Fault) -> None:
    caught(lab, fault)
