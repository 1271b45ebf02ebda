"""A list of the client's own, pasted or as a file: what each column is, a person says before it comes into the grid."""

from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from labresults.models import Sample, Submission
from tests.builders import Laboratory
from tests.readers.files import workbook
from tests.web.counter import form, grid, sent_again, wrong_rows

AsRole = Callable[[str], Client]


def said(answer: Any, **columns: str) -> dict[str, Any]:
    """The fields of the table as the page shows them, with what is said of single columns by their heading."""
    table = answer.context["table"]
    found = table.understood
    fields = {
        "table": table.sha256, "table_name": table.name, "table_form": table.form_of, "sheet": found.table.sheet,
        "separator": found.table.separator, "heading_row": str(found.heading_row),
        "decimal_sign": found.signs.decimal_sign, "day_order": found.signs.day_order,
    }  # fmt: skip
    return fields | {f"column-{column.place}": columns.get(column.name, column.chosen) for column in found.columns}


def test_pasted_rows_come_into_the_grid_once_every_column_is_confirmed(lab: Laboratory, as_role: AsRole) -> None:
    browser = as_role("reception")
    text = "Type\tSample ID\tMass (kg)\tRemarks\nsoil\tNRD014 112.0 m\t0.214\tbag torn\nrock\t  NRD014 / 113  \t\t\n"
    read = browser.post(reverse("reception"), form(lab, read="", paste=text, **grid("typed before")))
    assert [(column.name, column.chosen) for column in read.context["table"].understood.columns] == [
        ("Type", "matrix"),
        ("Sample ID", "client_identification"),
        ("Mass (kg)", "delivered_g|kg"),
        ("Remarks", "note"),
    ]
    assert len(read.context["grid"].rows) == 1
    put = browser.post(reverse("reception"), form(lab, put="", **sent_again(read), **said(read)))
    assert put.context["table"] is None
    names = ("client_identification", "matrix", "delivered_g", "note")
    assert [tuple(row[name] for name in names) for row in put.context["grid"].rows] == [
        ("typed before", "soil", "30", ""),
        ("NRD014 112.0 m", "soil", "214", "bag torn"),
        ("  NRD014 / 113  ", "rock", "", ""),
    ]
    assert not Submission.objects.exists()


def test_what_is_not_said_of_a_column_keeps_the_rows_out(lab: Laboratory, as_role: AsRole) -> None:
    browser = as_role("reception")
    text = "Sample\tDepth\tWeight\na\t1-2\t30\n"
    read = browser.post(reverse("reception"), form(lab, read="", paste=text))
    refused = browser.post(reverse("reception"), form(lab, put="", **said(read)))
    words = refused.content.decode()
    assert "column Depth: nobody has said what this column is." in words
    assert "column Weight: nobody has said what this column is." in words
    assert refused.context["grid"].rows == []
    twice = browser.post(
        reverse("reception"), form(lab, put="", **said(read, Depth="note", Weight="client_identification"))
    )
    assert "is taken for client&#x27;s own identification too" in twice.content.decode()
    put = browser.post(reverse("reception"), form(lab, put="", **said(read, Depth="left out", Weight="delivered_g|kg")))
    assert [(row["client_identification"], row["delivered_g"]) for row in put.context["grid"].rows] == [("a", "30000")]


@pytest.mark.parametrize(("sign", "grams"), [(".", "1234"), (",", "1.234")])
def test_a_number_that_can_be_read_in_two_ways_is_asked(
    sign: str, grams: str, lab: Laboratory, as_role: AsRole
) -> None:
    browser = as_role("reception")
    read = browser.post(reverse("reception"), form(lab, read="", paste="Sample\tg\na\t1,234\n"))
    assert "the numbers can be read in two ways" in read.content.decode()
    put = browser.post(reverse("reception"), form(lab, put="", **(said(read) | {"decimal_sign": sign})))
    assert put.context["grid"].rows[0]["delivered_g"] == grams


@pytest.mark.parametrize(("order", "day"), [("day first", "2026-11-03"), ("month first", "2026-03-11")])
def test_a_day_that_can_be_read_in_two_ways_is_asked(order: str, day: str, lab: Laboratory, as_role: AsRole) -> None:
    browser = as_role("reception")
    read = browser.post(reverse("reception"), form(lab, read="", paste="Sample\tSampled\na\t03/11/2026\n"))
    assert "the days can be read in two ways" in read.content.decode()
    put = browser.post(reverse("reception"), form(lab, put="", **(said(read) | {"day_order": order})))
    assert put.context["grid"].rows[0]["sampled"] == day


def test_a_list_without_headings_is_taken_column_by_column(lab: Laboratory, as_role: AsRole) -> None:
    browser = as_role("reception")
    read = browser.post(reverse("reception"), form(lab, read="", paste="NRD 1\tsoil\nNRD 2\tsoil\n"))
    assert read.context["table"].understood.heading_row == 0
    columns = {"column A": "client_identification", "column B": "matrix"}
    put = browser.post(reverse("reception"), form(lab, put="", **said(read, **columns)))
    assert [row["client_identification"] for row in put.context["grid"].rows] == ["NRD 1", "NRD 2"]


def test_the_heading_row_and_the_separator_can_be_corrected(lab: Laboratory, as_role: AsRole) -> None:
    browser = as_role("reception")
    read = browser.post(reverse("reception"), form(lab, read="", paste="Sample, g, x\na, 1\n"))
    assert read.context["table"].understood.table.separator == "commas"
    whole = browser.post(reverse("reception"), form(lab, look="", **(said(read) | {"separator": "nothing"})))
    assert [column.name for column in whole.context["table"].understood.columns] == ["column A"]
    none = browser.post(reverse("reception"), form(lab, look="", **(said(whole) | {"heading_row": "1"})))
    assert [column.name for column in none.context["table"].understood.columns] == ["Sample, g, x"]


