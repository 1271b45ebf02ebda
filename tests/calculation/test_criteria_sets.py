"""The sets of criteria that ship: each is judged by the program, and says where its numbers come from."""

import re
import tomllib
from typing import Any

import pytest

from labresults.calculation.control_samples import OTHERWISE
from labresults.calculation.evaluation import evaluate
from labresults.calculation.quality_control import unit_of
from labresults.calculation.run import Criterion
from labresults.models import ControlOutcome
from labresults.models.methods import Criterion as CriterionRow
from labresults.terms import Measure, Reach, Role
from reports.demo.data import FIXTURES, criteria_of, method_names, read
from tests.calculation.builders import CU, changed, method, run_of, sample, standards

SETS = sorted(path.stem for path in (FIXTURES / "criteria").glob("*.toml"))


def names_of(of_set: str) -> list[str]:
    return list(tomllib.loads((FIXTURES / "criteria" / f"{of_set}.toml").read_text(encoding="utf-8")))


EVERY = [(of_set, entered) for of_set in SETS for name in names_of(of_set) for entered in criteria_of({of_set: [name]})]


def test_three_sets_ship() -> None:
    assert SETS == ["epa-6010d", "food", "geochemistry"]


@pytest.mark.parametrize(("of_set", "entered"), EVERY, ids=[f"{s}: {e['role']}, {e['measure']}" for s, e in EVERY])
def test_a_criterion_is_whole(of_set: str, entered: dict[str, Any]) -> None:
    assert set(entered) <= {field.name for field in CriterionRow._meta.fields}
    assert entered["role"] in set(Role)
    assert entered["measure"] in set(Measure)
    assert entered["reach"] in set(Reach)
    assert "low" in entered or "high" in entered
    assert entered["remedy"].endswith(".")
    # a title with its year, or honest words; and short enough for its column
    assert re.search(r"\((1994|2004|2010|2018)\)|common practice|from memory", entered["source"])
    assert len(entered["source"]) <= CriterionRow._meta.get_field("source").max_length


@pytest.mark.parametrize("name", method_names())
def test_the_demonstrations_methods_name_criteria_that_are_there_once(name: str) -> None:
    entered = criteria_of(read(f"methods/{name}")["criteria"])
    pairs = [(row["role"], row["measure"]) for row in entered]
    assert len(pairs) == len(set(pairs))


def test_a_name_that_a_set_lacks_is_refused() -> None:
    with pytest.raises(KeyError):
        criteria_of({"food": ["no such criterion"]})


@pytest.mark.parametrize("measure", [measure for measure in Measure if measure not in OTHERWISE])
def test_every_measure_is_judged_at_a_position(measure: Measure) -> None:
    # given a duplicate, a standard or a reference material, and a criterion of this measure for its role
    role = Role.CALIBRATION_STANDARD if measure is Measure.READ_BACK else Role.SPIKE
    places = [*standards(Cu=10.0), sample("A", Cu=1.0), changed(sample("B", role=Role.SPIKE, Cu=1.0), parent=5)]
    criterion = Criterion("c", role, measure, None, 1e9, Reach.SAMPLE, "Read it again.")
    outcomes = evaluate(run_of(*places), method(criterion)).outcomes
    # then it is looked at, and says in words what it found or lacks
    assert outcomes
    assert all(CU.key in outcome.why or "B " in outcome.why for outcome in outcomes)


@pytest.mark.parametrize(
    ("measure", "unit"),
    [
        (Measure.RECOVERY, "%"),
        (Measure.SPREAD, "%"),
        (Measure.TIMES_QUANTIFICATION_LIMIT, "× quantification limit"),
        (Measure.ABSOLUTE_DIFFERENCE, "× quantification limit"),
        (Measure.ERROR_RATIO, ""),
        (Measure.CORRELATION, ""),
        (Measure.LACK_OF_FIT, ""),
        (Measure.HORWITZ_RATIO, ""),
    ],
)
def test_the_unit_of_a_measure(measure: Measure, unit: str) -> None:
    assert unit_of(measure) == unit
    assert unit_of(measure.value) == unit


def test_an_outcome_near_the_limit_was_judged_by_the_bound_that_stands_for_it() -> None:
    # what pages and certificates show beside it comes from the stored criterion
    criterion = CriterionRow(measure=Measure.DIFFERENCE, high=20.0, near_limit_times=5.0, near_limit_high=1.0)
    near = ControlOutcome(measure=Measure.ABSOLUTE_DIFFERENCE, criterion=criterion)
    usual = ControlOutcome(measure=Measure.DIFFERENCE, criterion=criterion)
    assert ((near.low, near.high), (usual.low, usual.high)) == ((None, 1.0), (None, 20.0))
