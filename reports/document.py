"""The finished certificate: everything printed, rounded already, in order. A renderer sees nothing else."""

import json
from dataclasses import asdict, dataclass, fields, is_dataclass
from typing import Any, get_args, get_type_hints


@dataclass(frozen=True)
class Column:
    """One analyte column. `formula` is what is reported ("Al2O3"); limits are printed strings."""

    key: str
    formula: str
    unit: str
    basis: str
    method: str  # short mark of its method, explained under Methods
    detection_limit: str
    quantification_limit: str


@dataclass(frozen=True)
class Cell:
    """One printed result. `printed` is the whole string ("<0.2", "4.12", ">100", or words).

    number: the decimal string behind a printed number, None for words; limit: the decimal string that follows < or >;
    decimals: figures after the point, for a spreadsheet format; mark: letter of the remark that explains it;
    result: database key of the result, for the way back; u: printed expanded uncertainty, "" where none is given.
    """

    column: str
    printed: str
    number: str | None
    sign: str  # "", "<" or ">"
    limit: str | None
    decimals: int
    mark: str
    u: str
    result: int | None
    changed: bool = False
    detection_limit: str = ""
    quantification_limit: str = ""


@dataclass(frozen=True)
class Row:
    """One sample."""

    number: str
    client_identification: str
    matrix: str
    condition: str
    cells: tuple[Cell, ...]
    conformity: str = ""
    conforms: bool | None = None


@dataclass(frozen=True)
class Remark:
    """What a letter beside a number means."""

    mark: str
    text: str


@dataclass(frozen=True)
class MethodNote:
    """A method as the certificate explains it."""

    mark: str
    code: str
    version: int
    what_was_done: str
    lines: str
    runs: tuple[str, ...]
    blank: str  # judged or subtracted, in words
    accredited: str  # a sentence, "" where nothing is to be said
    external: bool = False


@dataclass(frozen=True)
class ControlRow:
    """One control sample at one analyte, as printed in the appendix."""

    run: str
    kind: str
    label: str
    analyte: str
    unit: str
    expected: str
    found: str
    measure: str
    limits: str
    verdict: str
    accepted_because: str = ""  # a person's reason where a failed control was accepted by name


@dataclass(frozen=True)
class Change:
    """One change of an amendment: what, from what, to what."""

    sample: str
    column: str
    old: str
    new: str


@dataclass(frozen=True)
class Signature:
    """Who, what they did, and when, with its offset from UTC."""

    name: str
    meaning: str
    when: str


@dataclass(frozen=True)
class CertificateDocument:
    """A certificate of analysis, items of ISO/IEC 17025:2017 7.8.2.1 in brackets."""

    title: str  # a
    laboratory: str  # b
    address: tuple[str, ...]  # b
    place_of_work: str  # c
    number: str  # d
    issue: int
    client: str  # e
    client_address: tuple[str, ...]
    reference: str
    submission: str
    sampling: str  # k
    received: str  # h
    sampled: str  # h
    measured: str  # i
    issued: str  # j
    reported_on: str
    description: str  # g
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    remarks: tuple[Remark, ...]
    methods: tuple[MethodNote, ...]  # f
    controls: tuple[ControlRow, ...]
    rule_name: str
    rule_text: str
    uncertainty_text: str
    conformity_text: str
    departures: tuple[str, ...]  # n
    statements: tuple[str, ...]  # l and the others
    signatures: tuple[Signature, ...]  # o
    chain_head: str  # SHA-256 of the last audit event before this issue
    check_code: str  # asked for when a reader wants to know whether the certificate is genuine
    line_rule_nm: tuple[float, ...]  # the emission lines that were measured, for the drawing under the heading
    replaces: str = ""
    replaces_why: str = ""
    changes: tuple[Change, ...] = ()
    preliminary: bool = False
    conformity_head: str = ""  # what stands over the column of statements

    def to_json(self) -> str:
        """Canonical text: sorted keys, no spaces, as hashed and frozen."""
        return json.dumps(asdict(self), ensure_ascii=False, sort_keys=True, separators=(",", ":"))

    @classmethod
    def from_json(cls, text: str) -> "CertificateDocument":
        """Read `to_json` back; the same object, field by field."""
        document: CertificateDocument = _build(cls, json.loads(text))
        return document


def _build(kind: Any, raw: Any) -> Any:
    """Rebuild a frozen dataclass, and the tuples of dataclasses inside it, from what JSON gives."""
    hints = get_type_hints(kind)
    values = {}
    for field in fields(kind):
        value = raw[field.name]
        if isinstance(value, list):
            inner = get_args(hints[field.name])[0]
            value = tuple(_build(inner, item) if is_dataclass(inner) else item for item in value)
        values[field.name] = value
    return kind(**values)