def test_a_sheet_of_a_workbook_is_chosen_and_its_rows_are_logged(lab: Laboratory, as_role: AsRole) -> None:
    browser = as_role("reception")
    sheets = ("Notes", [["hello"]]), ("List", [["Sample", "Type", "g"], [1001, "Soil", 30], ["NRD 2", "rock", 25.5]])
    file = SimpleUploadedFile("list.xlsx", workbook(*sheets))
    read = browser.post(reverse("reception"), form(lab, read="", file=file))
    assert read.context["table"].understood.table.sheets == ("Notes", "List")
    chosen = browser.post(reverse("reception"), form(lab, look="", **(said(read) | {"sheet": "List"})))
    put = browser.post(reverse("reception"), form(lab, put="", **said(chosen)))
    browser.post(reverse("reception"), form(lab, log="", **sent_again(put)))
    assert list(Sample.objects.order_by("ordinal").values_list("client_identification", "matrix__name")) == [
        ("1001", "soil"),
        ("NRD 2", "rock"),
    ]


def test_a_csv_file_with_semicolons_and_decimal_commas(lab: Laboratory, as_role: AsRole) -> None:
    browser = as_role("reception")
    file = SimpleUploadedFile("list.csv", "\ufeffProbe;Material;Masse (kg)\r\nÄ 1;soil;0,25\r\n".encode())
    read = browser.post(reverse("reception"), form(lab, read="", file=file))
    put = browser.post(reverse("reception"), form(lab, put="", **said(read)))
    row = put.context["grid"].rows[0]
    assert (row["client_identification"], row["matrix"], row["delivered_g"]) == ("Ä 1", "soil", "250")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty."),
        (b"PK\x03\x04", "is damaged or cut off."),
        (b"\xd0\xcf\x11\xe0", "is a workbook of the old kind"),
        ("Sämple\nä".encode("cp1252"), "is not written in UTF-8"),
        (b"x" * (10 * 1024 * 1024 + 1), "Load at most"),
    ],
    ids=["empty", "damaged", "old kind", "encoding", "too large"],
)
def test_a_file_that_cannot_be_read_is_refused_in_words_and_the_rows_stay(
    content: bytes, words: str, lab: Laboratory, as_role: AsRole
) -> None:
    given = form(lab, read="", file=SimpleUploadedFile("list.xlsx", content), **grid("a"))
    answer = as_role("reception").post(reverse("reception"), given)
    assert words in answer.content.decode()
    assert len(answer.context["grid"].rows) == 1


def test_nothing_is_logged_while_a_table_is_read(lab: Laboratory, as_role: AsRole) -> None:
    browser = as_role("reception")
    answer = browser.post(reverse("reception"), form(lab, log="", paste="Sample\nb\n", **grid("a")))
    assert "The table that was read is not in the grid yet." in answer.content.decode()
    assert answer.context["table"] is not None
    left = browser.post(reverse("reception"), form(lab, drop="", **said(answer), **sent_again(answer)))
    assert left.context["table"] is None
    assert len(left.context["grid"].rows) == 1
    assert not Submission.objects.exists()


def test_a_file_and_a_paste_at_once_are_refused(lab: Laboratory, as_role: AsRole) -> None:
    file = SimpleUploadedFile("list.csv", b"Sample\na\n")
    answer = as_role("reception").post(reverse("reception"), form(lab, read="", paste="Sample\nb\n", file=file))
    assert "Bring them one after the other." in answer.content.decode()


def test_seven_mistakes_of_five_hundred_pasted_rows_are_mended_in_place(lab: Laboratory, as_role: AsRole) -> None:
    browser = as_role("reception")
    rows = [[f"NRD014 {n}.0 m", "soil", "30", "2026-11-16"] for n in range(1, 501)]
    rows[5][0] = rows[4][0]  # row 6: the identification of row 5
    rows[19][0] = ""  # row 20: none
    rows[99][1] = "sol"  # row 100: a matrix misspelt
    rows[199][2] = "30 g"  # row 200: a unit in the number
    rows[299][2] = "-1"  # row 300: below zero
    rows[399][3] = "2026-12-24"  # row 400: sampled in the future
    rows[499][3] = "16/11/26"  # row 500: a year of two digits
    text = "\n".join("\t".join(row) for row in [["Sample", "Type", "Mass, g", "Sampled"], *rows])
    read = browser.post(reverse("reception"), form(lab, read="", paste=text))
    put = browser.post(reverse("reception"), form(lab, put="", **said(read)))
    assert sorted(wrong_rows(put)) == [6, 20, 100, 200, 300, 400, 500]
    refused = browser.post(reverse("reception"), form(lab, log="", **sent_again(put)))
    assert not Submission.objects.exists()
    mended = sent_again(refused)
    assert mended["row"] == ["6", "20", "100", "200", "300", "400", "500"]
    mended["client_identification"][:2] = ["NRD014 6.0 m", "NRD014 20.0 m"]
    mended["matrix"][2] = "soil"
    mended["delivered_g"][3:5] = ["30", "1"]
    mended["sampled"][5:] = ["2026-11-16", "2026-11-16"]
    logged = browser.post(reverse("reception"), form(lab, log="", **mended))
    assert logged.status_code == 302
    names = list(Sample.objects.order_by("ordinal").values_list("client_identification", flat=True))
    assert names == [f"NRD014 {n}.0 m" for n in range(1, 501)]
