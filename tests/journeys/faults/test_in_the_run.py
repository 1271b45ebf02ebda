"""What goes wrong with standards and plasma: the run's page names it, and nobody signs what stands on it.

Where a fault is at one of copper's lines the other one stands in its place: what is signed then is right.
"""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from labresults.terms import DriftRule, Measure
from tests.builders import Laboratory
from tests.journeys.faults.instrument import CONTENTS, Tubes
from tests.journeys.faults.laboratory import CU, CU_2, FE, PB, STANDARDS, Y, a_lot
from tests.journeys.faults.night import NO_FAULT, Caught, Fault, a_night, caught
from tests.journeys.faults.planting import (
    dead_from,
    exchanged,
    fading,
    holding,
    lines_exchanged,
    reading,
    times,
)


def in_micrograms(lab: Laboratory) -> None:
    """Whoever registered the standards took mg/L for µg/L."""
    for code, contents in STANDARDS.items():
        a_lot(lab, code, contents, unit="ug/L")


def carried_over(tubes: Tubes) -> Tubes:
    """2 % of a rich sample is still in the tubing when the next one comes."""
    rich = holding("KF26-00002", Cu=9.5)(tubes)
    return holding("KF26-00003", Cu=rich["KF26-00003"]["Cu"] + 0.02 * 9.5)(rich)


BY_TIME = {"drift_rule": DriftRule.BY_TIME, "drift_limit_percent": 10.0}


def set_back(text: str, since: int = 20) -> str:
    """From a position on the instrument's clock is an hour behind."""
    rows = [row.split(",") for row in text.rstrip().split("\n")]
    for row in rows:
        if row[0].isdecimal() and int(row[0]) >= since:
            row[2] = (datetime.fromisoformat(row[2]) - timedelta(hours=1)).isoformat(" ")
    return "\n".join(",".join(row) for row in rows)


CURVE = [
    Fault(
        "an empty cup in place of a standard", Caught.RUN, "correlation coefficient: 0.8", "STD 4", CU,
        tubes=holding("STD 2", Cu=0.0, Pb=0.0),
    ),
    Fault(
        "two standards in each other's cups", Caught.RUN, "of 1 mg/L, read-back error: 1", "STD 2", PB,
        tubes=exchanged("STD 2", "STD 3"),
    ),
    Fault(
        "one standard made up too strong", Caught.RUN, "of 10 mg/L, read-back error: 1", "STD 6", FE,
        tubes=times(1.3, "STD 6"),
    ),
    Fault(
        "all standards from a stock that is too weak", Caught.RUN, "found 4.706 mg/L of 4 mg/L: 117.6 %", "ICV 1", CU,
        tubes=times(0.85, *(f"STD {n}" for n in range(1, 8))),
    ),
    Fault(
        "standards registered in the wrong unit", Caught.RUN, "found 0.004 mg/L of 4 mg/L: 0.1 %", "ICV 1", CU,
        lots=in_micrograms,
    ),
    Fault(
        "copper in the calibration blank", Caught.RUN, "of 0.05 mg/L: -", "LLC 1", CU, tubes=holding("STD 0", Cu=0.2)
    ),
    Fault(
        "a second source that is older than its label says", Caught.RUN, "found 3.4 mg/L of 4 mg/L: 85 %", "ICV 1", CU,
        tubes=times(0.85, "ICV 1"),
    ),
    Fault(
        "two lines under each other's names", Caught.RUN, "relative standard error: 1942 %", "STD 4", PB,
        signals=lines_exchanged(PB, FE),
    ),
    Fault(
        "a point left out, by which the range shrinks", Caught.RUN,
        r"[Pp]osition 5 \(10 mg/L\) was left out: the working range ends at 5 mg/L", line=CU,
        left_out=[("STD 4", CU)], tubes=holding("KF26-00005", Cu=7.0), approves=True,
    ),
]  # fmt: skip

