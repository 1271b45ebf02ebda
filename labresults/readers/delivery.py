"""The rows of a delivery: what was pasted or typed, checked row by row before anything is logged."""

import unicodedata
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from labresults.readers.problem import Problem


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


def check_delivery(
    rows: Sequence[DeliveredSample], *, matrices: Collection[str], methods: Collection[str]
) -> tuple[Problem, ...]:
    """Return every problem of the rows: blank or repeated identification, unknown matrix or method, a bad quantity."""
    problems: list[Problem] = []
    if not rows:
        problems.append(Problem(None, None, "There is no row.", "Paste or type at least one sample."))
    first_seen: dict[str, int] = {}
    for sample in rows:
        problems += _identification(sample, first_seen)
        problems += _matrix(sample, matrices)
        problems += _methods(sample, methods)
        problems += _quantities(sample)
    return tuple(problems)


def quantity(text: str) -> float | None:
    """A quantity as typed, None where nothing was. Raises ValueError when it is not a number above zero."""
    if not text.strip():
        return None
    value = float(text.strip())
    if not 0 < value < float("inf"):
        raise ValueError(text)
    return value


def _identification(sample: DeliveredSample, first_seen: dict[str, int]) -> list[Problem]:
    column = "client's own identification"
    # Two that look alike on a bottle are one: compare without outer spaces and in one Unicode form, keep as given.
    looks = unicodedata.normalize("NFC", sample.client_identification).strip()
    if not looks:
        return [
            Problem(sample.row, column, "It is blank.", "Give the identification on the sample, or strike the row.")
        ]
    if any(unicodedata.category(letter) == "Cc" for letter in sample.client_identification):
        return [Problem(sample.row, column, "It holds a control character.", "Type it again by hand.")]
    earlier = first_seen.setdefault(looks, sample.row)
    if earlier != sample.row:
        return [
            Problem(
                sample.row,
                column,
                f"Row {earlier} has this identification already.",
                "It must be alone in one submission: correct it, or strike the row.",
            )
        ]
    return []


def _matrix(sample: DeliveredSample, matrices: Collection[str]) -> list[Problem]:
    if sample.matrix in matrices:
        return []
    if not sample.matrix.strip():
        return [Problem(sample.row, "matrix", "It is blank.", "Choose a matrix.")]
    near = get_close_matches(sample.matrix, list(matrices), n=1)
    offer = f"Did you mean “{near[0]}”?" if near else f"Known are: {', '.join(sorted(matrices))}."
    return [Problem(sample.row, "matrix", f"“{sample.matrix}” is not a matrix in this laboratory.", offer)]


def _methods(sample: DeliveredSample, methods: Collection[str]) -> list[Problem]:
    return [
        Problem(
            sample.row,
            "methods",
            f"“{code}” is not a method in this laboratory.",
            f"Known are: {', '.join(sorted(methods))}.",
        )
        for code in sample.methods
        if code not in methods
    ]


def _quantities(sample: DeliveredSample) -> list[Problem]:
    found = []
    for column, text in (("delivered, g", sample.delivered_g), ("delivered, mL", sample.delivered_mL)):
        try:
            quantity(text)
        except ValueError:
            found.append(
                Problem(sample.row, column, f"“{text}” is not a quantity.", "Give a number above zero, or nothing.")
            )
    return found
