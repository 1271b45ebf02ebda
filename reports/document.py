"""The finished certificate: everything printed, rounded already, in order. A renderer sees nothing else."""

import json
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from typing import Any, get_args, get_type_hints

PREVIEW = "PREVIEW"
"""The number of a certificate that does not exist yet: the word lies across each of its pages."""


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
    rule_set: str = ""  # name and version of its reporting rules, where they are not those of the document
    derived: bool = False  # computed from results of other columns; explained in `derived_notes`


@dataclass(frozen=True)
class Cell:
    """One printed result. `printed` is the whole string ("<0.2", "4.12", ">100", or words).

    number: the decimal string behind a printed number, None for words; limit: the decimal string that follows < or >;
    decimals: figures after the point, for a spreadsheet format; mark: letter of the remark that explains it;
    result: database key of the result, for the way back; u: printed expanded uncertainty, "" where none is given;
    statement: of conformity, of this result alone, with its probability where the rule gives one.
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
    statement: str = ""


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
    submission: str = ""  # its own, where the certificate is of several


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
class SamplingNote:
    """How samples were taken, where the laboratory took them itself (ISO/IEC 17025:2017, 7.8.5)."""

    samples: str  # "all samples", or laboratory numbers
    sampled_by: str
    when: str
    place: str
    plan: str
    conditions: str = ""
    uncertainty: str = ""


@dataclass(frozen=True)
class OpinionNote:
    """An opinion or interpretation (ISO/IEC 17025:2017, 7.8.7): stands in a box of its own, marked as what it is."""

    samples: str  # "all samples", or laboratory numbers
    text: str
    basis: str
    name: str
    when: str


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


FRACTIONS = {True: "dissolved", False: "total"}
"""What a bottle of water tells of, by whether it was filtered in the field; of others nothing is said."""


def of_fraction(label: str, filtered: bool | None) -> str:
    """Return the label of a control sample with what it speaks for: "KF26-00012, dissolved"."""
    return label if filtered is None else f"{label}, {FRACTIONS[filtered]}"


def fraction_of(label: str) -> str:
    """Return what the control sample of this label speaks for, "" where nothing is said."""
    last = label.rpartition(", ")[2]
    return last if last in FRACTIONS.values() else ""


@dataclass(frozen=True)
class Change:
    """One change of an amendment: what, from what, to what, and why.

    sample: "" where it is of the whole certificate; column: key of a column, or what else changed, in words.
    """

    sample: str
    column: str
    old: str
    new: str
    reason: str = ""

    @property
    def in_words(self) -> bool:
        """Whether sentences changed and no printed number."""
        return max(len(self.old), len(self.new)) > _LONGEST_NUMBER


_LONGEST_NUMBER = 24
"""Characters: what is longer is text, and must wrap."""


@dataclass(frozen=True)
class DerivedNote:
    """A derived result as the certificate explains it, beside the methods."""

    column: str  # key of its column
    heading: str  # as its column's head: "SAR"
    name: str
    formula: str  # in words: "Na ÷ √((Ca + Mg) ÷ 2), each in mmol(c)/L"
    below: str  # a sentence: what a term below its detection limit counts as
    source: str
    remark: str = ""


@dataclass(frozen=True)
class Grade:
    """Means over a set of samples, weighted by mass: a row of a small table of its own below the results."""

    name: str
    samples: str  # numbers of the samples in words: "KF26-00001 to KF26-00005"
    mass: str  # printed, kg
    cells: tuple[Cell, ...]  # in the order of `CertificateDocument.grade_columns`


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
    sampling_notes: tuple[SamplingNote, ...] = ()  # 7.8.5
    opinions: tuple[OpinionNote, ...] = ()  # 7.8.7
    accreditation: str = ""  # one sentence for the head of the certificate; "" where no result is within the scope
    derived_notes: tuple[DerivedNote, ...] = ()
    grade_columns: tuple[Column, ...] = ()
    grades: tuple[Grade, ...] = ()
    submissions: tuple[str, ...] = ()  # numbers, where the certificate is of several
    is_supplement: bool = False  # it adds to the issue before, and changes nothing that was printed there
    verify_address: str = ""  # where anybody may ask whether it is genuine and still stands
    derivation: int = 1  # edition of the rules by which its derived results were computed

    def to_json(self) -> str:
        """Canonical text: sorted keys, no spaces, as hashed and frozen."""
        return json.dumps(self, default=vars, ensure_ascii=False, sort_keys=True, separators=(",", ":"))

    @classmethod
    def from_json(cls, text: str) -> "CertificateDocument":
        """Read `to_json` back; the same object, field by field."""
        document: CertificateDocument = _build(cls, json.loads(text))
        return document

    @classmethod
    def part_from_json(cls, text: str, first: int, most: int) -> tuple["CertificateDocument", int, int]:
        """The same with only the rows of one page of `most`, for showing: that which holds row `first` (from 1).

        With the place of its first row, and how many rows there are in all.
        """
        raw = json.loads(text)
        count = len(raw["rows"])
        start = (min(max(first, 1), max(count, 1)) - 1) // most * most
        document: CertificateDocument = _build(cls, raw | {"rows": raw["rows"][start : start + most]})
        return document, start + 1, count


def _build(kind: Any, raw: Any) -> Any:
    """Rebuild a frozen dataclass, and the tuples of dataclasses inside it, from what JSON gives."""
    values = {}
    for name, inner in _fields(kind):
        if name not in raw:
            continue  # frozen before the field was thought of: its default is what it was then
        value = raw[name]
        if isinstance(value, list):
            value = tuple(_build(inner, item) for item in value) if inner else tuple(value)
        values[name] = value
    return kind(**values)


@cache
def _fields(kind: Any) -> tuple[tuple[str, Any], ...]:
    """Names of the fields of a dataclass, each with the dataclass that its tuple holds; asked of each cell, so kept."""
    hints = get_type_hints(kind)
    inner = {field.name: (*get_args(hints[field.name]), None)[0] for field in fields(kind)}
    return tuple((name, of if is_dataclass(of) else None) for name, of in inner.items())
