"""A published series of standard additions, planned and read through a run file: the printed content comes back."""

import pytest

from labresults.actions.evaluation import compute_again
from labresults.models import Result
from labresults.terms import Role
from tests.builders import Laboratory
from tests.calculation.published import as_printed, published
from tests.journeys.published_runs import PublishedRun, evaluated

SILVER = published("calibration")["additions"]
ABSORBANCES = SILVER["inputs"]["absorbance"]
IN_WATER = 0.02
"""Signal of 1 mg/L of silver in standards made with water (invented): the waste keeps 93 % of it."""


def test_silver_in_photographic_waste_comes_back_through_the_acts(lab: Laboratory) -> None:
    # given Miller & Miller, example 5.8.1 (from memory): the waste itself, then with 5, 10, ... 30 mg/L added
    added = SILVER["inputs"]["added_ug_mL"]
    evaluation = evaluated(
        lab,
        PublishedRun(
            concentrations=[0.0, 20.0, 60.0],
            standards=[[IN_WATER * x] for x in (0.0, 20.0, 60.0)],
            unknowns=[[ABSORBANCES[0]]],
            unit="mg/L",
            per_unit=1.0,
            mg_per_L=1.0,
            line={"element": "Ag", "label": "328.068"},
            additions=[(x, [y]) for x, y in zip(added[1:], ABSORBANCES[1:], strict=True)],
        ),
    )
    # when evaluated, the additions stand behind their sample, which is their parent
    roles = list(evaluation.run.positions.order_by("number").values_list("role", "parent__number"))
    assert roles[3:] == [(Role.SAMPLE, None), *[(Role.STANDARD_ADDITION, 4)] * 6]
    # then the measured solution holds what the book prints, and not what the curve in water reads
    result = Result.objects.get(evaluation=evaluation, is_candidate=True)
    assert result.solution == as_printed(SILVER["expected"]["x_E"])
    assert ABSORBANCES[0] / IN_WATER == pytest.approx(16.0)
    computed = compute_again(evaluation)
    assert float(computed.evaluated.u_concentration[3, 0]) == pytest.approx(SILVER["recomputed"]["s_xE"], rel=1e-9)
    # and the sample that much more as 9.7 mL of it stood in each 10 mL, the rest being room for the largest addition
    assert result.value == pytest.approx(result.solution * 10.0 / 9.7)
