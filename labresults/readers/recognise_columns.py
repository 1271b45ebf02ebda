"""What each column of a file, and each line above its table, may be: by its heading first, then by its values."""

import re
from collections.abc import Sequence
from dataclasses import replace

from labresults.readers.heading_words import SYMBOLS, is_unit, line_heading, unit_in, word_meaning
from labresults.readers.moments import is_undecided, read_moment
from labresults.readers.numbers import Unread
from labresults.readers.recognise_rows import is_number
from labresults.readers.recognised import ABOVE, OF_A_LINE, Above, Column, Meaning
from labresults.readers.table import CellValue, Headings, RawRow, RawTable, as_text, column_letter

_SHOWN = 5
_SAID = re.compile(r"(?P<word>[^:=]{1,40}?)\s*[:=]\s*(?P<value>.*)")
_THREE_BEHIND = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")


def columns_of(table: RawTable, heading_row: int, has_units: bool, below: Sequence[RawRow]) -> tuple[Column, ...]:
    """Return every column under the headings with what it may be."""
    headings = Headings.of(table.rows[heading_row - 1]).texts
    units = [as_text(cell).strip() for cell in table.rows[heading_row].cells] if has_units else []
    is_wide = sum(bool(line_heading(heading)) for heading in headings) > 0
    found = [
        _column(at, heading, units[at] if at < len(units) else "", [row.cells[at] for row in below], is_wide)
        for at, heading in enumerate(headings)
    ]
    return _with_means(_each_once(found))


_ONCE = frozenset(Meaning) - OF_A_LINE - {Meaning.REPLICATE, Meaning.IGNORED}


def _each_once(columns: Sequence[Column]) -> tuple[Column, ...]:
    """Offer what only one column can be to one: the one whose heading says so, else the first; others as ignored."""
    found = list(columns)
    for meaning in _ONCE:
        rivals = [at for at, column in enumerate(found) if column.offers[0] is meaning]
        named = [at for at in rivals if word_meaning(found[at].heading) is meaning]
        for at in set(rivals) - set((named or rivals)[:1]):
            rest = [offer for offer in found[at].offers if offer is not Meaning.IGNORED]
            found[at] = replace(found[at], offers=(Meaning.IGNORED, *rest))
    return tuple(found)


def _with_means(columns: Sequence[Column]) -> tuple[Column, ...]:
    """Offer a lone column of readings beside a spread or a count as the mean that these belong to."""
    found = list(columns)
    for reading, mean, beside in (
        (Meaning.REPLICATE, Meaning.MEAN, (Meaning.SD, Meaning.COUNT)),
        (Meaning.LINE_READING, Meaning.LINE_MEAN, (Meaning.LINE_SD, Meaning.LINE_COUNT)),
    ):
        for line in dict.fromkeys(column.line for column in found):
            of_line = {at: column.offers[0] for at, column in enumerate(found) if column.line == line}
            lone = [at for at, meaning in of_line.items() if meaning is reading]
            if len(lone) == 1 and mean not in of_line.values() and set(beside) & set(of_line.values()):
                rest = [offer for offer in found[lone[0]].offers if offer is not mean]
                found[lone[0]] = replace(found[lone[0]], offers=(mean, *rest))
    return tuple(found)


def _column(at: int, heading: str, unit: str, cells: Sequence[CellValue], is_wide: bool) -> Column:
    values = [cell for cell in cells if as_text(cell).strip()]
    named = line_heading(heading) if is_wide else None
    likely = [named.meaning] if named else _likely(heading, values, is_wide)
    rest = [meaning for meaning in Meaning if (meaning in OF_A_LINE) == is_wide or meaning in (*ABOVE, Meaning.IGNORED)]
    offers = tuple(dict.fromkeys([*likely, *rest, *Meaning]))
    return Column(
        key=f"column {at}",
        letter=column_letter(at),
        heading=heading,
        unit=unit or unit_in(heading),
        line=named.line if named else "",
        values=tuple(as_text(cell) for cell in values[:_SHOWN]),
        offers=offers,
        doubt=_doubt([cell for cell in values if isinstance(cell, str)], offers[0]),
    )


