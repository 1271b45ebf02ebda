"""Files that are too large, packed to do harm, cut off or damaged: always refused in words, never an error."""

import io
import random
import zipfile
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labresults.readers import delimited, limits, workbook
from labresults.readers import read as reading
from labresults.readers.layout import FIXED, Blocks, Layout, Shape
from labresults.readers.packed import refused
from labresults.readers.read import read
from labresults.readers.recognise import recognise
from tests.readers.files import LONG, LONG_TEXT, WIDE, WIDE_TEXT
from tests.readers.files import workbook as made

BOOK = made(("Run", [["Position", "Name", "Cu 324.754"], [1, "A", 1.5], [2, "B", 2.5]]))


def repacked(*more: tuple[str, bytes], change: dict[str, bytes] | None = None) -> bytes:
    """The workbook with parts added, or some with other content; repetition is packed as far as it goes."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(BOOK)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for entry in old.infolist():
            new.writestr(entry.filename, (change or {}).get(entry.filename, old.read(entry)))
        for name, part in more:
            new.writestr(name, part)
    return out.getvalue()


def part(name: str) -> bytes:
    with zipfile.ZipFile(io.BytesIO(BOOK)) as archive:
        return archive.read(name)


SHEET = "xl/worksheets/sheet1.xml"
BOMB = b'<?xml version="1.0"?><!DOCTYPE lolz [<!ENTITY a "ha"><!ENTITY b "&a;&a;">]>'
OUTSIDE = '<!DOCTYPE x [<!ENTITY y SYSTEM "file:///outside">]>'


def test_the_workbook_of_these_tests_is_read() -> None:
    assert read(repacked(), "x", WIDE).problems == ()


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (repacked(change={SHEET: BOMB + part(SHEET)}), "document types or entities"),
        (repacked(change={SHEET: ('<?xml version="1.0"?>' + OUTSIDE).encode("utf-16")}), "document types or entities"),
        (repacked(("xl/sharedStrings2.xml", BOMB)), "document types or entities"),
        (repacked(("xl/embeddings/inner.xlsx", BOOK)), "another packed file inside"),
        (repacked(("xl/media/zeros.bin", b"\0" * 20_000_000)), "unpacks to far more"),
        (repacked(("../outside.xml", b"x")), "is called “../outside.xml”"),
        (repacked(("/outside.xml", b"x")), "is called “/outside.xml”"),
        (repacked(("xl\\..\\evil", b"x")), "is called"),
        (repacked(*((f"xl/p{n}.xml", b"x") for n in range(limits.MOST_PARTS))), "parts, at most"),
        (repacked(change={SHEET: part(SHEET).replace(b'r="A3"', b'r="ZZZZZZZ3"')}), "reaches beyond"),
        (repacked(change={SHEET: part(SHEET).replace(b'<row r="3"', b'<row r="4000000000"')}), "reaches beyond"),
        (repacked(change={SHEET: part(SHEET).replace(b'r="C3"', b'r="ZZZ3"')}), "reaches beyond"),
        (made(*((f"S{n}", [["x"]]) for n in range(limits.MOST_SHEETS + 1))), "sheets, at most"),
        (made(("Run", [[], []])), "has no rows"),
    ],
    ids=[
        "entities", "entities in UTF-16", "entities in another part", "packed in packed", "bomb", "name upwards",
        "name from the root", "name with a backslash", "too many parts", "column far off", "row far off",
        "too many columns", "too many sheets", "nothing but blank rows",
    ],
)  # fmt: skip
def test_workbooks_that_are_refused(content: bytes, says: str) -> None:
    found = read(content, "readings.xlsx", WIDE)
    assert (found.readings, len(found.problems)) == ((), 1)
    assert says in found.problems[0].what
    assert found.problems[0].file == "readings.xlsx"


def test_a_password_is_named() -> None:
    content = bytearray(BOOK)
    content[content.rindex(b"PK\x01\x02") + 8] |= 1
    problem = refused(bytes(content))
    assert problem is not None
    assert "has a password" in problem.what


def test_parts_that_lie_over_each_other_are_refused() -> None:
    # given a directory whose parts claim more packed bytes than the file has
    content = bytearray(BOOK)
    at = content.rindex(b"PK\x01\x02") + 20
    content[at : at + 4] = (len(BOOK) * 2).to_bytes(4, "little")
    problem = refused(bytes(content))
    assert problem is not None
    assert "over each other" in problem.what


def test_a_file_that_is_too_large(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading, "LARGEST_FILE_BYTES", 50)
    problem = read(WIDE_TEXT.encode(), "run.csv", WIDE).problems[0]
    assert problem.what == f"run.csv has {len(WIDE_TEXT)} bytes, and at most 50 are read."


def test_too_many_rows(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(delimited, "MOST_ROWS", 2)
    assert [p.what for p in delimited.rows_of("a\nb\nc\n", ",", 2)[1]] == ["the file has more than 2 rows."]
    monkeypatch.setattr(workbook, "MOST_ROWS", 2)
    assert "reaches beyond 2 rows" in read(BOOK, "x", WIDE).problems[0].what


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("Position;Name" + ";x" * limits.MOST_COLUMNS, "cells"),
        ("Position;Name;Cu 324.754\n1;A;" + "1" * (limits.LONGEST_CELL + 1), "letters"),
    ],
)
def test_too_many_columns_and_too_long_a_cell(text: str, says: str) -> None:
    assert says in read(text.encode(), "x", WIDE).problems[0].what


# ------------------------------------------------------------ cut off, damaged, random

LAYOUTS = (
    WIDE,
    LONG,
    replace(WIDE, delimiter=FIXED, column_starts=(1, 4, 9)),
    replace(WIDE, blocks=Blocks.MORE, units_row=True, decimal_sign=",", thousands_sign=" "),
    Layout(
        "above", 1, Shape.LONG, "mg/L", element="El", wavelength="nm", mean="Mean", heading_row=0,
        above=(("Position", "position"),), blocks=Blocks.POSITION, concentration="C", time="T", encoding="cp1252",
    ),
)  # fmt: skip


@pytest.mark.parametrize("text", [LONG_TEXT, WIDE_TEXT], ids=["long", "wide"])
def test_a_text_cut_off_anywhere_never_fails(text: str) -> None:
    layout = LONG if text is LONG_TEXT else WIDE
    whole = read(text.encode(), "x", layout)
    for end in range(len(text)):
        found = read(text[:end].encode(), "x", layout)
        assert found.problems or len(found.readings) <= len(whole.readings)


def test_a_text_cut_off_in_the_middle_of_a_row_is_seen() -> None:
    found = read(LONG_TEXT[: LONG_TEXT.index(",1204.5")].encode(), "x", LONG)
    assert [(p.row, p.found, p.expected) for p in found.problems] == [(4, "3 fields", "6 fields")]
    assert "a file that was cut off" in found.problems[0].what_to_do


def test_a_workbook_cut_off_anywhere_is_refused() -> None:
    for end in range(1, len(BOOK), 7):
        assert read(BOOK[:end], "x", WIDE).problems


def test_a_workbook_with_flipped_bits_never_fails() -> None:
    chance = random.Random(20261126)
    for _ in range(300):
        content = bytearray(BOOK)
        for _ in range(chance.randint(1, 4)):
            content[chance.randrange(len(content))] ^= 1 << chance.randrange(8)
        found = read(bytes(content), "x", WIDE)
        assert found.problems or len(found.readings) <= 2


@given(content=st.binary(max_size=300), layout=st.sampled_from(LAYOUTS))
def test_no_bytes_make_it_fail(content: bytes, layout: Layout) -> None:
    assert read(content, "x", layout).problems or content.strip()
    recognise(content, "x")


@given(
    text=st.text(alphabet="PositonameLCu324.7,;\t\"'\n\r 1-eE|µ:=#", max_size=200),
    layout=st.sampled_from(LAYOUTS),
    struck=st.frozensets(st.integers(0, 5), max_size=3),
)
def test_no_text_makes_it_fail(text: str, layout: Layout, struck: frozenset[int]) -> None:
    heads = {Shape.LONG: "Position,Name,Line,Reading 1\n", Shape.WIDE: "Position;Name;Cu 324.754\n"}
    for content in (text, heads[layout.shape] + text):
        found = read(content.encode(), "x", layout, struck)
        assert struck == set(found.struck) or found.problems
        recognise(content.encode(), "x")
