"""The review of a request before it is accepted (ISO/IEC 17025:2017, 7.1): each concern with its figures."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from time import perf_counter

import pytest
from pytest_django import DjangoAssertNumQueries

from labresults.actions.holding import register_holding_time
from labresults.acts import BadInput
from labresults.models import Element, Matrix
from labresults.queries.request_review import FoundConcern, enough_for_one, review
from labresults.readers.delivery import DeliveredSample
from labresults.terms import Concern, SolutionKind
from tests.builders import NOW, Laboratory, a_method

ROW = DeliveredSample(12, "NRD014 112.0 m", "soil", "30")


def found(lab: Laboratory, *rows: DeliveredSample, at: datetime = NOW) -> list[FoundConcern]:
    return list(review(rows, methods=[lab.method], at=at))


@pytest.fixture
def hold(lab: Laboratory) -> Laboratory:
    """Holding times for soil: mercury has none here; lead 28 days, everything else 10 days."""
    who = {"by": lab.people["quality manager"], "at": NOW, "matrix": Matrix.objects.get(name="soil")}
    register_holding_time(hours=240, source="common practice, no source", **who)
    register_holding_time(hours=672, source="a standard, table II", element=Element.objects.get(pk="Pb"), **who)
    return lab


def test_nothing_is_found_where_all_is_well(lab: Laboratory) -> None:
    assert found(lab, ROW, replace(ROW, row=13, delivered_g="")) == []


@pytest.mark.parametrize(
    ("methods", "delivered", "words"),
    [
        # AR-7, AR-8: at least 0.45 g each; OIL: by mass as well; W: by volume
        (("AR-7",), {"delivered_g": "0.45"}, ""),
        (("AR-7",), {"delivered_g": "0.4499"}, "0.4499 g is too little for the test portions: at least AR-7 0.45 g."),
        (("AR-7", "AR-8"), {"delivered_g": "0.9"}, ""),
        (
            ("AR-7", "AR-8"),
            {"delivered_g": "0.5"},
            "0.5 g is too little for the test portions: at least AR-7 0.45 g and AR-8 0.45 g, together 0.9 g.",
        ),
        (("W",), {"delivered_g": "0.1"}, ""),
        # 0.5 mL of 0.8 kg/L are 0.4 g
        (
            ("AR-7",),
            {"delivered_g": "", "delivered_mL": "0.5", "density": "0.8"},
            "0.4 g is too little for the test portions: at least AR-7 0.45 g.",
        ),
        (("AR-7",), {"delivered_g": "", "delivered_mL": "0.5"}, ""),  # no density: nothing can be said
        (("AR-7",), {"delivered_g": "abc"}, ""),  # the check of the rows says it
    ],
)
def test_too_little_for_the_sum_of_the_test_portions(
    lab: Laboratory, methods: tuple[str, ...], delivered: dict[str, str], words: str
) -> None:
    quality = lab.people["quality manager"]
    a_method(quality, "AR-8")
    a_method(quality, "W", solution_kind=SolutionKind.VOLUME_IN_VOLUME, mass_low_g=None, mass_high_g=None)
    concerns = found(lab, replace(ROW, methods=methods, **delivered))
    assert [concern.words for concern in concerns] == ([words] if words else [])
    if words:
        assert (concerns[0].key, concerns[0].what) == ("too little|row 12|AR-7", Concern.TOO_LITTLE)


@pytest.mark.parametrize(
    ("delivered_g", "noted"), [("0.449", False), ("0.45", True), ("0.89", True), ("0.9", False), ("", False)]
)
def test_enough_for_one_and_none_for_a_repeat_is_a_note(lab: Laboratory, delivered_g: str, noted: bool) -> None:
    notes = enough_for_one([replace(ROW, delivered_g=delivered_g)], methods=[lab.method], at=NOW)
    said = f"{delivered_g} g is enough for one measurement (0.45 g), not for a repeat."
    assert notes == (((12, said),) if noted else ())


def test_a_method_that_does_not_serve_the_matrix(lab: Laboratory) -> None:
    Matrix.objects.create(name="leaf", area="food and agriculture")
    (concern,) = found(lab, replace(ROW, matrix="leaf"))
    assert concern.key == "matrix|row 12|AR-7"
    assert concern.words == "AR-7 is validated for rock, soil; this sample is leaf."


@pytest.mark.parametrize(
    ("sampled", "words"),
    [
        ("", None),
        ("2026-11-06 08:00", None),  # ten days ago to the minute: it has not passed
        (
            "2026-11-06 07:59",
            "AR-7: the holding time has passed: Cu 10 days (common practice, no source), until 2026-11-16 07:59.",
        ),
        (
            "2026-10-19",  # a day alone is its beginning
            "AR-7: the holding time has passed: Cu 10 days (common practice, no source), until 2026-10-29 00:00; "
            "Pb 28 days (a standard, table II), until 2026-11-16 00:00.",
        ),
    ],
)
def test_a_holding_time_that_has_passed(hold: Laboratory, sampled: str, words: str | None) -> None:
    concerns = found(hold, replace(ROW, sampled=sampled))
    assert [concern.words for concern in concerns] == ([words] if words else [])


def test_the_newest_holding_time_stands(hold: Laboratory) -> None:
    register_holding_time(
        by=hold.people["quality manager"], at=NOW, matrix=Matrix.objects.get(name="soil"), hours=4320,
        source="a newer standard",
    )  # fmt: skip
    assert found(hold, replace(ROW, sampled="2026-11-01")) == []


@pytest.mark.parametrize(
    ("hours", "source", "match"),
    [(0.0, "a standard", "above zero"), (float("inf"), "x", "above zero"), (24.0, " ", "from")],
)
def test_a_holding_time_needs_a_length_and_a_source(lab: Laboratory, hours: float, source: str, match: str) -> None:
    with pytest.raises(BadInput, match=match):
        register_holding_time(
            by=lab.people["quality manager"], at=NOW, matrix=Matrix.objects.get(name="soil"), hours=hours, source=source
        )


def test_no_valid_version_is_one_concern_whatever_the_rows(lab: Laboratory) -> None:
    later = datetime(2025, 12, 31, tzinfo=UTC)  # the builders' version is valid from 1 January 2026
    (concern,) = found(lab, ROW, replace(ROW, row=13), at=later)
    assert (concern.key, concern.row, concern.what) == ("method expired|all rows|AR-7", None, Concern.METHOD_EXPIRED)
    assert concern.words == ("No version of AR-7 is valid on 2025-12-31: the newest, v1, is valid from 2026-01-01.")


def test_two_thousand_rows_make_five_queries_and_take_a_moment(
    hold: Laboratory, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for code in ("AR-8", "AR-9"):
        a_method(hold.people["quality manager"], code)
    rows = [
        DeliveredSample(row, f"s {row}", "soil", "0.2", sampled="2026-10-01 09:30", methods=("AR-7", "AR-8", "AR-9"))
        for row in range(1, 2_001)
    ]
    with django_assert_max_num_queries(6):
        begun = perf_counter()
        concerns = found(hold, *rows)
        took = timedelta(seconds=perf_counter() - begun)
    assert len(concerns) == 2_000 * (1 + 3)
    assert took < timedelta(seconds=5), "far above what it takes: only a loop within a loop takes so long"
