"""Units of concentrations as files write them, and the exact factors between them."""

from collections.abc import Mapping
from decimal import Decimal

_PER_VOLUME, _PER_MASS = "per volume", "per mass"

# Each in mg/L or in mg/kg; by the meaning of the prefixes (BIPM, The International System of Units, 9th edition, 2019,
# table 7). "ppm" and "ppb" are missing on purpose: they do not say what per what.
_CONCENTRATIONS: Mapping[str, tuple[str, Decimal]] = {
    "g/L": (_PER_VOLUME, Decimal(1000)),
    "mg/mL": (_PER_VOLUME, Decimal(1000)),
    "mg/L": (_PER_VOLUME, Decimal(1)),
    "ug/mL": (_PER_VOLUME, Decimal(1)),
    "ug/L": (_PER_VOLUME, Decimal("0.001")),
    "ng/mL": (_PER_VOLUME, Decimal("0.001")),
    "ng/L": (_PER_VOLUME, Decimal("0.000001")),
    "%": (_PER_MASS, Decimal(10000)),
    "g/kg": (_PER_MASS, Decimal(1000)),
    "mg/g": (_PER_MASS, Decimal(1000)),
    "mg/kg": (_PER_MASS, Decimal(1)),
    "ug/g": (_PER_MASS, Decimal(1)),
    "ug/kg": (_PER_MASS, Decimal("0.001")),
    "ng/g": (_PER_MASS, Decimal("0.001")),
}

CONCENTRATIONS = tuple(_CONCENTRATIONS)
"""Every unit of a concentration that is known here."""


def plain_unit(text: str) -> str:
    """Return a unit without spaces at its ends and the brackets round it; both micro signs become "u"."""
    bare = text.strip()
    if bare[:1] + bare[-1:] in ("()", "[]"):
        bare = bare[1:-1].strip()
    return bare.replace("\N{MICRO SIGN}", "u").replace("\N{GREEK SMALL LETTER MU}", "u")


def is_concentration(text: str) -> bool:
    """Whether a text is a unit of concentration that is known here."""
    return plain_unit(text) in _CONCENTRATIONS


def factor(written: str, wanted: str) -> Decimal | None:
    """Return what a number in `written` is multiplied by to be in `wanted`, exactly; None where nothing leads there.

    Units that are not concentrations lead only to themselves.
    """
    one, other = plain_unit(written), plain_unit(wanted)
    if one == other:
        return Decimal(1)
    kind, size = _CONCENTRATIONS.get(one, ("", Decimal(1)))
    other_kind, other_size = _CONCENTRATIONS.get(other, ("-", Decimal(1)))
    return size / other_size if kind == other_kind else None
