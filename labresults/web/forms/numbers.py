"""Numbers as people type and paste them: a comma or a point before the decimals; what can be read two ways is asked."""

import re

_TWO_WAYS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")
"""A comma that can part thousands and can stand before three decimals."""


def read_number(text: str) -> float:
    """Return the number that somebody wrote; spaces may part thousands.

    Raises ValueError, in words that say how to write it: "1,250" can be a thousand and more, or one and a quarter.
    """
    plain = "".join(text.split())
    if _TWO_WAYS.fullmatch(plain):
        raise ValueError(
            f"“{text}” can be read in two ways: write {plain.replace(',', '')} or {plain.replace(',', '.')}."
        )
    if plain.count(",") > 1:
        raise ValueError(f"“{text}” has more than one comma: write {plain.replace(',', '')} if they part thousands.")
    try:
        return float(plain.replace(",", "."))
    except ValueError:
        raise ValueError(f"“{text}” is no number. Write it as 0.05 or 250.") from None
