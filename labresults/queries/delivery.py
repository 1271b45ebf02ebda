"""A delivery before it is logged: its rows, the words they may hold, and everything that is wrong with them."""

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from difflib import get_close_matches
from zoneinfo import ZoneInfo

from labresults.acts import BadInput
from labresults.models import LimitSet, Matrix, Method
from labresults.queries.people import site_time_zone
from labresults.readers.delivery import LABELS, NO_LIMITS, DeliveredSample, check_delivery, parts_of
from labresults.readers.problem import Problem
from labresults.readers.series import BadSeries, series
from labresults.terms import HAZARD_CAUTIONS, Basis, Hazard

__all__ = ["LABELS", "Known", "asked_by_matrix", "cautions_of", "delivered", "known_words", "problems_of", "tidied"]

Row = dict[str, str]
"""One row as it stands in the grid: texts by field of a delivered sample."""


@dataclass(frozen=True)
class Known:
    """The words that rows may hold. matrices: area of work by name."""

    matrices: Mapping[str, str]
    methods: tuple[str, ...]
    limits: tuple[str, ...]


@dataclass(frozen=True)
class Unknown:
    """A matrix in words that this laboratory does not know, in how many rows, and the nearest that it knows."""

    text: str
    rows: int
    offer: str


@dataclass(frozen=True)
class AskedOfMatrix:
    """What the rows of one matrix ask for, in words; empty: as the whole delivery."""

    matrix: str
    rows: int
    methods: str
    basis: str
    limits: str


def known_words() -> Known:
    """Matrices, codes of methods and sets of limits; three queries."""
    return Known(
        dict(Matrix.objects.order_by("name").values_list("name", "area")),
        tuple(Method.objects.order_by("code").values_list("code", flat=True)),
        (NO_LIMITS, *map(str, LimitSet.objects.order_by("name", "edition"))),
    )


def delivered(rows: Sequence[Mapping[str, str]], hazards: Collection[str] = ()) -> tuple[DeliveredSample, ...]:
    """Rows of texts (fields of DeliveredSample) as the check and the act take them; no query.

    Codes of methods and hazards are parted by commas or semicolons. hazards: of every sample, beside its own.
    """
    of_all = "".join(f",{hazard}" for hazard in hazards)
    return tuple(
        DeliveredSample(
            row=number,
            **{
                **row,
                "methods": parts_of(row.get("methods", "")),
                "hazards": parts_of(row.get("hazards", "") + of_all),
            },  # type: ignore[arg-type]
        )
        for number, row in enumerate(rows, start=1)
    )


def problems_of(rows: Sequence[DeliveredSample], at: datetime, known: Known | None = None) -> tuple[Problem, ...]:
    """Every problem of the rows as they would be logged at a moment; three queries where no words are given."""
    words = known or known_words()
    return check_delivery(
        rows,
        matrices=words.matrices,
        methods=words.methods,
        limits=words.limits,
        now=at,
        zone=ZoneInfo(site_time_zone()),
    )


def tidied(rows: Sequence[Row], known: Known, matrix: str = "") -> list[Row]:
    """The same rows, words that differ from a known one only in case as that one; no query.

    matrix: of rows that name none.
    """
    matrices, limits = _by_look(known.matrices), _by_look(known.limits)
    methods, basis = _by_look(known.methods), _by_look(map(str, Basis)) | {"dry": Basis.DRY.value}
    hazards = _by_look(map(str, Hazard)) | {hazard.name.casefold(): hazard.value for hazard in Hazard}
    return [
        {
            **row,
            "matrix": _known(row["matrix"], matrices) or matrix,
            "limits": _known(row["limits"], limits),
            "basis": _known(row["basis"], basis),
            "methods": ", ".join(_known(part, methods) for part in parts_of(row["methods"])),
            "hazards": ", ".join(_known(part, hazards) for part in parts_of(row["hazards"])),
        }
        for row in rows
    ]


def series_rows(prefix: str, first: str, last: str, skipping: str, suffix: str, *, matrix: str) -> list[Row]:
    """Rows whose identifications count from first to last; no query. Raises BadInput where they cannot."""
    try:
        names = series(prefix, first, last, skipping, suffix)
    except BadSeries as wrong:
        raise BadInput(str(wrong)) from wrong
    return [dict.fromkeys(LABELS, "") | {"client_identification": name, "matrix": matrix} for name in names]


def unknown_matrices(rows: Sequence[Row], known: Known) -> tuple[Unknown, ...]:
    """Matrices of the rows that are not known, those of most rows first; no query."""
    counts = Counter(row["matrix"] for row in rows if row["matrix"] and row["matrix"] not in known.matrices)
    return tuple(
        Unknown(text, count, next(iter(get_close_matches(text, list(known.matrices), n=1)), ""))
        for text, count in counts.most_common(20)
    )


def asked_by_matrix(rows: Sequence[Row]) -> tuple[AskedOfMatrix, ...]:
    """What the rows ask for themselves, matrix by matrix in the order of the rows; no query."""
    by_matrix: dict[str, list[Row]] = {}
    for row in rows:
        by_matrix.setdefault(row["matrix"], []).append(row)
    return tuple(
        AskedOfMatrix(matrix, len(own), *(_alike(own, name) for name in ("methods", "basis", "limits")))
        for matrix, own in by_matrix.items()
        if matrix
    )


def cautions_of(rows: Sequence[DeliveredSample], besides: Collection[str] = ()) -> tuple[tuple[str, str], ...]:
    """Each hazard that a row names, with its caution, in the order of the vocabulary; no query.

    besides: hazards that were said already.
    """
    named = {word for row in rows for word in row.hazards} - set(besides)
    return tuple(
        (f"{hazard[0].upper()}{hazard[1:]}", HAZARD_CAUTIONS[hazard]) for hazard in Hazard if hazard.value in named
    )


def has_waters(rows: Sequence[Row], known: Known) -> bool:
    """Whether a row is of a matrix for which filtration and preservation matter; no query."""
    return any(known.matrices.get(row["matrix"], "").startswith("waters") for row in rows)


def _by_look(words: Iterable[str]) -> dict[str, str]:
    return {" ".join(word.casefold().split()): word for word in words}


def _known(text: str, words: Mapping[str, str]) -> str:
    return words.get(" ".join(text.casefold().split()), text.strip())


def _alike(rows: Sequence[Row], name: str) -> str:
    texts = list(dict.fromkeys(row[name] for row in rows))
    return texts[0] if len(texts) == 1 else "differs from row to row"
