"""The way back of one number on paper, for an auditor. Everything is a string already, as it will be printed."""

from dataclasses import dataclass

from reports.paper import Notice
from reports.run_report import Picture

SAME = "Computed again for this paper from the stored readings: the same, bit for bit."
SAME_FROM_INPUTS = "Computed again for this paper from the results that it was computed from: the same, bit for bit."
NOT_SAME = "Computed again for this paper it gives another value than is stored. Tell the quality manager."


@dataclass(frozen=True)
class RuleLine:
    """One step from the value to the printed string."""

    name: str
    words: str
    gives: str


@dataclass(frozen=True)
class SumLine:
    """One step of the arithmetic; record: what its numbers come from; audit: numbers of the events of that."""

    what: str
    note: str
    numerator: str
    denominator: str
    gives: str
    record: str
    audit: str


@dataclass(frozen=True)
class StandardLine:
    """One standard of the curve; used: whether the curve was fitted with it."""

    standard: str
    lot: str
    made: str
    replicates: str
    read: str
    read_back: str
    residual: str
    used: bool


@dataclass(frozen=True)
class ControlLine:
    """A control sample that speaks for the number."""

    position: str
    what: str
    found: str
    allowed: str
    verdict: str


@dataclass(frozen=True)
class ShareLine:
    """One source of the uncertainty."""

    source: str
    u: str
    percent: str


@dataclass(frozen=True)
class RecordLine:
    """A record that the number stands on, with what it says; audit: numbers of its events."""

    what: str
    name: str
    says: str
    audit: str


@dataclass(frozen=True)
class EventLine:
    """An audit event, with the SHA-256 by which the chain holds it."""

    number: str
    when: str
    who: str
    what: str
    sha256: str


@dataclass(frozen=True)
class InputLine:
    """A result that a number was computed from. limits: of detection and of quantification; printed: "" where not."""

    what: str
    run: str
    value: str
    limits: str
    u: str
    printed: str


@dataclass(frozen=True)
class TraceReport:
    """A whole way back. unit: of the result, solution_unit: of the measured solution; inputs: of what is computed."""

    laboratory: str
    name: str  # "Cu in KF26-00001"
    title: str  # the question
    printed: str  # when, and by whom
    verdict: str  # whether the calculation done again gives the same
    facts: tuple[Notice, ...]
    lineage: Picture
    rules: tuple[RuleLine, ...]
    sums: tuple[SumLine, ...]
    standards: tuple[StandardLine, ...]
    calibration: Picture | None
    controls: tuple[ControlLine, ...]
    shares: tuple[ShareLine, ...]
    records: tuple[RecordLine, ...]
    events: tuple[EventLine, ...]
    remarks: tuple[Notice, ...]
    unit: str
    solution_unit: str
    inputs: tuple[InputLine, ...] = ()
