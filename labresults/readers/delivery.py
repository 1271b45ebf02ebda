"""The rows of a delivery: what was pasted or typed, checked row by row before anything is logged."""

import re
import unicodedata
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, tzinfo
from difflib import get_close_matches

from labresults.readers.moments import read_moment
from labresults.readers.numbers import Unread, read_number
from labresults.readers.problem import Problem
from labresults.terms import Basis, Hazard

LABELS = {
    "client_identification": "client's own identification",
    "matrix": "matrix",
    "delivered_g": "delivered, g",
    "delivered_mL": "delivered, mL",
    "sampled": "sampled",
    "note": "note",
    "methods": "methods",
    "basis": "basis",
    "limits": "limits",
    "density": "density, kg/L",
    "hazards": "hazards",
    "field_filtered": "field filtered",
    "preservation": "preservation",
}
"""The columns of a delivery by field of a delivered sample, as problems name them."""

NO_LIMITS = "none"
"""What a row says that is compared with no limits, although its submission is."""

# As long as the columns that keep them, in letters.
_LONGEST = {"client_identification": 200, "preservation": 100}
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f]")
_YES = frozenset({"yes", "y", "true", "1"})
_NO = frozenset({"no", "n", "false", "0"})
_MOST_OFFERS = 50  # nearest words are looked for so many unknown ones, since each takes a millisecond


@dataclass(frozen=True)
class DeliveredSample:
    """One row. The client's identification is kept to the letter; `row` counts from 1."""

    row: int
    client_identification: str
    matrix: str
    delivered_g: str = ""
    delivered_mL: str = ""
    note: str = ""
    methods: tuple[str, ...] = ()  # codes, where this sample asks for others than the submission
    basis: str = ""  # a word of terms.Basis, where it differs from the submission's
    limits: str = ""  # the limit set as it is written, where it differs from the submission's
    sampled: str = ""  # day or moment of sampling, ISO 8601
    density: str = ""  # kg/L
    hazards: tuple[str, ...] = ()  # words of terms.Hazard
    field_filtered: str = ""  # yes, no, or nothing
    preservation: str = ""


def check_delivery(
    rows: Sequence[DeliveredSample],
    *,
    matrices: Collection[str],
    methods: Collection[str],
    limits: Collection[str] = (),
    now: datetime | None = None,
    zone: tzinfo = UTC,
) -> tuple[Problem, ...]:
    """Return every problem of the rows, each at its row and column, in the order of the rows.

    matrices, methods (codes), limits: what is known. now: nothing was sampled after it. zone: of times without one.
    """
    if not rows:
        return (Problem(None, None, "There is no row.", "Paste or type at least one sample."),)
    basis, hazards = frozenset(Basis), frozenset(Hazard)
    known = {
        "matrix": _Known("a matrix in this laboratory", frozenset(matrices)),
        "methods": _Known("a method in this laboratory", frozenset(methods)),
        "limits": _Known("a set of limits in this laboratory", frozenset(limits)),
        "basis": _Known("a basis to report on", frozenset(map(str, basis))),
        "hazards": _Known("a hazard that this laboratory has a word for", frozenset(map(str, hazards))),
    }
    problems: list[Problem] = []
    first_seen: dict[str, int] = {}
    for sample in rows:
        problems += _identification(sample, first_seen)
        problems += _words(sample, known)
        problems += _quantities(sample)
        problems += _circumstances(sample, now, zone)
    return tuple(problems)


def quantity(text: str) -> float | None:
    """A quantity as typed, None where nothing was. Raises ValueError when it is not a number above zero."""
    if not text.strip():
        return None
    value = read_number(text)
    if isinstance(value, Unread) or value <= 0:
        raise ValueError(text)
    return value


def moment(text: str, zone: tzinfo) -> datetime | None:
    """A moment as typed, in `zone` where it names none; None where nothing was. Raises ValueError when it is none."""
    if not text.strip():
        return None
    read = read_moment(text)
    if isinstance(read, Unread):
        raise ValueError(text)
    return read.within(zone)


def yes_or_no(text: str) -> bool | None:
    """True or False as typed, None where nothing was. Raises ValueError for every other word."""
    word = text.strip().casefold()
    if not word:
        return None
    if word not in _YES | _NO:
        raise ValueError(text)
    return word in _YES


