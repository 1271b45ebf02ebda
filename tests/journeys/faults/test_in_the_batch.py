"""What goes wrong in tubes: with samples, their dilutions, and the control samples that stand beside them."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from labresults.models import Layout
from labresults.readers.layout import Applied
from labresults.terms import Basis
from tests.builders import Laboratory
from tests.journeys.faults.instrument import BACKGROUND, SENSITIVITY, Signals
from tests.journeys.faults.laboratory import CU, FE, LAYOUT, PB, Y, a_layout
from tests.journeys.faults.night import Caught, Fault, caught
from tests.journeys.faults.planting import exchanged, holding, refilled, times

BLANK, REFERENCE, DUPLICATE, SPIKE = "B26-0001 MB1", "B26-0001 RM2", "KF26-00006 D", "KF26-00001 S"

SAMPLES = [
    Fault(
        "a sample above the range", Caught.RUN, "Again, over range: .* Dilute .*× 5", "KF26-00005",
        tubes=holding("KF26-00005", Cu=26.0), approves=True,
    ),
    Fault(
        "a rich sample that was not diluted as planned", Caught.RUN, "reads 26 mg/L, above the working range",
        "KF26-00005", CU, dilutions={"KF26-00005": 5.0}, tubes=holding("KF26-00005", Cu=26.0), approves=True,
    ),
    Fault(
        "a dilution that was written down and not made", Caught.RUN, "2100 and 210 mg/kg: 163.6 %", DUPLICATE, CU,
        weighed={"KF26-00006": {"dilution": "x 10"}},
    ),
    Fault(
        "a sample diluted far below what can be told", Caught.RUN,
        "Again, diluted below the quantification limit: .* undiluted", "KF26-00003", dilutions={"KF26-00003": 20.0},
        approves=True,
    ),
    Fault(
        "iron above the range of its line", Caught.RUN,
        "Fe 259.940 interferes at Pb 220.353 and is over range: the correction is not valid", "KF26-00002", PB,
        tubes=holding("KF26-00002", Fe=140.0),
    ),
    Fault(
        "no line of the element that interferes, and planned all the same", Caught.RUN,
        "Fe interferes at Pb 220.353 and was not measured in this run. Read a line of Fe", "KF26-00001", PB,
        lines={FE: None}, reason="lead is wanted today",
    ),
    Fault(
        "no moisture for the dry basis", Caught.RUN, "the loss on drying that leads there is not known", "KF26-00001",
        CU, basis=Basis.DRY,
    ),
    Fault(
        "no moisture for the dry basis, at the signature", Caught.REVIEW, "Cu in KF26-00001 has no value: .* dry basis",
        basis=Basis.DRY,
    ),
    Fault(
        "a matrix that takes from the signal", Caught.RUN, "added 1 mg/L, recovered: ", "KF26-00006 PDS", CU,
        tubes=times(0.8, "KF26-00006 PDS"),
    ),
    Fault(
        "a matrix that goes when it is diluted", Caught.RUN, "diluted 5 times .*: 3", "KF26-00006 SD", CU,
        tubes=times(0.75, "KF26-00006", DUPLICATE, "KF26-00006 PDS"),
    ),
]  # fmt: skip

CONTROLS = [
    Fault(
        "copper in the method blank", Caught.RUN, "found 0.08 mg/L, quantification limit 0.05 mg/L", BLANK, CU,
        tubes=holding(BLANK, Cu=0.08),
    ),
    Fault(
        "a method blank below nothing", Caught.RUN, "found -0.09 mg/L, quantification limit 0.05 mg/L", BLANK, CU,
        tubes=holding(BLANK, Cu=-0.09),
    ),
    Fault(
        "something in the rinse before a blank check", Caught.RUN, "found 0.09 mg/L, quantification limit 0.05 mg/L",
        "CCB 2", CU, tubes=holding("CCB 2", Cu=0.09),
    ),
    Fault("a spike that was forgotten", Caught.RUN, "added 100 mg/kg, recovered: 0 %", SPIKE, CU,
          tubes=refilled(SPIKE, "KF26-00001")),
    Fault("a spike that was added twice", Caught.RUN, "added 100 mg/kg, recovered: 200 %", SPIKE, CU,
          tubes=holding(SPIKE, Cu=3.1, Pb=2.5)),
    Fault("a duplicate of another sample", Caught.RUN, "210 and 75 mg/kg: 94.74 %", DUPLICATE, CU,
          tubes=refilled(DUPLICATE, "KF26-00003")),
    Fault("another reference material than the label says", Caught.RUN, "found 90 mg/kg of 150 mg/kg: 60 %", REFERENCE,
          CU, tubes=holding(REFERENCE, Cu=0.9, Pb=1.1)),
    Fault("a sample in the tube of the reference material", Caught.RUN, "found 260 mg/kg of 150 mg/kg", REFERENCE, CU,
          tubes=exchanged(REFERENCE, "KF26-00002")),
    Fault("two samples exchanged, of which one has a duplicate", Caught.RUN, "110 and 210 mg/kg", DUPLICATE, CU,
          tubes=exchanged("KF26-00001", "KF26-00006")),
]  # fmt: skip


@pytest.mark.parametrize("fault", [*SAMPLES, *CONTROLS], ids=str)
def test_a_fault_in_the_tubes_is_named_on_the_page_of_the_run_and_not_signed(lab: Laboratory, fault: Fault) -> None:
    caught(lab, fault)


# ---------------------------------------------------------------- concentrations that the instrument computed itself

WITHOUT_CURVES = {"method": {"internal_standard": None}, "lines": {Y: None}}


def concentrations(times_: float = 1.0, undiluted: bool = False) -> Callable[[Signals], Signals]:
    """The instrument writes mg/L of its own, or so many times as much; undiluted: as it was before it was diluted."""

    def hook(signals: Signals) -> Signals:
        found: Signals = {}
        for (label, line), replicates in signals.items():
            factor = times_ * (5.0 if undiluted and label.endswith(" SD") else 1.0) / SENSITIVITY[line]
            found[label, line] = [factor * (float(replicate) - BACKGROUND) for replicate in replicates]
        return found

    return hook


def of_concentrations(*applied: Applied) -> Callable[[Laboratory], Layout]:
    def layout(lab: Laboratory) -> Layout:
        named = replace(LAYOUT, name="concentrations", unit="mg/L", applied=frozenset({Applied.CALIBRATION, *applied}))
        return a_layout(lab, named)

    return layout


COMPUTED = [
    Fault(
        "µg/L taken for mg/L", Caught.RUN, "found 4000 mg/L of 4 mg/L", "ICV 1", CU, layout=of_concentrations(),
        signals=concentrations(1000.0), **WITHOUT_CURVES,
    ),
    Fault(
        "a dilution that is in the numbers already", Caught.EVALUATION,
        "dilution is in the readings already; the method would apply it again",
        layout=of_concentrations(Applied.DILUTION), signals=concentrations(undiluted=True), **WITHOUT_CURVES,
    ),
    Fault(
        "a dilution that is in the numbers already, and the layout does not say so", Caught.RUN,
        "diluted 5 times .*: 400 %", "KF26-00006 SD", CU, layout=of_concentrations(),
        signals=concentrations(undiluted=True), **WITHOUT_CURVES,
    ),
]  # fmt: skip


@pytest.mark.parametrize("fault", COMPUTED, ids=str)
def test_a_fault_in_concentrations_that_the_instrument_computed_is_seen(lab: Laboratory, fault: Fault) -> None:
    caught(lab, fault)
