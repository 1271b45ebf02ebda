"""What a number is on, in words: the state of the sample, and the form of the element.

| basis       | reported as     | words on the certificate                                        |
|-------------|-----------------|-----------------------------------------------------------------|
| as received | Cu              | on the sample as received                                       |
| dry basis   | Cu              | on dry basis: the moisture was measured and its mass left out   |
| dry basis   | Al2O3 of Al     | ... ; Al as Al2O3, computed, which does not say how it was bound|

Source: ISO 1170 and usual practice for the two bases; common practice, no source, for the oxides.
"""

from collections.abc import Iterable, Sequence

from labresults.terms import Basis

_SENTENCES = {
    Basis.AS_RECEIVED: "Results are on the sample as received.",
    Basis.DRY: "Results are on dry basis: the moisture was measured on the same sample and its mass left out.",
}

_REMARKS = {
    Basis.AS_RECEIVED: "On the sample as received, unlike its column.",
    Basis.DRY: "On dry basis, unlike its column.",
}


def column_words(basis: Basis) -> str:
    """Return what a column head says of the basis: nothing for as received, which the heading of the page says."""
    return "" if basis is Basis.AS_RECEIVED else basis.value


def basis_sentences(bases: Iterable[Basis]) -> tuple[str, ...]:
    """Return one sentence for each basis that occurs, in the order of the vocabulary."""
    present = set(bases)
    found = tuple(_SENTENCES[basis] for basis in Basis if basis in present)
    return (*found, "The column says which, or a remark beside the number.") if len(found) > 1 else found


def column_basis(bases: Sequence[Basis], asked: Basis) -> Basis:
    """Return what a column is on: what the request asks for where any of its results is, else what the first one is."""
    return asked if asked in bases or not bases else bases[0]


def off_column_remark(basis: Basis, column: Basis) -> str:
    """Return the remark for a result on another basis than its column; "" where they are the same."""
    return "" if basis is column else _REMARKS[basis]


def form_sentence(element: str, reported_as: str) -> str:
    """Return how an element reported as a compound is to be read; "" where it is reported as itself."""
    if element == reported_as:
        return ""
    return f"{element} is given as {reported_as}: computed from the element, whatever it was bound to in the sample."