PLASMA = [
    Fault(
        "a plasma that drifts at every line", Caught.RUN, "found 4.* mg/L of 5 mg/L: 8", "CCV 2", CU,
        signals=fading(0.8, CU, CU_2, PB, FE),
    ),
    Fault(
        "a plasma that drifts at one line", Caught.RUN, "found 4.* mg/L of 5 mg/L: 8", "CCV 2", CU,
        signals=fading(0.8, CU), approves=True,
    ),
    Fault(
        "a plasma that goes out in the night", Caught.RUN, "of the mean of the calibration solutions: 0", "CCV 1", Y,
        signals=dead_from("KF26-00003"),
    ),
    Fault(
        "an internal standard whose bottle ran empty", Caught.RUN, "Internal standard Y 371.029", "KF26-00005", Y,
        signals=dead_from("KF26-00004", Y),
    ),
    Fault(
        "an internal standard that is not pumped at all", Caught.RUN, "Y 371.029 cannot be told from noise",
        "KF26-00001", Y, signals=dead_from("STD 0", Y),
    ),
    Fault(
        "half of the internal standard in one tube", Caught.RUN, "calibration solutions: 50", "KF26-00003", Y,
        tubes=holding("KF26-00003", Y=0.5),
    ),
    Fault(
        "a detector that is saturated", Caught.RUN, "Again, saturated: .* there is no number to compute a factor",
        "KF26-00004", signals=reading("KF26-00004", FE, "saturated", "saturated", "saturated"),
    ),
    Fault(
        "a bubble in the pump", Caught.RUN, "of 3 replicates .*, spread: 23", "KF26-00002", FE,
        signals=reading("KF26-00002", FE, 6700.0, 10510.0, 10530.0),
    ),
    Fault(
        "a low position after a very high one", Caught.RUN, "just after position 16.* 9.5 mg/L", "KF26-00003", CU,
        tubes=carried_over, approves=True,
    ),
    Fault(
        "a line that something else overlaps", Caught.RUN, "differ by 36.* %, allowed 10 %", "KF26-00003",
        signals=reading("KF26-00003", CU_2, 1200.0, 1201.0, 1202.0), approves=True,
    ),
    Fault(
        "a clock that was set back in the night", Caught.RUN, "the time of position 2. .* not known or out of order",
        "KF26-00004", CU, method=BY_TIME, text=set_back,
    ),
]  # fmt: skip


@pytest.mark.parametrize("fault", [*CURVE, *PLASMA], ids=str)
def test_a_fault_in_the_run_is_named_on_its_page_and_not_signed(lab: Laboratory, fault: Fault) -> None:
    caught(lab, fault)


def test_what_the_internal_standard_takes_out_is_no_fault(lab: Laboratory) -> None:
    """A plasma that fades at all lines alike takes yttrium with it: the ratios stay, and the contents are true."""
    night = a_night(lab, replace(NO_FAULT, signals=fading(0.8, CU, CU_2, PB, FE, Y)))
    assert not night.findings, night.findings
    assert night.values("Cu") == pytest.approx(true("Cu"), rel=1e-5)


@pytest.mark.parametrize("rule", [DriftRule.BY_POSITION, DriftRule.BY_TIME])
def test_a_drift_within_its_limit_is_corrected(lab: Laboratory, rule: DriftRule) -> None:
    # given a line that loses 6 % from the first check to the last, evenly
    fault = replace(
        NO_FAULT, method={"drift_rule": rule, "drift_limit_percent": 10.0}, signals=fading(0.94, FE, first="ICV 1")
    )
    # then the checks show it as it was read, and the contents are true
    night = a_night(lab, fault)
    assert not night.findings, night.findings
    assert night.evaluation is not None
    last = night.evaluation.outcomes.get(position__label="CCV 2", line__element="Fe", measure=Measure.RECOVERY)
    assert last.observed == pytest.approx(94.3, abs=0.1)
    assert night.values("Fe") == pytest.approx(true("Fe"), rel=1e-4)


def test_without_its_rule_the_same_drift_stays_within_the_checks_and_in_the_results(lab: Laboratory) -> None:
    """Not seen: every check holds. Control charts of the checks would show it, and the drift rule takes it out."""
    night = a_night(lab, replace(NO_FAULT, signals=fading(0.94, FE, first="ICV 1")))
    assert not night.findings, night.findings
    assert night.values("Fe")["KF26-00006"] == pytest.approx(0.957 * CONTENTS["KF26-00006"]["Fe"], rel=0.01)


def true(element: str) -> dict[str, float]:
    return {label: content[element] for label, content in CONTENTS.items()}
