"""A printed number as a spreadsheet holds it: the value, and a format that shows the printed figures again. Pure."""

import re
from dataclasses import dataclass
from decimal import Decimal

_PRINTED = re.compile(
    r"(?P<sign>[−+-]?)(?P<whole>\d{1,3}(?:[\s\u00a0\u202f,]\d{3})+|\d+)(?:\.(?P<rest>\d+))?(?P<after>[\s\u00a0\u202f]?(?:%|‰|[A-Za-zµ][^\d±–]*))?"
)
_GROUP = re.compile(r"[\s\u00a0\u202f,]")


@dataclass(frozen=True)
class Shown:
    """A number and the format code that shows it as it was printed."""

    value: float
    format: str


def shown(printed: str) -> Shown | None:
    """Read a printed number ("4.12", "1 020", "−0.5", "1.02 %"); None for anything else, such as "<0.2" or words.

    The value is the decimal string's own, so no figure is gained or lost; the format repeats decimals, the sign that
    parts thousands, the minus sign and a unit that was printed beside the number.
    """
    match = _PRINTED.fullmatch(printed)
    if match is None:
        return None
    whole = _GROUP.sub("", match["whole"])
    rest = match["rest"] or ""
    negative = match["sign"] in {"−", "-"}
    value = float(f"{'-' if negative else ''}{whole}{'.' + rest if rest else ''}")
    code = _whole_format(match["whole"]) + ("." + "0" * len(rest) if rest else "") + _literal(match["after"] or "")
    return Shown(value, f"{code};{_literal(match['sign'])}{code}" if negative else _literal(match["sign"]) + code)


def plain(printed: str) -> str:
    """Return a printed number as a program reads it ("1 020" is 1020, "−0.5" is -0.5), any unit beside it left away."""
    match = _PRINTED.fullmatch(printed)
    if match is None:
        return printed
    sign = "-" if match["sign"] in {"−", "-"} else ""
    rest = f".{match['rest']}" if match["rest"] else ""
    return f"{sign}{_GROUP.sub('', match['whole'])}{rest}"


def half(decimal: str) -> str:
    """Return half of a decimal string, exactly: half of "0.5" is "0.25"."""
    return f"{Decimal(decimal) / 2:f}"


def _whole_format(whole: str) -> str:
    """Return the format of the whole part; only the separators of the printed string itself are placed."""
    separators = _GROUP.findall(whole)
    if not separators:
        return "0"
    groups = ["###"] * (len(separators) - 1) + ["##0"]
    return "#" + "".join(_literal(sign) + group for sign, group in zip(separators, groups, strict=True))


def _literal(text: str) -> str:
    """Return `text` as a literal of a format code."""
    return '"' + text.replace('"', "") + '"' if text else ""
