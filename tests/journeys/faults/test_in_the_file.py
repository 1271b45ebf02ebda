"""What goes wrong with the file that the instrument wrote: nothing of it is taken, and the place is named."""

import io
from collections.abc import Callable

import openpyxl
import pytest

from labresults.models import Reading, ReadingFile
from tests.builders import Laboratory
from tests.journeys.faults.night import Caught, Fault, caught
from tests.journeys.faults.planting import instead, rows_without


def in_the_file(
    what: str, words: str, text: Callable[[str], str | bytes], *, filename: str = "night.csv"
) -> Fault:  # fmt: skip
    return Fault(what, Caught.FILE, words, text=text, filename=filename)


def rows_of(text: str) -> list[list[str]]:
    return [row.split(",") for row in text.rstrip().split("\n")]


def joined(rows: list[list[str]], sign: str = ",") -> str:
    return "\n".join(sign.join(row) for row in rows)


def with_commas(text: str) -> str:
    """The instrument's computer was set to another language: semicolons, and decimal commas in the readings."""
    return joined([[*row[:4], *(cell.replace(".", ",") for cell in row[4:])] for row in rows_of(text)], ";")


def calibrated_again(text: str) -> str:
    """Somebody calibrated again in the night and told nobody: eight more positions."""
    rows = rows_of(text)
    return joined([*rows, *([str(int(row[0]) + 28), *row[1:]] for row in rows if row[1].startswith("STD"))])


def with_labels_exchanged(text: str) -> str:
    """Two labels stand in each other's place."""
    return text.replace("KF26-00003,", "?,").replace("KF26-00004,", "KF26-00003,").replace("?,", "KF26-00004,")


def read_twice(text: str) -> str:
    """The sampler went to one cup twice, and both readings came out under its number."""
    rows = rows_of(text)
    return joined([*rows, *(row for row in rows if row[0] == "17")])


def from_the_next_cup(text: str) -> str:
    """The rack stood one cup further on: numbers and labels do not go together."""
    return joined([[str(int(row[0]) + 1) if row[0].isdecimal() else row[0], *row[1:]] for row in rows_of(text)])


def as_a_workbook(text: str) -> bytes:
    """Somebody opened the file in a spreadsheet and worked in it: a cell divides by nothing now."""
    book = openpyxl.Workbook()
    for row in rows_of(text):
        book.active.append([float(cell) if cell.replace(".", "").isdecimal() else cell for cell in row])
    book.active["F6"] = "#DIV/0!"
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


FAULTS = [
    in_the_file(
        "a file cut off", r"position 28 \(“CCB 3”\) is not in the file", lambda text: text[: text.index("\n28,")]
    ),
    in_the_file(
        "a file cut off in a row",
        "the row has . fields, the headings are 7.* cut off",
        lambda text: text[: text.index("17,KF26-00003,") + 600],
    ),
    in_the_file("decimal commas read as points", "row 2, column reading 1: “.*,.*” can be read as", with_commas),
    in_the_file(
        "a calibration that nobody announced", "positions 29 to 36 .* again.*a second calibration", calibrated_again
    ),
    in_the_file(
        "two labels in each other's place",
        "“KF26-00004” here and “KF26-00003” in the plan.*swapped",
        with_labels_exchanged,
    ),
    in_the_file("one cup read twice", "row 142.*position 17", read_twice),
    in_the_file(
        "a rack that stood one cup further on",
        "position 16 is “KF26-00001” here and “KF26-00002” in the plan",
        from_the_next_cup,
    ),
    in_the_file(
        "the file of another run", "“KF26-00101” here and “KF26-00001” in the plan", instead("KF26-000", "KF26-001")
    ),
    in_the_file(
        "the file of another method",
        "column Pb 220.353: this line of the method is not in the file",
        rows_without("Pb 220.353"),
    ),
    in_the_file(
        "a line under the wavelength of another element",
        "column Cu 259.940: the method of this run does not have this line",
        instead("Fe 259.940", "Cu 259.940"),
    ),
    in_the_file("iron under the name of copper", "Cu 324.754", instead("Fe 259.940", "Cu 324.754")),
    in_the_file(
        "a position that was not read at one line",
        "position 17 was not read at this line",
        rows_without("KF26-00003,.*Pb 220.353"),
    ),
    in_the_file(
        "a limit in place of a reading",
        "“<10” is not a number. Have the instrument write the reading itself",
        instead(r"^(13,.*Cu 324.754),[\d.]*", r"\1,<10"),
    ),
    in_the_file(
        "a letter in place of a digit",
        "row 4, column reading 2: “1O.0000” is not a number",
        instead(r"^(1,.*Pb 220.353,[\d.]*),[\d.]*", r"\1,1O.0000"),
    ),
    in_the_file(
        "a formula that failed in a spreadsheet", "row 6, column reading 2", as_a_workbook, filename="night.xlsx"
    ),
    in_the_file("a page in place of a file", "row 1", lambda _: "<html><body>The instrument is offline</body></html>"),
    in_the_file("an empty file", "empty", lambda _: ""),
]


@pytest.mark.parametrize("fault", FAULTS, ids=str)
def test_a_fault_in_the_file_is_caught_before_anything_is_taken(lab: Laboratory, fault: Fault) -> None:
    caught(lab, fault)
    assert not ReadingFile.objects.exists()
    assert not Reading.objects.exists()
