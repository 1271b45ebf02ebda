"""The instrument of the faulty nights, and what stands in its cups. Invented.

What truly happens is told apart from what is recorded: the instrument reads what stands in its cups, whatever the
records say of them.
"""

from collections.abc import Mapping, Sequence

from labresults.models import Position
from labresults.terms import Role
from tests.journeys.faults.laboratory import CU, CU_2, FE, IRON_AT_LEAD, PB, REFERENCE, SOLUTIONS, Y

CONTENTS = {
    "KF26-00001": {"Cu": 110.0, "Pb": 50.0, "Fe": 2500.0},
    "KF26-00002": {"Cu": 260.0, "Pb": 95.0, "Fe": 3500.0},
    "KF26-00003": {"Cu": 75.0, "Pb": 40.0, "Fe": 2000.0},
    "KF26-00004": {"Cu": 180.0, "Pb": 60.0, "Fe": 4000.0},
    "KF26-00005": {"Cu": 320.0, "Pb": 25.0, "Fe": 1500.0},
    "KF26-00006": {"Cu": 210.0, "Pb": 75.0, "Fe": 3000.0},
}
"""True contents of the samples, mg/kg."""

SENSITIVITY = {CU: 1800.0, CU_2: 1100.0, PB: 900.0, FE: 300.0, Y: 50_000.0}
"""Signal for each mg/L, counts/s. The pump adds as much yttrium as gives 1 here."""

BACKGROUND = 10.0
"""At every line, counts/s."""

MASS_G, VOLUME_ML = 0.5, 50.0

Tubes = dict[str, dict[str, float]]
"""What stands in the cup of each label: mg/L by element, and the share of the internal standard that reaches it."""

Signals = dict[tuple[str, str], list[float | str]]
"""The replicates at a label and line, counts/s, or a word of the instrument."""


def true_solutions(positions: Sequence[Position]) -> Tubes:
    """What truly stands in each cup of a run that was prepared and filled as it was planned."""
    return {position.label: {"Y": 1.0, **_holds(position)} for position in positions}


def _holds(position: Position) -> dict[str, float]:
    if position.portion is None:
        return dict(SOLUTIONS[position.lot.material.code]) if position.lot else {}
    content: Mapping[str, float] = {}
    if position.portion.role == Role.REFERENCE_MATERIAL:
        content = REFERENCE
    elif position.portion.role != Role.METHOD_BLANK:
        content = CONTENTS[position.label[:10]]
    held = {element: value * MASS_G / VOLUME_ML for element, value in content.items()}  # mg/kg × g / mL is mg/L
    if position.portion.role == Role.SPIKE:
        for element, value in SOLUTIONS["N-SPIKE"].items():
            held[element] += value * 1.0 / VOLUME_ML
    held = {element: value / position.dilution for element, value in held.items()}
    if position.added_lot and position.added_mL and position.made_up_mL:
        for element, value in SOLUTIONS[position.added_lot.material.code].items():
            held[element] += value * position.added_mL / position.made_up_mL
    return held


def read(tubes: Tubes, lines: Sequence[str]) -> Signals:
    """Three replicates a cup and line, without noise: a straight line, and iron that pretends lead."""
    found: Signals = {}
    for label, held in tubes.items():
        for line in lines:
            sees = held.get(line.split()[0], 0.0) + (IRON_AT_LEAD * held.get("Fe", 0.0) if line == PB else 0.0)
            signal = BACKGROUND + SENSITIVITY.get(line, 1000.0) * sees
            found[label, line] = [signal * 0.998, signal, signal * 1.002]
    return found
