"""How one printed string stands in a column: decimal points under each other, words apart from numbers. Pure."""

import re
from collections.abc import Iterable
from dataclasses import dataclass

DIGIT_EM = 0.632  # advance of a tabular digit of the text face, in em; the style sheet's classes g1 to g6 use it too
POINT_EM = 0.21
SPACE_EM = 0.28
OTHER_EM = 0.62  # of a letter or sign, on the wide side
WORD_EM = 0.5  # of a letter of words in a cell, which are set smaller
LOWER_EM = 0.56  # mean advance of a small letter
BROAD, BROAD_EM = "mwMW@%", 0.92
FIRST_WIDE, WIDE_EM = 0x2E80, 1.0  # signs as wide as they are high begin there: ideographs, syllables, full width
_NUMBER = re.compile(r"[<>≤≥]?\s*[−+-]?\d[\d\s\u00a0\u202f]*(?:\.(\d+))?")
_STARTS_AS_NUMBER = re.compile(r"[<>≤≥]?\s*[−+-]?\d")


@dataclass(frozen=True)
class Figure:
    """One cell on paper. `style`: class names that right-pad it to the column's decimal point."""

    text: str
    style: str


def decimals(text: str) -> int | None:
    """Return how many figures follow the point of a printed number ("<0.2" has 1), None for words or nothing."""
    match = _NUMBER.fullmatch(text.strip())
    return None if match is None else len(match.group(1) or "")


def is_number(text: str) -> bool:
    """Tell whether a printed string begins as a number does; else it is words, which are set smaller."""
    return _STARTS_AS_NUMBER.match(text) is not None


def most_decimals(texts: Iterable[str]) -> int:
    """Return the decimals that a column must leave room for."""
    return max((found for text in texts if (found := decimals(text)) is not None), default=0)


def figure(text: str, column_decimals: int) -> Figure:
    """Return `text` with the classes that put its decimal point under the column's."""
    own = decimals(text)
    styles = ["num" if not text or is_number(text) else "word"]
    if own is not None and column_decimals > own:
        styles.append(f"g{min(column_decimals - own, 6)}")
        if own == 0:
            styles.append("gp")
    return Figure(text, " ".join(styles))


def width_em(text: str, column_decimals: int = 0) -> float:
    """Return an upper estimate of the width of a number with its padding to the point; of words, of the longest."""
    own = decimals(text)
    if own is None and not is_number(text):
        return max((len(word) * WORD_EM for word in text.split()), default=0.0)
    missing = 0 if own is None else max(column_decimals - own, 0)
    padding = missing * DIGIT_EM + (POINT_EM if own == 0 and missing else 0.0)
    return padding + sum(_advance_em(sign) for sign in text)


def _advance_em(sign: str) -> float:
    if sign.isdigit():
        return DIGIT_EM
    if sign == ".":
        return POINT_EM
    return SPACE_EM if sign.isspace() else OTHER_EM


def text_em(text: str) -> float:
    """Return the width of a line of words, em, rather too much than too little."""
    return sum(map(_letter_em, text))


def _letter_em(sign: str) -> float:
    if sign in BROAD:
        return BROAD_EM
    if sign.islower() and sign.isascii():
        return LOWER_EM
    return WIDE_EM if ord(sign) >= FIRST_WIDE else _advance_em(sign)


Formula = tuple[tuple[str, bool], ...]
"""What stands over a column, in parts: text, and whether it is a subscript."""

_BETWEEN_WORDS = (" ", False)


def formula_parts(formula: str) -> Formula:
    """Part what is reported into (text, is subscript): "Al2O3" becomes Al, 2 below, O, 3 below; word by word."""
    words = [_parts_of_word(word) for word in formula.split(" ")]
    return tuple(part for word in words for part in (_BETWEEN_WORDS, *word))[1:]


def words_of_formula(formula: Formula) -> list[Formula]:
    """Return the words of what `formula_parts` gives."""
    words: list[Formula] = [()]
    for part in formula:
        if part == _BETWEEN_WORDS:
            words.append(())
        else:
            words[-1] = (*words[-1], part)
    return words


def joined(one: Formula, other: Formula) -> Formula:
    """Return two words of a formula in one line."""
    return (*one, _BETWEEN_WORDS, *other)


def _parts_of_word(formula: str) -> Formula:
    if not re.fullmatch(r"(?:[A-Z][a-z]?\d*|[()]\d*)+", formula):
        return ((formula, False),)
    return tuple((part, part.isdigit()) for part in re.findall(r"\d+|\D+", formula))
