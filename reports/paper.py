"""What is printed at the counter and at the bench. Everything is a string already, as it will stand on paper."""

from dataclasses import dataclass


@dataclass(frozen=True)
class ReceiptLine:
    """One sample as it was received. `delivered`: amount in the receipt's unit; `warns`: the note must be read."""

    number: str
    client_identification: str
    delivered: str
    noted: str
    warns: bool = False


@dataclass(frozen=True)
class Notice:
    """Something that the client must read: what it is about, and what follows."""

    about: str
    text: str


@dataclass(frozen=True)
class ReceiptDocument:
    """A receipt for one delivery. Pairs such as `due`, `due_words` are one large line and a small one below it."""

    laboratory: str
    address: tuple[str, ...]
    number: str  # of the submission
    printed: str  # day and time
    due: str
    due_words: str
    delivered: str
    delivered_words: str
    asked_for: str
    asked_for_words: str
    client: str
    reference: str
    received: str
    kept_until: str
    arrival: tuple[Notice, ...]  # seals, temperature, sampling: what was found or said when it came
    unit: str  # of what was delivered, g or mL
    lines: tuple[ReceiptLine, ...]
    otherwise: tuple[Notice, ...]  # rows for which something else is asked than above
    notices: tuple[Notice, ...]
    received_by: str
    received_when: str
    line_rule_nm: tuple[float, ...] = ()  # emission lines that will be measured, nm


@dataclass(frozen=True)
class Column:
    """A column of figures of a bench sheet: its heading, and the unit with what is allowed or usual below it."""

    heading: str
    below: str


@dataclass(frozen=True)
class BenchRow:
    """One tube. `figures`: one a column, empty where nothing is recorded; `code`: what a scanner reads of it.

    `is_outside`: the mass or the final volume is not as the method states it; `note`: why, what is recorded, what the
    sample may do.
    """

    tube: int
    label: str
    code: str
    what: str
    figures: tuple[str, ...]
    dilution: str
    note: str
    is_control: bool
    is_outside: bool


@dataclass(frozen=True)
class BenchSheet:
    """What lies beside the tubes of a batch: cautions on top, what is recorded, and room to write the rest."""

    laboratory: str
    number: str  # of the batch
    method: str
    title: str
    printed: str  # when, and by whom
    begun: str
    tubes: str
    heading: str  # of the caution: what the method's preparation may do
    cautions: tuple[Notice, ...]
    decides: str  # whose rules decide; empty where a caution says it
    caution_read: str
    facts: tuple[Notice, ...]  # balance, reagents by lot
    columns: tuple[Column, ...]
    usual_dilution: str
    rows: tuple[BenchRow, ...]
    lost: tuple[Notice, ...]
    signatures: tuple[str, ...]
