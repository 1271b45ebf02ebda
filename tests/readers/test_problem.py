"""Problems as they are downloaded: each by file, row, column, what was found, what was expected and what to do."""

import csv
import io

from labresults.readers.problem import PROBLEM_HEADINGS, Problem, named, problems_csv
from labresults.readers.read import read
from tests.readers.files import WIDE


def rows(content: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline="")))


def test_every_problem_of_a_file_can_be_downloaded() -> None:
    # given a file with more problems than a page shows
    text = "Position;Name;Cu 324.754\n" + "".join(f"{n};S{n};{n},5\n" for n in range(1, 301))
    # when they are downloaded
    found = rows(problems_csv(read(text.encode(), "evening.csv", WIDE).problems))
    # then all are there, with everything that there is to say
    assert (found[0], len(found)) == (list(PROBLEM_HEADINGS), 301)
    assert found[300][:3] == ["evening.csv", "301", "Cu 324.754"]
    assert found[300][4:6] == ["300,5", "a number with a decimal point"]
    assert "which sign is the decimal sign" in found[300][6]


def test_a_text_that_a_spreadsheet_would_compute_is_made_harmless() -> None:
    formula = '=HYPERLINK("http://127.0.0.1")'
    problem = Problem(2, "@x", "what", "do", found=formula, expected="-1")
    _, row = rows(problems_csv(named([problem], "+run.csv")))
    assert row == ["'+run.csv", "2", "'@x", "what", "'" + formula, "'-1", "do"]


def test_spreadsheets_see_that_it_is_utf_8() -> None:
    assert problems_csv([]).startswith(b"\xef\xbb\xbffile,row,column")


def test_a_problem_says_its_place_in_words() -> None:
    assert str(Problem(3, "Cu", "it is odd.", "Look.")) == "row 3, column Cu: it is odd. Look."
    assert str(Problem(None, None, "it is odd.", "Look.")) == "it is odd. Look."
