"""The report of a run: how one loading of the instrument went. Everything is a string already, as it will be printed.

It is no certificate, and holds nothing of a client: laboratory numbers only.
"""

from dataclasses import dataclass

from reports.paper import Notice

NO_CERTIFICATE = (
    "This is a report of a run, not a certificate of analysis: it reports no result to a client. It says how one"
    " loading of the instrument was calibrated, checked and evaluated. Samples stand in it by the laboratory’s own"
    " numbers only."
)
NOT_RECOMPUTED = "Calibrated by the instrument, not recomputed: no curve is fitted by this laboratory’s program."


@dataclass(frozen=True)
class Picture:
    """A drawing as SVG text, styled by class names, with its finding in words."""

    finding: str
    drawing: str


@dataclass(frozen=True)
class FileLine:
    """A file of readings. `applied`: what is in its numbers already."""

    name: str
    sha256: str
    size: str
    layout: str
    applied: str
    came: str


@dataclass(frozen=True)
class CurveLine:
    """A curve with what it is worth; every figure empty where it cannot be said."""

    line: str
    block: str
    fitted: str
    correlation: str
    standard_error: str
    lowest_error: str
    lack_of_fit: str
    working_range: str
    note: str


@dataclass(frozen=True)
class JudgedLine:
    """How control samples of one criterion did at one line, or at all lines where none is outside together: how many,
    from where to where, how many outside."""

    control: str
    line: str
    judged: str
    found: str
    allowed: str
    outside: str
    source: str


@dataclass(frozen=True)
class FailureLine:
    """A control sample that failed at a line. `accepted`: by whom and why; empty where nobody did."""

    position: str
    control: str
    line: str
    found: str
    allowed: str
    touches: str
    accepted: str


@dataclass(frozen=True)
class RepeatLine:
    """Test solutions to be measured again for one reason, and what became of that."""

    label: str
    position: str
    cause: str
    how: str
    why: str
    state: str


@dataclass(frozen=True)
class PositionLine:
    """One position, or neighbours with samples: where it stood on the tray, and what it held."""

    number: str
    place: str
    label: str
    what: str
    dilution: str
    is_control: bool


@dataclass(frozen=True)
class RunReport:
    """A whole report. unit: of the solutions; `blocks`: whether more than one calibration stands in the run."""

    laboratory: str
    number: str
    title: str
    method: str
    printed: str  # when, and by whom
    facts: tuple[Notice, ...]
    answers: tuple[Notice, ...]
    unit: str
    files: tuple[FileLine, ...]
    curves: tuple[CurveLine, ...]
    smalls: tuple[Picture, ...]
    pictures: tuple[Picture, ...]
    judged: tuple[JudgedLine, ...]
    failures: tuple[FailureLine, ...]
    failure_count: int
    left_out: tuple[str, ...]
    repeats: tuple[RepeatLine, ...]
    repeat_count: int
    positions: tuple[PositionLine, ...]
    blocks: bool = False
