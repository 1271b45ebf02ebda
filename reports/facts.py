"""What a certificate is composed from: approved results and everything that must stand beside them. Values only."""

from dataclasses import dataclass

from labresults.terms import Basis, Mark, NotMeasured


@dataclass(frozen=True)
class SampleFact:
    """One sample as delivered."""

    number: str
    client_identification: str
    matrix: str
    condition: str
    limit_set: str = ""  # which of the limits its results are compared with


@dataclass(frozen=True)
class ResultFact:
    """One approved result, unrounded; every quantity in `unit`. `not_measured` is a result in words instead."""

    result: int | None
    sample: str
    method: str  # code
    element: str
    reported_as: str
    unit: str
    basis: Basis
    value: float | None
    detection_limit: float
    quantification_limit: float
    reporting_limit: float | None
    upper_limit: float | None
    expanded_u: float | None
    marks: tuple[Mark, ...]
    why_no_value: str | None
    control_remarks: tuple[str, ...] = ()
    request_remarks: tuple[str, ...] = ()  # what was accepted when the request was reviewed, and times that had passed
    not_measured: NotMeasured | None = None


@dataclass(frozen=True)
class DeterminationFact:
    """What one method was asked to report, in the order of its columns; limits of a usual portion, in `unit`."""

    method: str
    element: str
    reported_as: str
    unit: str


@dataclass(frozen=True)
class MethodFact:
    """A method version as a certificate explains it."""

    code: str
    version: int
    what_was_done: str
    lines: str
    runs: tuple[str, ...]
    blank: str
    accredited: str
    external: bool
    uncertainty_basis: str
    coverage_factor: float
    wavelengths_nm: tuple[float, ...]


@dataclass(frozen=True)
class LimitFact:
    """An upper limit that the results of one element are compared with, in samples of the same limit set."""

    element: str
    value: float
    unit: str
    source: str
    basis: Basis = Basis.AS_RECEIVED
    limit_set: str = ""


@dataclass(frozen=True)
class ControlFact:
    """One control sample at one analyte; numbers in the unit of the measure unless said."""

    run: str
    kind: str
    label: str
    analyte: str
    unit: str
    expected: float | None
    observed: float | None
    measure: str
    low: float | None
    high: float | None
    verdict: str
    accepted_because: str


@dataclass(frozen=True)
class SignatureFact:
    """Who, what they did, and when, in words."""

    name: str
    meaning: str
    when: str


@dataclass(frozen=True)
class CertificateFacts:
    """Everything that `reports.compose.compose` needs. Dates are in words already, in the laboratory's time zone."""

    laboratory: str
    address: tuple[str, ...]
    place_of_work: str
    invented: bool
    number: str
    issue: int
    client: str
    client_address: tuple[str, ...]
    reference: str
    submission: str
    sampling: str
    received: str
    sampled: str
    measured: str
    issued: str
    condition: str
    basis: Basis
    samples: tuple[SampleFact, ...]
    determinations: tuple[DeterminationFact, ...]
    results: tuple[ResultFact, ...]
    methods: tuple[MethodFact, ...]
    controls: tuple[ControlFact, ...]
    limits: tuple[LimitFact, ...]
    departures: tuple[str, ...]
    signatures: tuple[SignatureFact, ...]
    chain_head: str
    check_code: str
    replaces: str = ""
    replaces_why: str = ""
    preliminary: bool = False
