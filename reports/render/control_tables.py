"""The appendix: control samples side by side, analytes down, so that one line of it can be read across. Pure."""

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from labresults.terms import Verdict
from reports.document import ControlRow, fraction_of
from reports.render.figures import WORD_EM, Figure, figure, most_decimals, width_em

MM_PER_EM = 7.5 * 25.4 / 72
CELL_PADDING_MM = 2.4
APART_MM = 3.0  # what sets a block apart from the one before
ANALYTE_MM = 24.0
_WORDS_AND_NUMBER = re.compile(r"(?P<before>\D*?)(?P<number>[<>]?\s*[−+-]?\d[\d\s\u00a0\u202f.]*?)(?P<after>\s*%?)")


@dataclass(frozen=True)
class Part:
    """One narrow column of a control sample: expected, found, what was judged, limits or verdict."""

    heading: str
    texts: dict[str, str]  # by analyte
    decimals: int

    @property
    def width_mm(self) -> float:
        """Upper estimate of its width, mm."""
        numbers = [width_em(text, self.decimals) for text in self.texts.values()]
        # "At most 20" stays on one line; a heading breaks between its words.
        unbroken = [len(text) * WORD_EM for text in [*self.texts.values(), *self.heading.split()]]
        return max([*numbers, *unbroken], default=0.0) * MM_PER_EM + CELL_PADDING_MM


@dataclass(frozen=True)
class Block:
    """One control sample: its heading in words and its narrow columns."""

    heading: str
    run: str
    units: dict[str, str]  # by analyte
    fraction: str  # "total" or "dissolved", where it is of a water that was filtered in the field, or was not
    parts: tuple[Part, ...]

    @property
    def span(self) -> str:
        """How many narrow columns it has."""
        return str(len(self.parts))

    @property
    def width_mm(self) -> float:
        """Upper estimate of its width, mm."""
        return sum(part.width_mm for part in self.parts) + APART_MM


@dataclass(frozen=True)
class ControlLine:
    """One analyte across the control samples of a table; the first part of a block stands a little apart."""

    analyte: str
    unit: str
    figures: tuple[Figure, ...]


@dataclass(frozen=True)
class ControlTable:
    """As many control samples as stand side by side on one sheet."""

    blocks: tuple[Block, ...]
    lines: tuple[ControlLine, ...]


def control_tables(rows: Iterable[ControlRow], width_mm: float) -> tuple[ControlTable, ...]:
    """Set the control samples side by side in tables of at most `width_mm`, in the order in which they come."""
    tables: list[list[Block]] = []
    for block in _blocks(rows):
        if tables and _joins(tables[-1], block, width_mm):
            tables[-1].append(block)
        else:
            tables.append([block])
    return tuple(ControlTable(tuple(blocks), _lines(blocks)) for blocks in tables)


def accepted(rows: Iterable[ControlRow]) -> tuple[str, ...]:
    """Return a sentence for each control sample that failed and was accepted by a person, with the reason."""
    return tuple(_sentence(f"{row.kind} {row.label}".strip(), row) for row in rows if row.accepted_because)


def _sentence(name: str, row: ControlRow) -> str:
    return (
        f"{name[:1].upper()}{name[1:]}, {row.analyte}, run {row.run}: {row.verdict}; accepted: {row.accepted_because}"
    )


def _joins(blocks: list[Block], block: Block, width_mm: float) -> bool:
    """Tell whether a block stands beside others: room, an analyte that both have, one unit for each, one fraction."""
    units: dict[str, str] = {}
    for other in blocks:
        units |= {analyte: unit for analyte, unit in other.units.items() if unit}
    shared = {analyte for other in blocks for analyte in other.units}
    agree = all(not unit or units.get(analyte, unit) == unit for analyte, unit in block.units.items())
    fractions = {other.fraction for other in [*blocks, block]} - {""}
    return (
        agree
        and len(fractions) < 2
        and not shared.isdisjoint(block.units)
        and ANALYTE_MM + sum(other.width_mm for other in blocks) + block.width_mm <= width_mm
    )


def _blocks(rows: Iterable[ControlRow]) -> list[Block]:
    """Gather the rows of each control sample and measure; one that was measured again begins another block."""
    times: Counter[tuple[str, str, str, str, str]] = Counter()
    gathered: dict[tuple[str, str, str, str, int], list[ControlRow]] = {}
    for row in rows:
        one = (row.run, row.kind, row.label, _words(row.measure))
        gathered.setdefault((*one, times[*one, row.analyte]), []).append(row)
        times[*one, row.analyte] += 1
    return [_block(words, of_one) for (_, _, _, words, _), of_one in gathered.items()]


def _words(measure: str) -> str:
    """Return what was judged, without its number: "recovery 96.2 %" and "recovery, %" are the same measure."""
    match = _WORDS_AND_NUMBER.fullmatch(measure)
    if match is None:
        return measure
    return ", ".join(part for part in (match["before"].strip(" ,"), match["after"].strip()) if part)


def _block(words: str, rows: list[ControlRow]) -> Block:
    """Set one control sample. Where the measure is words alone, what was found is that measure, in its own unit."""
    first = rows[0]
    verdicts = {row.verdict for row in rows}
    title = f"{first.kind} {first.label}".strip()
    if len(verdicts) == 1:
        title = f"{title}: {'all ' if len(rows) > 1 else ''}{first.verdict}"
    alone = bool(words) and all(row.measure == words for row in rows)
    wanted = [
        ("expected", {row.analyte: row.expected for row in rows}),
        (words if alone else "found", {row.analyte: row.found for row in rows}),
        (words, {} if alone else {row.analyte: _number(row.measure) for row in rows}),
        ("limits", {row.analyte: row.limits for row in rows}),
        ("verdict", {} if len(verdicts) == 1 else {row.analyte: row.verdict for row in rows}),
    ]
    parts = tuple(Part(name, texts, most_decimals(texts.values())) for name, texts in wanted if any(texts.values()))
    units = {row.analyte: "" if alone else row.unit for row in rows}
    return Block(title[:1].upper() + title[1:], first.run, units, fraction_of(first.label), parts)


def _number(measure: str) -> str:
    match = _WORDS_AND_NUMBER.fullmatch(measure)
    return match["number"].strip() if match else measure


def _lines(blocks: list[Block]) -> tuple[ControlLine, ...]:
    analytes = list(dict.fromkeys(analyte for block in blocks for analyte in block.units))
    units = {analyte: unit for block in blocks for analyte, unit in block.units.items() if unit}
    return tuple(
        ControlLine(
            analyte,
            units.get(analyte, ""),
            tuple(_figure(part, analyte, index == 0) for block in blocks for index, part in enumerate(block.parts)),
        )
        for analyte in analytes
    )


def _figure(part: Part, analyte: str, first: bool) -> Figure:
    plain = figure(part.texts.get(analyte, ""), part.decimals)
    failed = part.heading == "verdict" and plain.text not in {"", Verdict.WITHIN}
    return Figure(plain.text, plain.style + " apart" * first + " failed" * failed)
