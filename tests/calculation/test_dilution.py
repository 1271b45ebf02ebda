"""Written dilutions (common practice, no source)."""

import pytest

from labresults.calculation.dilution import parse_dilution
from labresults.calculation.errors import UnclearDilution


@pytest.mark.parametrize(
    ("written", "factor", "words"),
    [
        ("1 + 9", 10.0, "1 + 9"),
        ("1+4", 5.0, "1 + 4"),
        ("2 + 3", 2.5, "2 + 3"),
        ("1 in 10", 10.0, "1 in 10"),
        ("1 IN 20", 20.0, "1 in 20"),
        ("0.5 in 50", 100.0, "0.5 in 50"),
        ("x 10", 10.0, "× 10"),
        ("×2.5", 2.5, "× 2.5"),
        ("X5", 5.0, "× 5"),
        ("1 + 9, x 5", 50.0, "1 + 9, × 5"),
        ("1 in 3, 1 in 3", 9.0, "1 in 3, 1 in 3"),
        ("", 1.0, ""),
        ("  ", 1.0, ""),
        ("x 1", 1.0, "× 1"),
    ],
)
def test_a_written_dilution_has_one_factor(written: str, factor: float, words: str) -> None:
    found = parse_dilution(written)
    assert (found.factor, found.words) == (factor, words)


@pytest.mark.parametrize("written", ["1:10", "1 : 10", "1/10", "1 + 4, 1:10"])
def test_a_ratio_is_asked_about(written: str) -> None:
    with pytest.raises(UnclearDilution, match=r"1 \+ 10 .*or 1 in 10.*\?"):
        parse_dilution(written)


@pytest.mark.parametrize(
    "written", ["10", "tenfold", "x 0.5", "10 in 1", "0 + 9", "0 in 10", "1 + 9,", "1,5 + 9", "-1 + 9"]
)
def test_what_is_no_dilution_is_refused(written: str) -> None:
    with pytest.raises(UnclearDilution):
        parse_dilution(written)