def _likely(heading: str, values: Sequence[CellValue], is_wide: bool) -> list[Meaning]:
    by_word = word_meaning(heading)
    by_values = _by_values(values, is_wide)
    if by_word is None or not heading:
        return [*by_values, Meaning.IGNORED]
    if by_word in (Meaning.LABEL, Meaning.POSITION) and by_values[:1] == [Meaning.POSITION]:
        return [by_word, Meaning.POSITION, Meaning.LABEL, Meaning.IGNORED]
    if by_word is Meaning.REPLICATE and _counts_replicates(values):
        return [Meaning.IGNORED, Meaning.COUNT, *by_values]
    fits = by_word not in _NUMBERS or not values or any(map(is_number, values))
    if is_wide and by_word in _NUMBERS:
        return [Meaning.IGNORED, *by_values]
    return [by_word, *by_values] if fits else [*by_values, by_word]


def _counts_replicates(values: Sequence[CellValue]) -> bool:
    """Whether a column seems to number replicates: small whole numbers, more than one, with the first among them."""
    texts = {as_text(cell).strip() for cell in values}
    return len(texts) > 1 and "1" in texts and all(re.fullmatch(r"[1-9]|1[0-9]", text) for text in texts)


_NUMBERS = (Meaning.REPLICATE, Meaning.MEAN, Meaning.SD, Meaning.COUNT, Meaning.CONCENTRATION)


def _by_values(values: Sequence[CellValue], is_wide: bool) -> list[Meaning]:
    """What a column without a telling heading may be."""
    texts = [as_text(cell).strip() for cell in values]
    if not texts:
        return [Meaning.IGNORED]
    for meaning, fits in (
        (Meaning.ELEMENT, SYMBOLS.__contains__),
        (Meaning.LINE, lambda text: line_heading(text) is not None),
        (Meaning.UNIT, is_unit),
        (Meaning.TIME, lambda text: is_undecided(text) or not isinstance(read_moment(text), Unread)),
    ):
        if all(map(fits, texts)):
            return [meaning, Meaning.LABEL]
    return _of_numbers(values, texts, is_wide)


def _of_numbers(values: Sequence[CellValue], texts: Sequence[str], is_wide: bool) -> list[Meaning]:
    share = sum(map(is_number, values)) / len(values)
    if share < 1:
        return [Meaning.REPLICATE, Meaning.LABEL] if share > 0.5 and not is_wide else [Meaning.LABEL]
    numbers = [int(text) for text in texts if re.fullmatch(r"[0-9]{1,6}", text)]
    if len(numbers) == len(texts) and numbers == sorted(numbers) and numbers[0] >= 1:
        return [Meaning.POSITION, Meaning.COUNT, Meaning.REPLICATE]
    return [Meaning.IGNORED] if is_wide else [Meaning.REPLICATE, Meaning.MEAN, Meaning.WAVELENGTH]


def _doubt(texts: Sequence[str], meaning: Meaning) -> str:
    """Say where every number of a column could be a thousand times another."""
    signed = [text.strip() for text in texts if re.search(r"[.,]", text)]
    if meaning in (Meaning.TIME, Meaning.WAVELENGTH, Meaning.LINE, Meaning.LABEL) or not signed:
        return ""
    if not all(map(_THREE_BEHIND.fullmatch, signed)):
        return ""
    shown = signed[0]
    one, other = shown.replace(",", "."), re.sub(r"[.,]", "", shown)
    return f"every number has three digits behind its sign: “{shown}” is {one} or {other}, a thousand times as much."


def lines_above(table: RawTable, heading_row: int) -> tuple[Above, ...]:
    """Return the lines above the table that say something, such as "Position: 12", in one cell or in two."""
    found: list[Above] = []
    for row in table.rows[: heading_row - 1]:
        texts = [text for cell in row.cells if (text := as_text(cell).strip())]
        said = _SAID.fullmatch(texts[0]) if texts else None
        word, value = (said["word"], said["value"]) if said else ("", "")
        if texts and len(texts) > 1 and not value:
            word, value = texts[0].rstrip(" :="), texts[1]
        if word and value and word.casefold() not in {line.word.casefold() for line in found}:
            found.append(Above(f"above {row.number}", row.number, word, value, _above_offers(word)))
    return tuple(found)


def _above_offers(word: str) -> tuple[Meaning, ...]:
    meaning = word_meaning(word)
    likely = [meaning] if meaning in ABOVE else []
    return tuple(dict.fromkeys([*likely, Meaning.IGNORED, *ABOVE]))
