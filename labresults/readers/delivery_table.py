"""A client's own list of samples, pasted or as a file: which column means what, and its rows as a delivery takes them.

Nothing is guessed silently: what is taken for what is shown with its first values, and a person confirms it.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from labresults.readers.delimited import decode
from labresults.readers.delivery import LABELS
from labresults.readers.delivery_headings import UNITS, Meant, meaning
from labresults.readers.layout import SNIFF
from labresults.readers.moments import day_is_first, is_undecided, read_moment
from labresults.readers.numbers import Unread, read_number
from labresults.readers.pasted import cells_of
from labresults.readers.problem import Problem
from labresults.readers.table import CellError, CellValue, Headings, RawRow, RawTable, as_text, column_letter
from labresults.readers.workbook import OLD_SIGNATURE, SIGNATURE, read_sheet, sheet_names

SEPARATORS: Mapping[str, str] = {"tabs": "\t", "semicolons": ";", "commas": ",", "nothing": ""}
"""What parts the cells of a text, by its word; by nothing where every line is one cell."""

LEFT_OUT = "left out"
"""The choice for a column that no column of the delivery takes."""

MOST_ROWS = 5000
_SEARCHED = 20  # headings are looked for in so many rows: titles and addresses stand above them
_TO_THE_LETTER = frozenset({"client_identification", "note"})
_FROM_A_DATE_CELL = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?")


@dataclass(frozen=True)
class SourceTable:
    """rows: without blank ones, numbered as in the source. sheets: of a workbook; separator: of a text, by its word."""

    rows: tuple[RawRow, ...]
    problems: tuple[Problem, ...] = ()
    sheets: tuple[str, ...] = ()
    sheet: str = ""
    separator: str = ""


@dataclass(frozen=True)
class SourceColumn:
    """One column of the source: its heading (or letter), what that is taken for, and its first values."""

    place: int
    name: str
    meant: Meant
    values: tuple[str, ...]


@dataclass(frozen=True)
class Choice:
    """What a person takes a column for: a column of the delivery or LEFT_OUT, and the unit where it has one."""

    column: str
    unit: str = ""


def read_table(content: bytes, name: str, *, sheet: str = "", separator: str = "") -> SourceTable:
    """Return the rows of a text or a workbook. No file makes this fail: what cannot be read is a problem.

    sheet: of a workbook; the first where none is named. separator: a word of SEPARATORS, looked for where none is said.
    """
    if not content.strip():
        return _nothing(f"{name} is empty.", "Copy the rows once more, or choose another file.")
    if content.startswith(OLD_SIGNATURE):
        return _nothing(
            f"{name} is a workbook of the old kind, or has a password.",
            "Save it as XLSX or as CSV, without a password.",
        )
    table = _of_workbook(content, sheet) if content.startswith(SIGNATURE) else _of_text(content, name, separator)
    if len(table.rows) > MOST_ROWS:
        return _nothing(f"{name} has {len(table.rows)} rows.", f"Load at most {MOST_ROWS} rows at once.")
    if not table.rows and not table.problems:
        empty = Problem(None, None, "there is no row in it.", "Choose another sheet or file.")
        return replace(table, problems=(empty,))
    return table


def find_heading_row(table: SourceTable) -> int:
    """Return the number of the row that holds the headings: the one of which most is recognised; 0 where none is."""
    counts = [
        (sum(bool(meaning(as_text(cell)).column) for cell in row.cells), row.number) for row in table.rows[:_SEARCHED]
    ]
    most = max((count for count, _ in counts), default=0)
    return next((number for count, number in counts if count == most), 0) if most else 0


def columns_of(table: SourceTable, heading_row: int) -> tuple[SourceColumn, ...]:
    """Return the columns under a heading row (0: there is none), those without heading and value left out."""
    below = [row for row in table.rows if row.number > heading_row]
    headings = next((row.cells for row in table.rows if row.number == heading_row and heading_row), ())
    width = max((len(row.cells) for row in [*below, RawRow(0, headings)]), default=0)
    named = Headings.of(RawRow(heading_row, headings))
    columns = []
    for where in range(width):
        heading = named.texts[where] if where < len(named.texts) else ""
        filled = (text for row in below if (text := _text(row, where)).strip())
        values = tuple(text for text, _ in zip(filled, range(3), strict=False))
        if heading or values:
            name = named.name(where) if heading else f"column {column_letter(where)}"
            columns.append(SourceColumn(where, name, meaning(heading), values))
    return tuple(columns)


def check_choices(columns: Sequence[SourceColumn], choices: Mapping[int, Choice]) -> tuple[Problem, ...]:
    """Return what is not decided yet, or decided twice, column by column. choices: by the place of the column."""
    problems: list[Problem] = []
    taken: dict[str, SourceColumn] = {}
    for column in columns:
        choice = choices.get(column.place, Choice(""))
        if choice.column == LEFT_OUT:
            continue
        if choice.column not in LABELS:
            what = "nobody has said what this column is."
            problems.append(Problem(None, column.name, what, "Choose a column for it, or leave it out."))
            continue
        earlier = taken.setdefault(choice.column, column)
        if earlier is not column:
            what = f"“{earlier.name}” is taken for {LABELS[choice.column]} too."
            problems.append(Problem(None, column.name, what, "Take one of the two, and leave the other out."))
        if choice.column in UNITS and choice.unit not in UNITS[choice.column]:
            problems.append(Problem(None, column.name, "its unit is not said.", "Choose the unit of its numbers."))
    if "client_identification" not in taken:
        what = "no column is taken for the client's own identification."
        problems.append(Problem(None, None, what, "Choose the column that it stands in."))
    return tuple(problems)


def decimal_sign_of(table: SourceTable, heading_row: int, places: Sequence[int]) -> str:
    """Return the decimal sign of the numbers in some columns, "." or ","; "" where they can be read in two ways."""
    said: set[str] = set()
    commas = False
    for text in _texts(table, heading_row, places):
        if "," in text:
            commas = True
            said |= _sign_of(text)
        elif text.count(".") > 1:
            said.add(",")
    if not said:
        return "" if commas else "."
    return said.pop() if len(said) == 1 else ""


def day_first_of(table: SourceTable, heading_row: int, places: Sequence[int]) -> bool | None:
    """Return whether days stand before months in the dates of some columns; None where nothing says so."""
    return day_is_first(_texts(table, heading_row, places))


def has_undecided_days(table: SourceTable, heading_row: int, places: Sequence[int]) -> bool:
    """Whether a date in some columns can be read in two ways."""
    return any(map(is_undecided, _texts(table, heading_row, places)))


def place(
    table: SourceTable,
    heading_row: int,
    choices: Mapping[int, Choice],
    *,
    decimal_sign: str = ".",
    day_first: bool | None = None,
) -> tuple[tuple[dict[str, str], ...], tuple[Problem, ...]]:
    """Return the rows as a delivery has them, by column, and every cell that a spreadsheet has spoilt.

    Identifications and notes are kept to the letter. Quantities come in g, mL and kg/L, converted exactly, with a
    decimal point; days in ISO 8601. What cannot be read stays as it is: the check of the rows says so at its place.
    """
    wanted = [(where, choice) for where, choice in sorted(choices.items()) if choice.column in LABELS]
    rows, problems = [], []
    for source in table.rows:
        if source.number <= heading_row:
            continue
        row = dict.fromkeys(LABELS, "")
        for where, choice in wanted:
            cell = source.cells[where] if where < len(source.cells) else ""
            if trouble := _spoilt(cell, choice, bool(table.sheet)):
                problems.append(Problem(source.number, column_letter(where), *trouble))
            row[choice.column] = _cell(cell, choice, decimal_sign, day_first)
        rows.append(row)
    return tuple(rows), tuple(problems)


def _nothing(what: str, what_to_do: str) -> SourceTable:
    return SourceTable((), (Problem(None, None, what, what_to_do),))


def _of_workbook(content: bytes, sheet: str) -> SourceTable:
    sheets = sheet_names(content)
    chosen = sheet if sheet in sheets else (sheets[0] if sheets else "")
    raw = read_sheet(content, chosen)
    return SourceTable(_filled(raw), _merged_below(raw), sheets, chosen)


def _merged_below(raw: RawTable) -> tuple[Problem, ...]:
    """Problems of the rows from the headings on: a title over the whole table is merged and harms nothing."""
    heading_row = find_heading_row(SourceTable(_filled(raw)))
    return tuple(problem for problem in raw.problems if problem.row is None or problem.row >= heading_row)


def _filled(raw: RawTable) -> tuple[RawRow, ...]:
    return tuple(row for row in raw.rows if not row.is_blank)


def _of_text(content: bytes, name: str, separator: str) -> SourceTable:
    decoded = decode(content, SNIFF)
    if isinstance(decoded, Problem):
        what = f"{name} is not written in UTF-8 ({decoded.what.rstrip('.')})."
        return SourceTable((), (Problem(decoded.row, None, what, "Save it as CSV in UTF-8, or as XLSX."),))
    text = decoded[0].replace("\r\n", "\n").replace("\r", "\n")
    word = separator if separator in SEPARATORS else _separator(text)
    rows = [RawRow(number, cells) for number, cells in enumerate(cells_of(text, SEPARATORS[word]), start=1)]
    return SourceTable(tuple(row for row in rows if not row.is_blank), separator=word)


def _separator(text: str) -> str:
    """What parts the cells: tabs, else the sign that gives every line as many cells or parts known headings."""
    if "\t" in text:
        return "tabs"
    for word in ("semicolons", "commas"):
        widths = {len(cells) for cells in cells_of(text, SEPARATORS[word]) if any(cell.strip() for cell in cells)}
        if len(widths) == 1 and widths.pop() > 1:
            return word
    first = next((line for line in text.split("\n") if line.strip()), "")
    for word in ("semicolons", "commas"):
        if sum(bool(meaning(heading).column) for heading in first.split(SEPARATORS[word])) > 1:
            return word
    return "nothing"


def _text(row: RawRow, where: int) -> str:
    return as_text(row.cells[where]) if where < len(row.cells) else ""


def _texts(table: SourceTable, heading_row: int, places: Sequence[int]) -> list[str]:
    """The texts in some columns; what a workbook stores as a number has one meaning only and is left out."""
    return [
        row.cells[where].strip()  # type: ignore[union-attr]
        for row in table.rows
        if row.number > heading_row
        for where in places
        if where < len(row.cells) and isinstance(row.cells[where], str)
    ]


def _sign_of(text: str) -> set[str]:
    """What a number with a comma says of the decimal sign; nothing where the comma may part thousands as well."""
    if "." in text:
        return {max(",.", key=text.rfind)}
    if text.count(",") > 1:
        return {"."}
    whole, _, rest = text.partition(",")
    may_part_thousands = re.fullmatch(r"[1-9][0-9]{0,2}", whole.strip()) and re.fullmatch(r"[0-9]{3}", rest.strip())
    return set() if may_part_thousands else {","}


def _spoilt(cell: CellValue, choice: Choice, in_workbook: bool) -> tuple[str, str] | None:
    if isinstance(cell, CellError):
        return f"the spreadsheet shows {cell.shown} here.", "Correct the cell, and load the file again."
    if in_workbook and choice.column == "client_identification" and _FROM_A_DATE_CELL.fullmatch(str(cell)):
        what = "the spreadsheet has made a date of this identification."
        return what, "Make the cell a text with what stands on the sample, and load the file again."
    return None


def _cell(cell: CellValue, choice: Choice, decimal_sign: str, day_first: bool | None) -> str:
    text = as_text(cell)
    if choice.column in _TO_THE_LETTER:
        return text
    if choice.column in UNITS:
        sign = decimal_sign if isinstance(cell, str) else "."
        return _in_our_unit(text.strip(), UNITS[choice.column].get(choice.unit, Decimal(1)), sign)
    if choice.column == "sampled":
        read = read_moment(text.removesuffix("T00:00:00"), day_first)
        return text.strip() if isinstance(read, Unread) else str(read)
    return text.strip()


def _in_our_unit(text: str, factor: Decimal, decimal_sign: str) -> str:
    """A number times a factor, exactly; a text that is no number stays as it is."""
    thousands = "," if decimal_sign == "." else "."
    if isinstance(read_number(text, decimal_sign, thousands), Unread):
        return text
    plain = text.replace("\N{MINUS SIGN}", "-").replace(thousands, "").replace(decimal_sign, ".")
    if factor == 1:
        return plain
    exact = Decimal(plain) * factor
    return f"{exact.normalize():f}" if exact else "0"
