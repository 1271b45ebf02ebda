"""Rows of a delivery: what may stand in them, and what is said where it may not."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labresults.readers.delivery import (
    DeliveredSample,
    check_delivery,
    moment,
    parts_of,
    quantity,
    yes_or_no,
)
from labresults.readers.moments import Moment, day_is_first, read_moment
from labresults.readers.numbers import Unread

NOW = datetime(2026, 11, 17, 9, 0, tzinfo=UTC)
GOOD = DeliveredSample(
    1,
    "NRD014 112.0 m",
    "soil",
    delivered_g="30",
    methods=("AR-7",),
    basis="dry basis",
    limits="Soil guideline, 2024",
    sampled="2026-11-16 09:30",
    density="1.02",
    hazards=("toxic",),
    field_filtered="yes",
    preservation="nitric acid, pH 2",
)


def problems(*rows: DeliveredSample, zone: object = UTC) -> list[tuple[int | None, str | None, str]]:
    found = check_delivery(
        rows,
        matrices=["soil", "rock"],
        methods=["AR-7", "W-MS"],
        limits=["none", "Soil guideline, 2024"],
        now=NOW,
        zone=zone,  # type: ignore[arg-type]
    )
    return [(problem.row, problem.column, f"{problem.what} {problem.what_to_do}") for problem in found]


def test_a_row_with_everything_right_has_no_problem() -> None:
    assert problems(GOOD) == []


@pytest.mark.parametrize(
    ("changes", "column", "words"),
    [
        ({"client_identification": "  "}, "client's own identification", "It is blank."),
        ({"client_identification": "a\x07"}, "client's own identification", "control character"),
        ({"client_identification": "a" * 201}, "client's own identification", "201 letters; 200 can be kept"),
        ({"matrix": ""}, "matrix", "Choose a matrix."),
        ({"matrix": "sol"}, "matrix", "Did you mean “soil”?"),
        ({"matrix": "Bodem"}, "matrix", "Known are: rock, soil."),
        ({"methods": ("AR7",)}, "methods", "Did you mean “AR-7”?"),
        ({"basis": "wet"}, "basis", "Known are: as received, dry basis."),
        ({"limits": "Soil guideline, 2023"}, "limits", "Did you mean “Soil guideline, 2024”?"),
        ({"hazards": ("toxics",)}, "hazards", "Did you mean “toxic”?"),
        ({"delivered_g": "1,5"}, "delivered, g", "Write it with a point: 1.5 or 15."),
        ({"delivered_g": "30 g"}, "delivered, g", "Take the unit out"),
        ({"delivered_mL": "0"}, "delivered, mL", "Give a number above zero, or nothing."),
        ({"delivered_mL": "nan"}, "delivered, mL", "“nan” is not a quantity."),
        ({"density": "-1"}, "density, kg/L", "“-1” is not a quantity."),
        ({"sampled": "16/11/26"}, "sampled", "a year of two digits"),
        ({"sampled": "03/11/2026"}, "sampled", "day 3 of month 11, or day 11 of month 3"),
        ({"sampled": "2026-11-31"}, "sampled", "not a day of the calendar"),
        ({"sampled": "2026-11-18"}, "sampled", "is still to come"),
        ({"sampled": "2026-11-17 09:01"}, "sampled", "is still to come"),
        ({"field_filtered": "perhaps"}, "field filtered", "neither yes nor no"),
        ({"preservation": "x" * 101}, "preservation", "101 letters; 100 can be kept"),
    ],
    ids=lambda value: str(next(iter(value.items())))[:40] if isinstance(value, dict) else "",
)
def test_a_problem_names_its_row_and_column_and_what_to_do(changes: dict[str, object], column: str, words: str) -> None:
    found = problems(GOOD, replace(GOOD, row=2, **{"client_identification": "b", **changes}))  # type: ignore[arg-type]
    assert [(row, where) for row, where, _ in found] == [(2, column)]
    assert words in found[0][2]


def test_two_that_look_alike_on_a_bottle_are_one() -> None:
    composed, apart = "Bohrung \u00e9", " Bohrung e\u0301 "
    rows = [replace(GOOD, row=1, client_identification=composed), replace(GOOD, row=2, client_identification=apart)]
    assert [(row, words) for row, _, words in problems(*rows)] == [
        (2, "Row 1 has this identification already. It must be alone in one submission: correct it, or strike the row.")
    ]


def test_a_time_without_a_zone_is_the_laboratorys() -> None:
    """09:30 at nine hours east of Greenwich is 00:30 there: past, when it is 09:00 in Greenwich."""
    row = replace(GOOD, sampled="2026-11-17 09:30")
    assert problems(row, zone=ZoneInfo("Asia/Tokyo")) == []
    assert problems(row, zone=UTC) != []


@pytest.mark.parametrize(
    ("text", "value"), [("", None), ("  ", None), ("30", 30.0), (" 0.5 ", 0.5), ("1e3", 1000.0), (".5", 0.5)]
)
def test_a_quantity(text: str, value: float | None) -> None:
    assert quantity(text) == value


@pytest.mark.parametrize("text", ["0", "-1", "1,5", "inf", "a lot", "1_000", "30 g"])
def test_no_quantity(text: str) -> None:
    with pytest.raises(ValueError, match=r".+"):
        quantity(text)


@pytest.mark.parametrize(
    ("text", "value"),
    [("yes", True), ("Y", True), ("TRUE", True), ("1", True), ("no", False), (" N ", False), ("", None)],
)
def test_yes_or_no(text: str, value: bool | None) -> None:
    assert yes_or_no(text) is value


def test_several_words_in_one_cell() -> None:
    assert parts_of("AR-7; W-MS, AR-7,") == ("AR-7", "W-MS")


def day(*numbers: int, has_time: bool = False) -> Moment:
    return Moment(datetime(*numbers), has_time)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("text", "moment_read"),
    [
        ("2026-11-16", day(2026, 11, 16)),
        ("2026/11/6", day(2026, 11, 6)),
        ("2026-11-16T09:30", day(2026, 11, 16, 9, 30, has_time=True)),
        ("2026-11-16 09:30:05", day(2026, 11, 16, 9, 30, 5, has_time=True)),
        ("16 Nov 2026", day(2026, 11, 16)),
        ("16-nov-2026 9:30 pm", day(2026, 11, 16, 21, 30, has_time=True)),
        ("16. November 2026", day(2026, 11, 16)),
        ("Nov 16, 2026", day(2026, 11, 16)),
        ("16.11.2026", day(2026, 11, 16)),
        ("03.11.2026 12:05 am", day(2026, 11, 3, 0, 5, has_time=True)),
        ("16/11/2026", day(2026, 11, 16)),
        ("11/16/2026", day(2026, 11, 16)),
        ("11-11-2026", day(2026, 11, 11)),
    ],
)
def test_days_and_times_as_people_write_them(text: str, moment_read: Moment) -> None:
    assert read_moment(text) == moment_read


@pytest.mark.parametrize("text", ["03/11/2026", "3-11-2026"])
def test_a_date_that_can_be_read_in_two_ways_is_asked_about(text: str) -> None:
    assert isinstance(read_moment(text), Unread)
    assert read_moment(text, day_first=True) == day(2026, 11, 3)
    assert read_moment(text, day_first=False) == day(2026, 3, 11)


@pytest.mark.parametrize("text", ["yesterday", "2026", "16 Foo 2026", "2026-13-01", "2026-11-16 25:00", "31.11.2026"])
def test_no_day(text: str) -> None:
    assert isinstance(read_moment(text), Unread)
    with pytest.raises(ValueError, match=r".+"):
        moment(text, UTC)


def test_a_moment_keeps_the_zone_that_it_names() -> None:
    zone = timezone(timedelta(hours=-3, minutes=-30))
    assert moment("2026-11-16 09:30-03:30", UTC) == datetime(2026, 11, 16, 9, 30, tzinfo=zone)
    assert moment("2026-11-16T09:30Z", zone) == datetime(2026, 11, 16, 9, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    ("texts", "day_first"),
    [(["03/11/2026", "16/11/2026"], True), (["03/11/2026", "11/16/2026"], False), (["03/11/2026"], None),
     (["16/11/2026", "11/16/2026"], None), (["16.11.2026"], None)],
)  # fmt: skip
def test_one_date_tells_how_a_column_is_written(texts: list[str], day_first: bool | None) -> None:
    assert day_is_first(texts) is day_first


@given(st.datetimes(datetime(1900, 1, 1), datetime(2999, 12, 31)))
def test_what_is_written_as_iso_is_read_as_the_same(when: datetime) -> None:
    when = when.replace(second=0, microsecond=0)
    read = read_moment(when.isoformat(" "))
    assert isinstance(read, Moment)
    assert read.when == when
    again = read_moment(str(read))
    assert isinstance(again, Moment)
    assert again.when == when
