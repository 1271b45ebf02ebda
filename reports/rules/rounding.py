"""Round once, in decimal, on the number as it would be written out.

| carried   | rule                          | printed | why                                              |
|-----------|-------------------------------|---------|--------------------------------------------------|
| 9.996     | three figures                 | 10.0    | the carry adds a digit, so one decimal is dropped|
| 65.55     | three figures, half to even   | 65.6    | 65.55 is an exact half as written                |
| 74.85     | three figures, half to even   | 74.8    | the same, to the even digit below                |
| 74.85     | three figures, half up        | 74.9    | the same, by the other rule                      |
| 12.254    | one decimal                   | 12.3    | in one stage; through 12.25 it would become 12.2 |
| 0.138604  | three figures, two decimals   | 0.14    | no finer than two decimals                       |
| 18 704.3  | three figures                 | 18 700  | the zeros only hold the place                    |
| 0.0105    | three decimals, half to even  | 0.010   | and 0.011 by the other rule: the rule is a choice|

A binary float is read as its shortest decimal text, `Decimal(repr(x))`: 0.0105 is then the half that was meant, while
its binary value lies a little off. Source of the tie rules: ISO 80000-1:2009, annex B.
"""

from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Context, Decimal
from functools import lru_cache

from labresults.terms import Tie

NO_BREAK_SPACE = "\u00a0"

# What is rounded to one side only has gone through floating arithmetic: a range of 10 000 may come out as
# 9999.999999999998, and rounding down would make 9 900 of that. Twelve figures hold more than any limit does.
FIGURES_THAT_MEAN = 12

# The widest binary64 number has 309 digits before its point, the finest 324 after: nothing is lost on the way.
_WIDE = Context(prec=1500)
_MODES = {Tie.HALF_EVEN: ROUND_HALF_EVEN, Tie.HALF_UP: ROUND_HALF_UP}


def exact(value: float | Decimal) -> Decimal:
    """Return the number that the shortest text of `value` names [same unit].

    Raises ValueError when the value is not a finite number.
    """
    if isinstance(value, Decimal):
        number = value
    else:
        number = _as_written(float(value)) if value else Decimal(repr(float(value)))  # 0 and -0 are one key
    if not number.is_finite():
        raise ValueError(f"{value} cannot be printed. Give a finite number, or the words that say why there is none.")
    return number


def decimals_of(number: Decimal) -> int:
    """Return how many figures stand after the point of `number` as it is printed [1]."""
    return max(0, -int(number.as_tuple().exponent))


def quantize(value: Decimal, decimals: int, mode: str) -> Decimal:
    """Return `value` at `decimals` places (negative: tens, hundreds) by a rounding mode of the decimal module."""
    rounded = value.quantize(_place(decimals), mode, _WIDE)
    return rounded if rounded else abs(rounded)  # never a minus before nothing


def round_decimals(value: float | Decimal, decimals: int, tie: Tie) -> Decimal:
    """Return `value` rounded once to `decimals` places; negative places are tens, hundreds, ...

    Raises ValueError when the value is not finite. Source: ISO 80000-1:2009, annex B, rules A and B.
    """
    return quantize(exact(value), decimals, _MODES[tie])


def round_significant(value: float | Decimal, figures: int, tie: Tie) -> Decimal:
    """Return `value` rounded once to `figures` significant figures; trailing zeros are kept by the exponent.

    Zero has no significant figure and stays 0. Raises ValueError when the value is not finite or figures < 1.
    """
    return round_for_report(value, figures, None, tie)


def round_for_report(value: float | Decimal, figures: int, finest_decimals: int | None, tie: Tie) -> Decimal:
    """Return `value` rounded once to `figures` figures, and no finer than `finest_decimals` places.

    finest_decimals: None for no such bound. The coarser of the two decides the place at which the one rounding is
    done; where the carry makes a number longer (9.996), the digit then dropped is a zero.
    Raises ValueError when the value is not finite or figures < 1.
    """
    number = exact(value)
    if figures < 1:
        raise ValueError(f"{figures} significant figures cannot be printed. Give one or more.")
    if not number:
        return quantize(number, finest_decimals or 0, _MODES[tie])
    rounded = quantize(number, _coarser(figures - 1 - number.adjusted(), finest_decimals), _MODES[tie])
    if not rounded or rounded.adjusted() == number.adjusted():
        return rounded
    return quantize(rounded, _coarser(figures - 1 - rounded.adjusted(), finest_decimals), _MODES[tie])


def text(number: Decimal, thousands: str = NO_BREAK_SPACE) -> str:
    """Return `number` in plain notation, never with an exponent, its thousands parted by `thousands`.

    With `thousands=""` the text is what a program reads back: Decimal(text(n, "")) == n.
    """
    return f"{number:,f}".replace(",", thousands)


@lru_cache(maxsize=256)
def _as_written(value: float) -> Decimal:
    """The number of the shortest text; the numbers of one result are asked for over and over while it is printed."""
    return Decimal(repr(value))


@lru_cache(maxsize=1024)
def _place(decimals: int) -> Decimal:
    return Decimal(1).scaleb(-decimals)


def _coarser(decimals: int, finest_decimals: int | None) -> int:
    return decimals if finest_decimals is None else min(decimals, finest_decimals)
