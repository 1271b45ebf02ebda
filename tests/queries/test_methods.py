"""Which version of a method holds on a day."""

from datetime import date

import pytest
from pytest_django import DjangoAssertNumQueries

from labresults.queries.methods import versions_asked
from tests.builders import Laboratory, a_method


@pytest.fixture
def two_methods(lab: Laboratory) -> Laboratory:
    """AR-7 is valid since 2026 began; FD-4 ended with June, and no version followed."""
    a_method(lab.people["quality manager"], "FD-4", valid_to="2026-06-30")
    return lab


@pytest.mark.parametrize(
    ("codes", "on", "expected"),
    [
        (["FD-4", "AR-7"], date(2026, 6, 30), ["FD-4 v1", "AR-7 v1"]),
        (["AR-7", "FD-4"], date(2026, 11, 26), ["AR-7 v1", "FD-4 v1"]),  # expired: its newest, which was accepted
        (["AR-7", "XX-1"], date(2026, 11, 26), ["AR-7 v1"]),
        ([], date(2026, 11, 26), []),
    ],
)
def test_each_method_has_its_valid_version_else_its_newest(
    codes: list[str], on: date, expected: list[str], two_methods: Laboratory
) -> None:
    assert [str(version) for version in versions_asked(codes, on)] == expected


def test_what_is_determined_comes_along(
    two_methods: Laboratory, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    with django_assert_num_queries(3):
        found = versions_asked(["AR-7", "FD-4"], date(2026, 11, 26))
        elements = [[one.reported_as for one in version.determinations.all()] for version in found]
        lines = [[row.line.label for row in version.lines.all()] for version in found]
    assert elements == [["Cu", "Pb"]] * 2
    assert lines == [["324.754", "220.353"]] * 2
