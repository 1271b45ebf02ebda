"""Written dilutions (common practice, no source)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labresults.calculation.dilution import Step, parse_dilution
from labresults.calculation.errors import NeedsDensity, UnclearDilution


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
        ("5 mL to 50 mL", 10.0, "5 mL to 50 mL"),
        ("5ml to 50ML", 10.0, "5 mL to 50 mL"),
        ("100 µL to 10 mL", 100.0, "100 µL to 10 mL"),
        ("100 uL to 0.1 L", 1000.0, "100 µL to 0.1 L"),
        ("1 g to 10 g", 10.0, "1 g to 10 g"),
        ("250 mg to 10 g", 40.0, "250 mg to 10 g"),
        ("1.002 g to 10.015 g", 10015 / 1002, "1.002 g to 10.015 g"),
        ("5 mL + 45 mL", 10.0, "5 mL + 45 mL"),
        ("5 mL in 50 mL", 10.0, "5 mL in 50 mL"),
        ("10 mL to 10 mL", 1.0, "10 mL to 10 mL"),
        # over a density: 20.4 g at 1.02 kg/L are 20 mL; 2 mL at 1.5 kg/L are 3 g
        ("2 mL to 20.4 g at 1.02 kg/L", 10.0, "2 mL to 20.4 g at 1.02 kg/L"),
        ("2.04 g to 20 mL at 1.02 g/mL", 10.0, "2.04 g to 20 mL at 1.02 kg/L"),
        ("3 g + 2 mL at 1.5 kg/L", 2.0, "3 g + 2 mL at 1.5 kg/L"),
        ("1 + 9, x 5", 50.0, "1 + 9, × 5"),
        ("5 mL to 50 mL, 1 in 5, x 2", 100.0, "5 mL to 50 mL, 1 in 5, × 2"),
        ("1 in 3, 1 in 3", 9.0, "1 in 3, 1 in 3"),
        ("0.1 in 0.3, 0.1 in 0.3, 0.1 in 0.3", 27.0, "0.1 in 0.3, 0.1 in 0.3, 0.1 in 0.3"),
        ("5 mL to 50 mL, 5 mL to 50 mL = x 100", 100.0, "5 mL to 50 mL, 5 mL to 50 mL"),
        ("1 g to 9.96 g = x 10", 9.96, "1 g to 9.96 g"),
        ("", 1.0, ""),
        ("  ", 1.0, ""),
        ("x 1", 1.0, "× 1"),
    ],
)
def test_a_written_dilution_has_one_factor(written: str, factor: float, words: str) -> None:
    found = parse_dilution(written)
    assert (found.factor, found.words) == (factor, words)


def test_the_steps_are_there_one_by_one() -> None:
    found = parse_dilution("5 mL to 50 mL, 1 + 4, x 2 = x 100")
    assert found.steps == (Step("5 mL to 50 mL", 10.0), Step("1 + 4", 5.0), Step("× 2", 2.0))


@given(st.lists(st.tuples(st.integers(1, 999), st.integers(0, 99999)), min_size=1, max_size=6))
def test_words_read_again_say_the_same(steps: list[tuple[int, int]]) -> None:
    written = ", ".join(f"{taken} mL to {taken + more} mL" for taken, more in steps)
    found = parse_dilution(written)
    assert parse_dilution(found.words) == found


@pytest.mark.parametrize("written", ["1:10", "1 : 10", "1/10", "1 + 4, 1:10"])
def test_a_ratio_is_asked_about(written: str) -> None:
    with pytest.raises(UnclearDilution, match=r"1 \+ 10 .*or 1 in 10.*\?"):
        parse_dilution(written)


@pytest.mark.parametrize("written", ["5 mL to 49.8 g", "1.002 g to 10 mL", "1 mL + 9 g", "1 + 9, 5 mL in 50 g"])
def test_between_a_volume_and_a_mass_the_density_is_asked_for(written: str) -> None:
    with pytest.raises(NeedsDensity, match=r"at 1\.02 kg/L"):
        parse_dilution(written)


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("1 + 9 = x 9", r"the steps give × 10, and × 9 is written"),
        ("5 mL to 50 mL, 1 in 10 = x 10", r"the steps give × 100, and × 10 is written"),
        ("1 g to 9.949 g = x 10", r"give × 9\.949"),  # 0.513 % away
        ("1 + 9 = 10 times", "behind the = stands the total"),
        ("1 + 9 =", "behind the = stands the total"),
        ("1 + 9 = x 10 = x 10", "behind the = stands the total"),
        ("= x 10", "is not a dilution"),
    ],
)
def test_a_typed_total_that_its_steps_do_not_give_is_refused(written: str, says: str) -> None:
    with pytest.raises(UnclearDilution, match=says):
        parse_dilution(written)


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("10", "not a dilution"),
        ("tenfold", "not a dilution"),
        ("x 0.5", "stronger"),
        ("10 in 1", "stronger"),
        ("50 mL to 5 mL", "stronger"),
        ("0 + 9", "no part"),
        ("0 in 10", "no part"),
        ("0 mL to 10 mL", "no part"),
        ("2 mL to 20 g at 0 kg/L", "density of nothing"),
        ("1 + 9,", "not a dilution"),
        ("1,5 + 9", "not a dilution"),
        ("-1 + 9", "not a dilution"),
        ("5 to 50", "with their units"),
        ("5 to 50 mL", "with their units"),
        ("5 mL to 50", "with their units"),
        ("5 oz to 50 oz", "not a dilution"),
    ],
)
def test_what_is_no_dilution_is_refused(written: str, says: str) -> None:
    with pytest.raises(UnclearDilution, match=says):
        parse_dilution(written)
