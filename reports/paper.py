"""What is printed at the counter: a receipt and labels. Everything is a string already, as it will stand on paper."""

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
    unit: str  # of what was delivered, g or mL
    lines: tuple[ReceiptLine, ...]
    notices: tuple[Notice, ...]
    received_by: str
    received_when: str
    line_rule_nm: tuple[float, ...] = ()  # emission lines that will be measured, nm


@dataclass(frozen=True)
class Label:
    """One label. `code` is what a scanner reads: a laboratory number, and nothing else.

    `kind`: a word that tells two bottles of one sample apart ("total", "dissolved"); `heavy`: white on black.
    """

    number: str
    code: str
    client_identification: str
    kind: str = ""
    heavy: bool = False
    treatment: str = ""
    foot: str = ""


@dataclass(frozen=True)
class LabelSheet:
    """Labels in the order in which they are peeled off, 24 to an A4 sheet of 64 x 33.9 mm each."""

    title: str
    laboratory: str
    labels: tuple[Label, ...]
