"""What a certificate is composed from: approved results and everything that must stand beside them. Values only."""

from dataclasses import dataclass

from labresults.calculation.derived import Derived
from labresults.calculation.derived_terms import Definition
from labresults.terms import Basis, DecisionRule, LimitSide, Mark, NotMeasured
from reports.document import OpinionNote, SamplingNote


@dataclass(frozen=True)
class SampleFact:
    """One sample as delivered."""

    number: str
    client_identification: str
    matrix: str
    condition: str
    limit_set: str = ""  # which of the limits its results are compared with
    submission: str = ""  # its own, where the certificate is of several


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
    coverage_factor: float = 2.0  # k of expanded_u
    is_outside_scope: bool = False  # of accreditation, where other results of the certificate are within it


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
    """A limit that results of an element, or of a definition, are compared with, in samples of the same limit set.

    It is on the element, whatever form the result is printed in. decision_rule: None leaves it to the reporting rules.
    derived: the code of a derived result, and then there is no element; heading: what that is called on paper.
    """

    element: str
    value: float
    unit: str
    source: str
    basis: Basis = Basis.AS_RECEIVED
    limit_set: str = ""
    side: LimitSide = LimitSide.AT_MOST
    decision_rule: DecisionRule | None = None
    risk_percent: float | None = None
    derived: str = ""
    heading: str = ""

    @property
    def named(self) -> str:
        """What it is a limit of, as printed."""
        return self.element or self.heading or self.derived


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
class DerivedFact:
    """A derived result of a sample (by number) or of a set of samples (by name), unrounded."""

    definition: Definition
    found: Derived
    sample: str = ""
    sample_set: str = ""
    members: str = ""  # of the set, in words
    mass_kg: float = 0.0
    remarks: tuple[str, ...] = ()  # of what it was computed from
    limit_set: str = ""  # which of the limits it is compared with


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
    submissions: tuple[str, ...] = ()  # numbers, where the certificate is of several
    sampling_notes: tuple[SamplingNote, ...] = ()  # where the laboratory took the samples itself
    opinions: tuple[OpinionNote, ...] = ()
    accreditation: str = ""
    client_said: tuple[str, ...] = ()  # kinds of data that the client gave: "own identifications", "dates of sampling"
    derived: tuple[DerivedFact, ...] = ()  # sample by sample, then set by set
