"""How a client wants a file of results laid out: data that is agreed, kept and versioned. Pure.

| setting   | choices                                                                                              |
|-----------|------------------------------------------------------------------------------------------------------|
| shape     | wide: a row a sample; long: a row a result                                                           |
| columns   | what stands before the results, in which order: see COLUMNS                                          |
| heads     | wide: the rows above the results: name, unit, basis, method, detection limit                          |
| analytes  | "what is reported = what the client calls it", in order; none: all of them, by their own names         |
| below     | `<x` as printed; blank, -x or x/2 only by written request, for they hide that nothing was found       |
| above     | `>x` as printed; x only by written request                                                            |
"""

import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass, fields
from enum import StrEnum
from typing import Any

COLUMNS = ("sample", "client identification", "submission", "matrix", "condition", "certificate", "issue")
"""What can stand before the results."""

HEADS = ("name", "unit", "basis", "method", "detection limit")
"""Rows that can stand above the results of a wide table, and columns beside those of a long one."""

ENCODINGS = ("utf-8-sig", "utf-8", "utf-16", "cp1252")
DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t"}
DECIMALS = {"point": ".", "comma": ","}


class BelowAs(StrEnum):
    """How a result below its limit x is written."""

    AS_PRINTED = "<x"
    BLANK = "blank"
    NEGATIVE = "-x"
    HALF = "x/2"


class AboveAs(StrEnum):
    """How a result above its limit x is written."""

    AS_PRINTED = ">x"
    LIMIT = "x"


class BadDelivery(ValueError):
    """A layout that cannot be used: says which setting, and what to do."""


@dataclass(frozen=True)
class Analyte:
    """A column of results that is wanted, and what the client calls it. method: "" for any."""

    reported_as: str
    name: str = ""
    method: str = ""


@dataclass(frozen=True)
class DeliveryLayout:
    """A layout as agreed. missing: what stands where a sample has no result."""

    name: str
    shape: str = "wide"
    columns: tuple[str, ...] = ("sample", "client identification")
    heads: tuple[str, ...] = ("name", "unit")
    analytes: tuple[Analyte, ...] = ()
    delimiter: str = "comma"
    decimal: str = "point"
    encoding: str = "utf-8-sig"
    below: BelowAs = BelowAs.AS_PRINTED
    above: AboveAs = AboveAs.AS_PRINTED
    missing: str = ""
    with_uncertainty: bool = False
    formulas_are_harmless: bool = True  # an apostrophe stands before text that a spreadsheet takes for a formula

    def __post_init__(self) -> None:
        for problem in self._problems():
            raise BadDelivery(problem)

    def _problems(self) -> Iterator[str]:
        if not self.name.strip():
            yield "A layout needs a name, by which recipients are given it."
        if self.shape not in {"wide", "long"}:
            yield f"The shape “{self.shape}” is not known: wide or long."
        for known, given, what in ((COLUMNS, self.columns, "column"), (HEADS, self.heads, "head")):
            yield from (f"The {what} “{one}” is not known: {', '.join(known)}." for one in given if one not in known)
            if len(set(given)) < len(given):
                yield f"A {what} is named twice."
        if "name" not in self.heads:
            yield "The names of the analytes must stand among the heads, or nobody knows what a number is."
        if "unit" not in self.heads and self.shape == "long":
            yield "A long table needs the unit beside each number."
        chosen = ((ENCODINGS, self.encoding), (DELIMITERS, self.delimiter), (DECIMALS, self.decimal))
        yield from (f"“{one}” is not known: {', '.join(known)}." for known, one in chosen if one not in known)
        if self.delimiter == "comma" and self.decimal == "comma":
            yield "A comma cannot part the numbers and stand in them too: choose a semicolon or tab."

    @property
    def needs_agreement(self) -> tuple[str, ...]:
        """What of it is not the laboratory's own way, and only done by written request."""
        unusual = (
            (self.below is not BelowAs.AS_PRINTED, f"results below their limit written as {self.below.value}"),
            (self.above is not AboveAs.AS_PRINTED, "results above the range written without their sign"),
            (not self.formulas_are_harmless, "text that a spreadsheet takes for a formula"),
        )
        return tuple(words for applies, words in unusual if applies)

    def to_json(self) -> str:
        """Return the layout as text with sorted keys."""
        return json.dumps(asdict(self), ensure_ascii=False, sort_keys=True)

    @classmethod
    def from_json(cls, source: str) -> "DeliveryLayout":
        """Read `to_json` back. Raises BadDelivery when a setting is unknown or cannot be used."""
        try:
            raw: dict[str, Any] = json.loads(source)
            if unknown := set(raw) - {field.name for field in fields(cls)}:
                raise BadDelivery(f"Unknown settings: {', '.join(sorted(unknown))}. Take them out, or correct them.")
            rebuilt = {
                "columns": tuple(raw.get("columns", cls.columns)),
                "heads": tuple(raw.get("heads", cls.heads)),
                "analytes": tuple(Analyte(**one) for one in raw.get("analytes", ())),
                "below": BelowAs(raw.get("below", cls.below)),
                "above": AboveAs(raw.get("above", cls.above)),
            }
            return cls(**(raw | rebuilt))
        except BadDelivery:
            raise
        except (ValueError, TypeError, KeyError, AttributeError) as problem:
            raise BadDelivery(f"The layout cannot be read ({problem}). Correct the setting that is named.") from problem