def parts_of(text: str) -> tuple[str, ...]:
    """The words of a cell that may hold several, parted by commas or semicolons, each once."""
    if "," not in text and ";" not in text:  # nearly every cell of thousands
        return (bare,) if (bare := text.strip()) else ()
    return tuple(dict.fromkeys(part.strip() for part in re.split("[,;]", text) if part.strip()))


def identification_trouble(text: str) -> tuple[str, str] | None:
    """What is wrong with a client's own identification taken by itself, and what to do; None where nothing is."""
    if not text.strip():
        return "It is blank.", "Give the identification on the sample, or strike the row."
    if _CONTROL.search(text):
        return "It holds a control character.", "Type it again by hand."
    if len(text) > _LONGEST["client_identification"]:
        return f"It has {len(text)} letters; 200 can be kept.", "Give the part that tells the sample from others."
    return None


def looks(text: str) -> str:
    """How an identification is compared: two that look alike on a bottle are one. It is kept as it was given."""
    return unicodedata.normalize("NFC", text).strip()


@dataclass
class _Known:
    """The words that a column may hold, and the nearest of them to one that it may not."""

    kind: str
    words: frozenset[str]
    offers: dict[str, str] = field(default_factory=dict)

    def offer(self, text: str) -> str:
        if text not in self.offers:
            near = get_close_matches(text, self.words, n=1) if len(self.offers) < _MOST_OFFERS else []
            listed = f"Known are: {', '.join(sorted(self.words))}." if self.words else "None is entered yet."
            self.offers[text] = f"Did you mean “{near[0]}”?" if near else listed
        return self.offers[text]


def _identification(sample: DeliveredSample, first_seen: dict[str, int]) -> Iterator[Problem]:
    column = LABELS["client_identification"]
    trouble = identification_trouble(sample.client_identification)
    if trouble:
        yield Problem(sample.row, column, *trouble)
        return
    earlier = first_seen.setdefault(looks(sample.client_identification), sample.row)
    if earlier != sample.row:
        what = f"Row {earlier} has this identification already."
        yield Problem(sample.row, column, what, "It must be alone in one submission: correct it, or strike the row.")


def _words(sample: DeliveredSample, known: dict[str, _Known]) -> Iterator[Problem]:
    if not sample.matrix.strip():
        yield Problem(sample.row, "matrix", "It is blank.", "Choose a matrix.")
    given = {
        "matrix": (sample.matrix,) if sample.matrix.strip() else (),
        "methods": sample.methods,
        "basis": (sample.basis,) if sample.basis else (),
        "limits": (sample.limits,) if sample.limits else (),
        "hazards": sample.hazards,
    }
    for name, texts in given.items():
        for text in texts:
            if text not in known[name].words:
                what = f"“{text}” is not {known[name].kind}."
                yield Problem(sample.row, LABELS[name], what, known[name].offer(text))


def _quantities(sample: DeliveredSample) -> Iterator[Problem]:
    for name in ("delivered_g", "delivered_mL", "density"):
        text = getattr(sample, name)
        try:
            quantity(text)
        except ValueError:
            yield Problem(sample.row, LABELS[name], f"“{text}” is not a quantity.", _quantity_hint(text))


def _quantity_hint(text: str) -> str:
    bare = text.strip()
    if "," in bare:
        return f"Write it with a point: {bare.replace(',', '.')} or {bare.replace(',', '')}."
    if bare[0].isdigit() and bare[-1].isalpha():
        return "Take the unit out: the column has one."
    return "Give a number above zero, or nothing."


def _circumstances(sample: DeliveredSample, now: datetime | None, zone: tzinfo) -> Iterator[Problem]:
    if sample.sampled.strip():
        read = read_moment(sample.sampled)
        if isinstance(read, Unread):
            yield Problem(sample.row, LABELS["sampled"], read.what, read.what_to_do)
        elif now is not None and read.within(zone) > now:
            what = f"“{sample.sampled}” is still to come."
            yield Problem(sample.row, LABELS["sampled"], what, "Give the day on which it was taken, or nothing.")
    try:
        yes_or_no(sample.field_filtered)
    except ValueError:
        what = f"“{sample.field_filtered}” is neither yes nor no."
        yield Problem(sample.row, LABELS["field_filtered"], what, "Write yes, no, or nothing where it was not said.")
    if len(sample.preservation) > _LONGEST["preservation"]:
        what = f"It has {len(sample.preservation)} letters; 100 can be kept."
        yield Problem(sample.row, LABELS["preservation"], what, "Say it shorter, or put the rest into the note.")
